"""Units of pressure. See outside_registry for what a check is."""

from __future__ import annotations

import pint
from outside_registry import LIBRARY, MEMORY, PRACTICE, check

from pipelines.contract.units import PASCAL_PER_UNIT

TOPIC = "Units"
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
FACTOR = PASCAL_PER_UNIT

for unit, name in PINT_NAMES.items():
    pascal = pint.UnitRegistry()(name).to("pascal").magnitude
    check(TOPIC, f"Pascal per {unit}", "pint unit registry", LIBRARY, allowed=1e-7 * pascal)(
        lambda unit=unit, pascal=pascal: (pascal, FACTOR[unit])
    )
for unit, pascal in NIST_PA.items():
    check(TOPIC, f"Pascal per {unit}", "NIST SP 811 (2008), Appendix B", MEMORY, pascal, allowed=5e-7 * pascal)(
        lambda unit=unit: FACTOR[unit]
    )


@check(TOPIC, "28 inches of water are about a pound per square inch", "Rule of the trade", PRACTICE, 1, allowed=0.015)
def _pound():
    return 28 * FACTOR["[in_i'H2O]"] / FACTOR["[psi]"]


@check(TOPIC, "4 inches of water are about a kilopascal", "Rule of the trade", PRACTICE, 1, allowed=0.005)
def _kilopascal():
    return 4 * FACTOR["[in_i'H2O]"] / FACTOR["kPa"]


@check(TOPIC, "10 mm of water are about a millibar", "Rule of the trade", PRACTICE, 1, allowed=0.02)
def _millibar():
    return 10 * FACTOR["mm[H2O]"] / FACTOR["mbar"]
