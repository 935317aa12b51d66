"""Spellings of units and which inch is meant; the factors: see test_published."""

from __future__ import annotations

import pint
import pytest
from published_units import PINT_NAMES

from pipelines.contract.units import INCH_OF_WATER_PA, PASCAL_PER_UNIT, unit_code


def test_every_pressure_unit_is_checked():
    assert set(PINT_NAMES) == set(PASCAL_PER_UNIT)


def test_the_inch_is_the_conventional_one_not_that_at_60_fahrenheit():
    warm = pint.UnitRegistry()("inch_H2O_60F").to("pascal").magnitude
    assert abs(INCH_OF_WATER_PA - warm) > 0.2


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
