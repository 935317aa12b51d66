"""What a cell may hold, worked out from the declaration: numbers, dates, units."""

from __future__ import annotations

from datetime import date, timedelta

from pipelines.contract.fields import Field, Table
from pipelines.contract.units import PASCAL_PER_UNIT, UNIT_CODES

DATE_KINDS = ("date", "timestamp")
NUMBER_KINDS = ("whole", "number", "pressure", "quantity")


def date_limits(entry: Field, today: date) -> tuple[date, date]:
    """Earliest and latest day accepted, both inclusive. today: the day of the load."""
    return date(entry.earliest_year, 1, 1), today + timedelta(days=1)


def allowed_units(table: Table, entry: Field) -> tuple[str, ...]:
    """UCUM codes a unit column may hold: pressures only, when it names the unit of nothing else."""
    served = [other.kind for other in table.fields if other.unit_field == entry.name]
    if served and all(kind == "pressure" for kind in served):
        return tuple(PASCAL_PER_UNIT)
    return UNIT_CODES


def limits_in_words(entry: Field) -> str:
    """The limits as they read in a sentence: "between 0 and 20,000 Pa"; empty when there are none."""
    if entry.kind in DATE_KINDS:
        return f"between {entry.earliest_year} and tomorrow"
    unit = "Pa" if entry.kind == "pressure" else entry.unit or ""
    low, high = _number(entry.minimum), _number(entry.maximum)
    if low and high:
        return f"between {low} and {high} {unit}".rstrip()
    if low:
        return f"at or above {low} {unit}".rstrip()
    if high:
        return f"at or below {high} {unit}".rstrip()
    return ""


def _number(value: float | None) -> str:
    if value is None:
        return ""
    return f"{int(value):,}" if float(value).is_integer() else f"{value:,}"
