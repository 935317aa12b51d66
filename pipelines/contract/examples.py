"""Cells that must be accepted and cells that must not, worked out from the declaration.

A new column of the contract gets its good and its violating values here without further work. Tests use them, and so
do the blank templates. All values are text, as they stand in a file.
"""

from __future__ import annotations

from pipelines.contract.fields import Field, Table
from pipelines.contract.limits import DATE_KINDS, NUMBER_KINDS, allowed_units
from pipelines.contract.tables import TABLES

_GOOD = {
    "flag": "yes",
    "timestamp": "2024-01-15T08:30:00",
    "date": "2024-01-15",
    "unit": "Pa",
    "currency": "USD",
}


def good_value(entry: Field, number: int = 1) -> str:
    """A cell that must be accepted. number: varies identifiers, so that rows can be told apart.

    Rows of the same number point to each other across tables.
    """
    if entry.kind == "id":
        name = entry.references.split(".")[1] if entry.references else entry.name
        return f"{name.removesuffix('_id').upper()}-{number}"
    if entry.kind == "text":
        return f"Some words {number}"
    if entry.kind == "code":
        return _code_values(entry)[0]
    if entry.kind in NUMBER_KINDS:
        return _good_number(entry)
    return _GOOD[entry.kind]


def violations(entry: Field) -> list[tuple[str, str]]:
    """Cells that must hold their row back: (text, reason code), at least one for every column.

    Pressures are out of range when the row's unit column says Pa; `example_row` sees to that.
    """
    found: list[tuple[str, str]] = []
    if entry.is_required:
        found.append(("", "missing_required"))
    if entry.kind in ("id", "text"):
        found += [("x" * (entry.longest + 1), "too_long"), ("A\a1", "control_characters")]
    elif entry.kind == "code":
        found.append(("no_such_code", "not_a_code"))
    elif entry.kind == "flag":
        found.append(("perhaps", "not_a_flag"))
    elif entry.kind in NUMBER_KINDS:
        found += _bad_numbers(entry)
    elif entry.kind in DATE_KINDS:
        found += _bad_dates(entry)
    elif entry.kind == "unit":
        found.append(("furlong", "not_a_unit"))
        if "V" not in allowed_units(_table_of(entry), entry):
            found.append(("V", "not_a_unit"))
    elif entry.kind == "currency":
        found += [("dollars", "not_a_currency"), ("QQQ", "not_a_currency")]
    return found


def blank_row(table: Table, number: int = 1) -> dict[str, str]:
    """The least a row of the table must hold, every column named, what need not be filled left blank.

    number: rows with different numbers have different keys.
    """
    filled = set(table.required()) | {group[0] for group in table.either_of}
    return {entry.name: good_value(entry, number) if entry.name in filled else "" for entry in table.fields}


def full_row(table: Table, number: int = 1) -> dict[str, str]:
    """A row with every column filled with a good value."""
    return {entry.name: good_value(entry, number) for entry in table.fields}


def example_row(table: Table, column: str, text: str, number: int = 1) -> dict[str, str]:
    """The least row with `text` in one column, and the unit or currency beside it filled.

    Where `text` is blank the other columns are all filled, so that the row is not a blank line.
    """
    row = blank_row(table, number) if text.strip() else full_row(table, number)
    beside = table.by_name[column].unit_field
    if beside is not None:
        row[beside] = good_value(table.by_name[beside], number)
    row[column] = text
    return row


def either_of_rows(table: Table, number: int = 1) -> list[dict[str, str]]:
    """One row for each group of `either_of`, with all of the group blank: held back as either_of_missing."""
    return [blank_row(table, number + i) | dict.fromkeys(group, "") for i, group in enumerate(table.either_of)]


def _code_values(entry: Field) -> tuple[str, ...]:
    if entry.code_list is None:
        raise ValueError(f"{entry.name}: kind is code but it has no code list; declare one in codes.py")
    return entry.code_list.values()


def _good_number(entry: Field) -> str:
    low = entry.minimum if entry.minimum is not None else 0.0
    high = entry.maximum if entry.maximum is not None else low + 2.0
    return "1" if low <= 1 <= high else f"{(low + high) / 2:g}"


def _bad_numbers(entry: Field) -> list[tuple[str, str]]:
    found = [("abc", "not_a_number"), ("1.2.3", "not_a_number"), ("NaN", "not_finite"), ("inf", "not_finite")]
    if entry.kind == "whole":
        found.append(("1.5", "not_whole"))
    # A pressure is a magnitude: its sign is resolved, so only the upper limit can be broken.
    if entry.minimum is not None and entry.kind != "pressure":
        found.append((f"{entry.minimum - 1:.0f}", "out_of_range"))
    if entry.maximum is not None:
        found += [(f"{entry.maximum + 1:.0f}", "out_of_range"), ("1e308", "out_of_range")]
    return found


def _bad_dates(entry: Field) -> list[tuple[str, str]]:
    clock, wrong = ("T08:30:00", "not_a_time") if entry.kind == "timestamp" else ("", "not_a_date")
    return [
        ("soon", wrong),
        ("31/02/2024", wrong),
        (f"2023-02-29{clock}", wrong),
        (f"5014-09-15{clock}", "date_out_of_range"),
        (f"{entry.earliest_year - 1}-12-30{clock}", "date_out_of_range"),
    ]


def _table_of(entry: Field) -> Table:
    return next(table for table in TABLES if any(entry is other for other in table.fields))
