"""Pressure units against independent sources.

- pint's registry: our reading of a library's output.
- NIST SP 811 (2008), Appendix B: values from memory of the published table.
- "28 inches of water make a pound", "an inch is a quarter of a kilopascal", "10 mm to the millibar": common practice.
"""

from __future__ import annotations

import pint
import pytest

from pipelines.contract.units import INCH_OF_WATER_PA, PASCAL_PER_UNIT, unit_code

PINT_NAMES = {
    "[in_i'H2O]": "inH2O",
    "Pa": "pascal",
    "hPa": "hectopascal",
    "mbar": "millibar",
    "kPa": "kilopascal",
    "mm[H2O]": "0.1 * centimeter_H2O",
    "[psi]": "psi",
}
NIST_PA = {"[in_i'H2O]": 2.490889e2, "mm[H2O]": 9.80665, "[psi]": 6.894757e3, "mbar": 1.0e2}


def test_every_pressure_unit_is_checked():
    assert set(PINT_NAMES) == set(PASCAL_PER_UNIT)


@pytest.mark.parametrize(("unit", "name"), PINT_NAMES.items())
def test_factor_agrees_with_pint(unit, name):
    outside = pint.UnitRegistry()(name).to("pascal").magnitude
    assert PASCAL_PER_UNIT[unit] == pytest.approx(outside, rel=1e-7)


@pytest.mark.parametrize(("unit", "pascal"), NIST_PA.items())
def test_factor_agrees_with_nist(unit, pascal):
    assert PASCAL_PER_UNIT[unit] == pytest.approx(pascal, rel=5e-7)


def test_the_inch_is_the_conventional_one_not_that_at_60_fahrenheit():
    warm = pint.UnitRegistry()("inch_H2O_60F").to("pascal").magnitude
    assert abs(INCH_OF_WATER_PA - warm) > 0.2


def test_rules_of_the_trade():
    factor = PASCAL_PER_UNIT
    assert 28 * factor["[in_i'H2O]"] / factor["[psi]"] == pytest.approx(1, abs=0.015)
    assert 4 * factor["[in_i'H2O]"] / factor["kPa"] == pytest.approx(1, abs=0.005)
    assert 10 * factor["mm[H2O]"] / factor["mbar"] == pytest.approx(1, abs=0.02)


@pytest.mark.parametrize(
    ("written", "unit"),
    [
        ("in. w.c.", "[in_i'H2O]"),
        ('"WC', "[in_i'H2O]"),
        ("inH2O", "[in_i'H2O]"),
        ("iwc", "[in_i'H2O]"),
        ("in wg", "[in_i'H2O]"),
        ("″ W.C.", "[in_i'H2O]"),
        ("inH₂O", "[in_i'H2O]"),
        ("[in_i'H2O]", "[in_i'H2O]"),
        ("mm H2O", "mm[H2O]"),
        ("℃", "Cel"),
        ("MBAR", "mbar"),
        ("bar", None),
        ("inHg", None),
        ("", None),
    ],
)
def test_spellings_of_the_trade(written, unit):
    assert unit_code(written) == unit
