"""What the name of a column says of its values: a unit, a currency, before or after the repair: "Zug_Pa", "Draft after"."""

from __future__ import annotations

import re

from pipelines.contract.currencies import CURRENCY_CODES
from pipelines.contract.fields import Table
from pipelines.contract.units import PASCAL_PER_UNIT, unit_code
from pipelines.mapping.declared import ColumnRule
from pipelines.mapping.names import bare

_BRACKETED = re.compile(r"[(\[{]([^)\]}]+)[)\]}]")
# The last word, or the last two, as in "Draft in wc".
_LAST = re.compile(r"[\s_,;/-]+")
_TAKEN = {
    "before_repair": ("before", "bef", "pre", "vorher", "vor", "avant", "antes"),
    "after_repair": ("after", "aft", "post", "nachher", "nach", "apres", "despues"),
}
# A dollar may be that of several countries.
_SIGNS = {"€": "EUR", "£": "GBP"}


def told_by_names(table: Table, rules: dict[str, ColumnRule]) -> dict[str, ColumnRule]:
    """Rules for the columns of units and currencies, and of when a reading was taken, that no column fills, where the names of
    those measured tell it.

    Several that differ tell none.
    """
    found: dict[str, set[str]] = {}
    if table.name == "readings" and "taken" not in rules and "value" in rules:
        said = {when_taken(word) for column in rules["value"].columns for word in bare(column).split()} - {None}
        found["taken"] = {str(taken) for taken in said}
    for field, rule in rules.items():
        unit_field = table.by_name[field].unit_field
        if unit_field is None or unit_field in rules or len(rule.columns) != 1:
            continue
        code = currency_in(rule.columns[0]) if unit_field == "currency" else pressure_unit_in(rule.columns[0])
        if code is not None:
            found.setdefault(unit_field, set()).add(code)
    return {field: ColumnRule(value=codes.pop()) for field, codes in found.items() if len(codes) == 1}


def when_taken(word: str) -> str | None:
    """The code of when a reading was taken that a bare word stands for; None for any other word."""
    return next((code for code, words in _TAKEN.items() if word in words), None)


def pressure_unit_in(column: str) -> str | None:
    """The UCUM code of the pressure unit a column is named with; None where it names none."""
    words = [word for word in _LAST.split(column.strip()) if word]
    ends = [" ".join(words[-n:]) for n in (3, 2, 1) if len(words) > n]
    for said in (*_BRACKETED.findall(column), *ends):
        code = unit_code(said)
        if code in PASCAL_PER_UNIT:
            return code
    return None


def currency_in(column: str) -> str | None:
    """The ISO 4217 code of the currency a column is named with; None where it names none."""
    for sign, code in _SIGNS.items():
        if sign in column:
            return code
    words = re.findall(r"[A-Za-z]+", column)
    return next((word.upper() for word in words[1:] if word.isupper() and word in CURRENCY_CODES), None)
