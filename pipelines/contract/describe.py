"""Columns in words: the same words on the reference page, in the templates and in the data package."""

from __future__ import annotations

from pipelines.contract.fields import KINDS, Field, Table
from pipelines.contract.limits import DATE_KINDS, NUMBER_KINDS, allowed_units, limits_in_words


def describe_column(table: Table, entry: Field) -> str:
    """Everything about a column in one line: meaning, what a cell may hold, whether it must be filled."""
    parts = [entry.about, *column_rules(table, entry)]
    if entry.is_required:
        parts.append("required")
    return "; ".join(parts)


def column_rules(table: Table, entry: Field) -> list[str]:
    """What a cell of the column may hold, one rule a string, apart from being required."""
    rules = [_limits(entry), _unit(entry), _units_allowed(table, entry), _points_to(entry), _either_of(table, entry)]
    if entry.kind == "code" and entry.code_list is not None:
        rules.append(f"one of the codes {entry.code_list.name}")
    if entry.kind in ("id", "text"):
        rules.append(f"at most {entry.longest:,} characters")
    return [rule for rule in rules if rule]


def kind_in_words(entry: Field) -> str:
    """The kind of the column, as on the reference page."""
    return KINDS[entry.kind]


def _limits(entry: Field) -> str:
    if entry.kind not in (*NUMBER_KINDS, *DATE_KINDS):
        return ""
    return limits_in_words(entry)


def _unit(entry: Field) -> str:
    if entry.unit_field and entry.kind in ("pressure", "quantity"):
        return f"unit in the cell or in {entry.unit_field}"
    if entry.unit_field:
        return f"in {entry.unit_field}"
    return f"in {entry.unit}" if entry.unit and entry.minimum is None and entry.maximum is None else ""


def _units_allowed(table: Table, entry: Field) -> str:
    return f"one of {', '.join(allowed_units(table, entry))}, or a common spelling" if entry.kind == "unit" else ""


def _points_to(entry: Field) -> str:
    return f"points to {entry.references}" if entry.references else ""


def _either_of(table: Table, entry: Field) -> str:
    others = [name for group in table.either_of if entry.name in group for name in group if name != entry.name]
    return f"this or {' or '.join(others)} must be filled" if others else ""
