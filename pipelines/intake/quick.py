"""The quick form of acceptance: text as machines write it, over every row.

What it accepts, the thorough form accepts with the same value. Every other row with anything in a cell, and every row
that lacks something needed, it marks `is_suspect`; the thorough form then looks at those alone.
"""

from __future__ import annotations

from pipelines.contract.fields import Field
from pipelines.contract.limits import NUMBER_KINDS, allowed_units
from pipelines.contract.units import UNIT_CODES, unit_code
from pipelines.intake.rules import (
    BLANK_WORDS,
    Rules,
    codes_of,
    default_unit,
    factor,
    in_limits,
    is_prose,
    number,
    raw,
    stored,
    unit_of,
    within_days,
)
from pipelines.intake.sql_text import layered, text, texts

# Spellings met so often that they are looked for before anything is folded.
_COMMON_UNITS = ("in. w.c.", "inH2O", "in WC", "iwc", '"WC', "in wc", "in. WC", "in. wc", "inWC", '"', "ppm", "psi")
_ODD = r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]|[\s\x{00a0}\x{2007}\x{202f}\x{feff}]$|^[\x{00a0}\x{2007}\x{202f}\x{feff}]"


def quick_sql(rules: Rules, source: str) -> str:
    """The query `source` (columns `r_<name>`) with the stored values and `is_suspect`."""
    present = rules.present()
    fields = rules.table.fields
    numbers = [
        f"try_cast({raw(entry)} AS DOUBLE) AS {number(entry)}" for entry in present if entry.kind in NUMBER_KINDS
    ]
    units = [f"{_unit(rules, entry)} AS {stored(entry)}" for entry in rules.units()]
    whens = [f"{_when(rules, entry)} AS {stored(entry)}" for entry in fields if entry.kind == "timestamp"]
    values = [
        f"{_value(rules, entry)} AS {stored(entry)}" for entry in fields if entry.kind not in ("unit", "timestamp")
    ]
    conditions = [_is_suspect(rules, entry) for entry in present]
    for group in rules.table.either_of:
        here = [rules.table.by_name[column] for column in group if column in rules.known]
        conditions.append(f"({' AND '.join(f'{stored(entry)} IS NULL' for entry in here) or 'true'})")
    return layered(source, [*numbers, *units], [*whens, *values], [f"({' OR '.join(conditions)}) AS is_suspect"])


def _when(rules: Rules, entry: Field) -> str:
    if entry.name not in rules.known:
        return "NULL::TIMESTAMP"
    if rules.settings.time_zone == "UTC":
        return f"quick_utc_time_of({raw(entry)})"
    return f"quick_time_of({raw(entry)}, {text(rules.settings.time_zone)})"


def _value(rules: Rules, entry: Field) -> str:
    if entry.name not in rules.known:
        return "NULL"
    kind, cell = entry.kind, raw(entry)
    if kind in ("id", "text"):
        return _text(rules, entry)
    if kind == "code":
        codes = codes_of(entry)
        return (
            f"CASE WHEN {cell} IS NULL THEN NULL WHEN {cell} IN ({codes}) THEN {cell} "
            f"WHEN folded({cell}) IN ({codes}) THEN folded({cell}) END"
        )
    if kind == "flag":
        return f"try_cast({cell} AS BOOLEAN)"
    if kind == "currency":
        own = text(rules.settings.currency)
        return f"CASE WHEN {cell} = {own} THEN {own} WHEN {cell} IN ({codes_of(entry)}) THEN {cell} END"
    if kind == "date":
        return f"try_cast({cell} AS DATE)"
    value = number(entry)
    if kind == "pressure":
        return f"abs({value}) * {factor(stored(rules.unit_field_of(entry)))}"
    if kind == "whole":
        return f"CASE WHEN {in_limits(entry, value)} AND {value} = floor({value}) THEN CAST({value} AS BIGINT) END"
    return f"CASE WHEN {in_limits(entry, value)} THEN {value} END"


def _text(rules: Rules, entry: Field) -> str:
    cell = raw(entry)
    # '!' is the first printing character: a cell that sorts below it begins with a space.
    conditions = [
        f"{cell} >= '!'",
        # An apostrophe may guard a formula; the thorough form takes it off.
        f"NOT starts_with({cell}, '''')",
        f"NOT ends_with({cell}, ' ')",
        f"strlen({cell}) <= {entry.longest}",
        f"{cell} NOT IN ({texts(BLANK_WORDS)})",
    ]
    if not rules.is_plain:
        conditions.append(f"NOT regexp_matches({cell}, {text(_ODD)})")
        if not is_prose(entry):
            conditions.append(f"NOT has_break({cell})")
    elif rules.may_break:
        ends = "ends_with" if is_prose(entry) else "contains"
        conditions.append(f"NOT {ends}({cell}, chr(10))")
    return f"CASE WHEN {' AND '.join(conditions)} THEN {cell} END"


def _unit(rules: Rules, entry: Field) -> str:
    if entry.name not in rules.known:
        return default_unit(rules, entry)
    cell = raw(entry)
    allowed = allowed_units(rules.table, entry)
    common = [(spelling, unit_code(spelling)) for spelling in _COMMON_UNITS]
    cases = " ".join(f"WHEN {text(spelling)} THEN {text(code)}" for spelling, code in common if code in allowed)
    exact = texts(code for code in UNIT_CODES if code in allowed)
    return (
        f"CASE WHEN {cell} IS NULL THEN {default_unit(rules, entry)} WHEN {cell} IN ({exact}) THEN {cell} "
        f"ELSE CASE {cell} {cases} ELSE {unit_of(f'unit_key({cell})', allowed)} END END"
    )


def _is_suspect(rules: Rules, entry: Field) -> str:
    cell, value = raw(entry), stored(entry)
    if entry.kind == "pressure":
        limit = f"{float(entry.maximum or 0)!r}::DOUBLE"
        figure = number(entry)
        return f"({cell} IS NOT NULL AND coalesce(NOT abs({figure}) <= {limit} OR {value} > {limit}, {figure} IS NULL))"
    if entry.kind in ("date", "timestamp"):
        odd = f"NOT coalesce({within_days(rules, entry, value)}, false)"
        return odd if entry.is_required else f"({cell} IS NOT NULL AND {odd})"
    if entry.is_required:
        return f"{value} IS NULL"
    return f"({value} IS NULL AND {cell} IS NOT NULL)"
