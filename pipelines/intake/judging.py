"""The thorough form of acceptance: every value as well as text can give it, and the reason of each cell that has none.

It runs over the rows the quick form marked. Columns it adds, for a field: `t_` the cell without outer spaces, `d_` its
digits made plain, `l_` the digits it begins with, `b_` what stands behind them, `k_` a unit's spelling folded, `n_` the
number, `u_` the unit, `w_` the time, `v_` the value as stored, `x_` the reason code, NULL where nothing is wrong.
"""

from __future__ import annotations

from pipelines.contract.fields import Field
from pipelines.contract.limits import NUMBER_KINDS, allowed_units
from pipelines.intake.rules import (
    MEASURED,
    TIMES,
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
from pipelines.intake.sql_text import layered, name, text


def thorough_sql(rules: Rules, source: str) -> str:
    """The query `source` (columns `r_<name>`) with the columns above; `x_either_<n>` for groups of which one is needed."""
    present = rules.present()
    figures = [entry for entry in present if entry.kind in NUMBER_KINDS]
    measured = [entry for entry in present if entry.kind in MEASURED]
    spelled = [*measured, *(entry for entry in rules.units() if entry.name in rules.known)]
    reasons = [f"{_reason(rules, entry)} AS {_of('x', entry)}" for entry in present]
    for n, group in enumerate(rules.table.either_of):
        here = [rules.table.by_name[column] for column in group if column in rules.known]
        blank = " AND ".join(f"{_of('t', entry)} IS NULL" for entry in here) or "true"
        reasons.append(f"CASE WHEN {blank} THEN 'either_of_missing' END AS {name(f'x_either_{n}')}")
    return layered(
        source,
        [f"cell({raw(entry)}) AS {_of('t', entry)}" for entry in present],
        [f"plain_digits({_of('t', entry)}) AS {_of('d', entry)}" for entry in figures],
        [f"{_leading(entry)} AS {_of('l', entry)}" for entry in figures]
        + [f"{_behind(entry)} AS {_of('b', entry)}" for entry in measured],
        [f"unit_key({_of('b' if entry in measured else 't', entry)}) AS {_of('k', entry)}" for entry in spelled],
        [f"number_of({_of('t', entry)}, {_of('l', entry)}) AS {number(entry)}" for entry in figures]
        + [f"{_own_unit(rules, entry)} AS {_of('u', entry)}" for entry in spelled],
        [f"{_row_unit(rules, entry)} AS {stored(entry)}" for entry in rules.units()]
        + [f"{_when(rules, entry)} AS {_of('w', entry)}" for entry in present if entry.kind in TIMES],
        [f"{_value(rules, entry)} AS {stored(entry)}" for entry in rules.table.fields if entry.kind != "unit"],
        reasons,
    )


def findings(rules: Rules) -> list[tuple[str, str, str]]:
    """For each check of `thorough_sql`: the column it names, the column of its reason code, the SQL of what was got."""
    found = [(entry.name, _of("x", entry), _of("t", entry)) for entry in rules.present()]
    for n, group in enumerate(rules.table.either_of):
        found.append((", ".join(group), name(f"x_either_{n}"), "NULL::VARCHAR"))
    return found


def _of(letter: str, entry: Field) -> str:
    return name(f"{letter}_{entry.name}")


def _leading(entry: Field) -> str:
    """A plain number must fill its cell; a measured one may have its unit behind it."""
    return f"leading_digits({_of('d', entry)})" if entry.kind in MEASURED else _of("d", entry)


def _behind(entry: Field) -> str:
    return f"CASE WHEN try_cast({_of('t', entry)} AS DOUBLE) IS NULL THEN behind_digits({_of('d', entry)}) END"


def _own_unit(rules: Rules, entry: Field) -> str:
    """The unit behind the number in the cell, or the one that stands in a unit column."""
    column = rules.unit_field_of(entry) if entry.kind in MEASURED else entry
    return unit_of(_of("k", entry), allowed_units(rules.table, column))


def _row_unit(rules: Rules, unit: Field) -> str:
    """The unit a row is stored with: the column's, else the first that stands in a cell, else the company's default."""
    choices = [_of("u", entry) for entry in rules.served_by(unit)]
    instead = f"coalesce({', '.join([*choices, default_unit(rules, unit)])})"
    if unit.name not in rules.known:
        return instead
    return f"CASE WHEN {_of('t', unit)} IS NULL THEN {instead} ELSE {_of('u', unit)} END"


def _when(rules: Rules, entry: Field) -> str:
    if entry.kind == "date":
        return f"try_cast({_of('t', entry)} AS DATE)"
    return f"time_of({_of('t', entry)}, {text(rules.settings.time_zone)})"


def _value(rules: Rules, entry: Field) -> str:
    if entry.name not in rules.known:
        return "NULL"
    cell, figure = _of("t", entry), number(entry)
    if entry.kind in ("id", "text"):
        return f"CASE WHEN NOT ({_too_long(entry)}) AND NOT ({_has_control(entry)}) THEN {cell} END"
    if entry.kind == "code":
        return f"CASE WHEN folded({cell}) IN ({codes_of(entry)}) THEN folded({cell}) END"
    if entry.kind == "flag":
        return f"flag_of({cell})"
    if entry.kind == "currency":
        return f"CASE WHEN upper({cell}) IN ({codes_of(entry)}) THEN upper({cell}) END"
    if entry.kind in TIMES:
        return f"CASE WHEN {within_days(rules, entry, _of('w', entry))} THEN {_of('w', entry)} END"
    if entry.kind == "pressure":
        return _pascal(rules, entry)
    whole = f" AND {figure} = floor({figure})" if entry.kind == "whole" else ""
    kept = f"CAST({figure} AS BIGINT)" if entry.kind == "whole" else figure
    return f"CASE WHEN {in_limits(entry, figure)}{whole} THEN {kept} END"


def _pascal(rules: Rules, entry: Field) -> str:
    """A bare number has the unit of its column or the company's default, never that of another cell."""
    unit = rules.unit_field_of(entry)
    bare = default_unit(rules, unit)
    if unit.name in rules.known:
        bare = f"CASE WHEN {_of('t', unit)} IS NULL THEN {bare} ELSE {_of('u', unit)} END"
    chosen = f"coalesce({_of('u', entry)}, {bare})"
    return f"abs({number(entry)}) * {factor(chosen)}"


def _too_long(entry: Field) -> str:
    return f"length({_of('t', entry)}) > {entry.longest}"


def _has_control(entry: Field) -> str:
    cell = _of("t", entry)
    return f"has_control({cell})" if is_prose(entry) else f"has_control({cell}) OR has_break({cell})"


def _reason(rules: Rules, entry: Field) -> str:
    blank = "'missing_required'" if entry.is_required else "NULL"
    cases = " ".join(f"WHEN {condition} THEN '{code}'" for condition, code in _cases(rules, entry))
    return f"CASE WHEN {_of('t', entry)} IS NULL THEN {blank} {cases} END"


def _cases(rules: Rules, entry: Field) -> list[tuple[str, str]]:
    """What can be wrong with a filled cell: (condition, reason code), the first that holds counts."""
    if entry.kind in ("id", "text"):
        return [(_too_long(entry), "too_long"), (_has_control(entry), "control_characters")]
    if entry.kind == "unit":
        return [(f"{_of('u', entry)} IS NULL", "not_a_unit")]
    if entry.kind in ("code", "flag", "currency"):
        return [(f"{stored(entry)} IS NULL", f"not_a_{entry.kind}")]
    if entry.kind in TIMES:
        kind = "not_a_date" if entry.kind == "date" else "not_a_time"
        return [(f"{_of('w', entry)} IS NULL", kind), (f"{stored(entry)} IS NULL", "date_out_of_range")]
    figure = number(entry)
    cases = [
        (f"{figure} IS NULL AND is_ambiguous({_of('l', entry)})", "ambiguous_number"),
        (f"{figure} IS NULL", "not_a_number"),
        (f"NOT isfinite({figure})", "not_finite"),
    ]
    if entry.kind == "whole":
        cases.append((f"{figure} <> floor({figure})", "not_whole"))
    if entry.kind in MEASURED:
        cases += _unit_cases(rules, entry)
    if entry.kind == "pressure":
        limit = f"{float(entry.maximum or 0)!r}"
        cases.append((f"coalesce({stored(entry)}, abs({figure})) > {limit}", "out_of_range"))
    else:
        cases.append((f"NOT ({in_limits(entry, figure)})", "out_of_range"))
    return cases


def _unit_cases(rules: Rules, entry: Field) -> list[tuple[str, str]]:
    behind, own, unit = _of("b", entry), _of("u", entry), rules.unit_field_of(entry)
    cases = [
        (f"{behind} IS NOT NULL AND {own} IS NULL AND regexp_matches({behind}, '\\d')", "not_a_number"),
        (f"{behind} IS NOT NULL AND {own} IS NULL", "not_a_unit"),
    ]
    if unit.name in rules.known:
        cases.append((f"{own} <> {_of('u', unit)}", "two_units"))
    return cases
