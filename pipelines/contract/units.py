"""Units by UCUM code, what they are in the stored unit, and how people write them.

Factors: NIST SP 811 (2008), Appendix B: conventional inch of water 249.08891 Pa, conventional millimetre of
water 9.80665 Pa, pound-force per square inch 6894.757 Pa.
"""

from __future__ import annotations

import unicodedata

INCH_OF_WATER_PA = 249.08891

# Pressure units: UCUM code -> pascal.
PASCAL_PER_UNIT = {
    "[in_i'H2O]": INCH_OF_WATER_PA,
    "Pa": 1.0,
    "hPa": 100.0,
    "mbar": 100.0,
    "kPa": 1000.0,
    "mm[H2O]": 9.80665,
    "[psi]": 6894.757,
}

OTHER_UNITS = ("V", "[ppm]", "Cel", "[degF]")

UNIT_CODES = tuple(PASCAL_PER_UNIT) + OTHER_UNITS

# Spellings met in records, as `folded` leaves them: lower case, no spaces, no full stops, " for every inch mark.
UNIT_SPELLINGS = {
    "inwc": "[in_i'H2O]",
    "in-wc": "[in_i'H2O]",
    "inh2o": "[in_i'H2O]",
    "inchh2o": "[in_i'H2O]",
    "inchesh2o": "[in_i'H2O]",
    "incheswc": "[in_i'H2O]",
    "incheswatercolumn": "[in_i'H2O]",
    "inw": "[in_i'H2O]",
    "inchwc": "[in_i'H2O]",
    "inwatercolumn": "[in_i'H2O]",
    "inofwater": "[in_i'H2O]",
    "inchofwater": "[in_i'H2O]",
    "inchesofwater": "[in_i'H2O]",
    "inh20": "[in_i'H2O]",
    "iwc": "[in_i'H2O]",
    "iwg": "[in_i'H2O]",
    "inwg": "[in_i'H2O]",
    "wc": "[in_i'H2O]",
    "wg": "[in_i'H2O]",
    '"wc': "[in_i'H2O]",
    '"w': "[in_i'H2O]",
    '"wg': "[in_i'H2O]",
    '"h2o': "[in_i'H2O]",
    '"': "[in_i'H2O]",
    "[in_i'h2o]": "[in_i'H2O]",
    "pa": "Pa",
    "pascal": "Pa",
    "pascals": "Pa",
    "hpa": "hPa",
    "mbar": "mbar",
    "mb": "mbar",
    "kpa": "kPa",
    "mmh2o": "mm[H2O]",
    "mmwc": "mm[H2O]",
    "mmws": "mm[H2O]",
    "mmwg": "mm[H2O]",
    "mm[h2o]": "mm[H2O]",
    "psi": "[psi]",
    "psig": "[psi]",
    "[psi]": "[psi]",
    "v": "V",
    "vac": "V",
    "vdc": "V",
    "volt": "V",
    "volts": "V",
    "ppm": "[ppm]",
    "[ppm]": "[ppm]",
    "cel": "Cel",
    "c": "Cel",
    "°c": "Cel",
    "degc": "Cel",
    "[degf]": "[degF]",
    "f": "[degF]",
    "°f": "[degF]",
    "degf": "[degF]",
}

# Marks written for inches, all read as ". Longer ones first.
INCH_MARKS = ("\N{RIGHT SINGLE QUOTATION MARK}" * 2, "''", "\N{PRIME}" * 2, "\N{DOUBLE PRIME}") + (
    "\N{LEFT DOUBLE QUOTATION MARK}",
    "\N{RIGHT DOUBLE QUOTATION MARK}",
)


def folded(spelling: str) -> str:
    """A unit as written, made alike: the form of the keys of UNIT_SPELLINGS."""
    text = spelling
    for mark in INCH_MARKS:
        text = text.replace(mark, '"')
    text = unicodedata.normalize("NFKC", text).lower()
    return "".join(char for char in text if char != "." and not char.isspace())


def unit_code(spelling: str) -> str | None:
    """UCUM code of a unit as people write it, or None when it is not known. Nothing is guessed."""
    return UNIT_SPELLINGS.get(folded(spelling))
