"""The vocabulary the contract is written in: what a column, a code list and a table are."""

from __future__ import annotations

from dataclasses import dataclass, field

# How a cell is read. Everything arrives as text; the kind decides how it is cleaned, checked and stored.
KINDS = {
    "id": "an identifier, kept as text exactly as delivered (outer spaces removed)",
    "text": "free text",
    "code": "one of a list of codes",
    "flag": "yes or no",
    "whole": "a whole number",
    "number": "a number, decimal point or comma",
    "timestamp": "a date and time, ISO 8601, with offset or in the company's time zone; stored in UTC",
    "date": "a calendar date, ISO 8601",
    "pressure": "a pressure as a number with its unit in the unit column or in the cell; stored in pascal",
    "quantity": "a measured value whose meaning and unit stand in other columns of the row",
    "unit": "a unit of measure, stored as its UCUM code",
    "currency": "an ISO 4217 currency code",
}


@dataclass(frozen=True)
class Code:
    """One value of a code list: the code as stored, and what it means in the words of the trade."""

    code: str
    about: str


@dataclass(frozen=True)
class CodeList:
    """A closed list of codes. name: as shown on the reference page."""

    name: str
    codes: tuple[Code, ...]

    def values(self) -> tuple[str, ...]:
        return tuple(entry.code for entry in self.codes)


@dataclass(frozen=True)
class Field:
    """One column.

    name: as it stands in files. kind: a key of KINDS. about: one line for the reference page.
    code_list: for kind "code". minimum, maximum: inclusive limits in the stored unit (pascal for pressures).
    unit: UCUM code where it is fixed. unit_field: the column of the same row that names the unit.
    references: "table.column" this value points to. longest: most characters accepted.
    earliest_year: for dates and times, the first year accepted.
    """

    name: str
    kind: str
    about: str
    is_required: bool = False
    code_list: CodeList | None = None
    minimum: float | None = None
    maximum: float | None = None
    unit: str | None = None
    unit_field: str | None = None
    references: str | None = None
    longest: int = 200
    earliest_year: int = 1990

    @property
    def stored_name(self) -> str:
        """The column's name in the store: pressures carry their unit there."""
        return f"{self.name}_pa" if self.kind == "pressure" else self.name


@dataclass(frozen=True)
class Table:
    """One table of the contract.

    row: what one row is. key: the columns that identify a row. either_of: groups of columns of which at
    least one must be filled. site_from: how its rows are tied to a site (a column of its own, a table to go
    through, or None for tables that concern the whole company).
    """

    name: str
    row: str
    key: tuple[str, ...]
    fields: tuple[Field, ...]
    either_of: tuple[tuple[str, ...], ...] = ()
    site_from: str | None = None
    is_entered_here: bool = False
    by_name: dict[str, Field] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "by_name", {entry.name: entry for entry in self.fields})

    def required(self) -> tuple[str, ...]:
        return tuple(entry.name for entry in self.fields if entry.is_required)
