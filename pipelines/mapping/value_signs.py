"""What the values of a column tell: whether they could be a field's, how dates are written, which mark is decimal."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import datetime

from pipelines.contract.fields import Field
from pipelines.contract.limits import NUMBER_KINDS
from pipelines.contract.units import unit_code

_NUMBER = re.compile(r"^[-+−–]?\s*(\d[\d.,']*|[.,]\d+)")
_DIGITS_PARTED = re.compile(r"^\d{1,4}(:\d{2}|[./-]\d{1,2}[./-]\d{2,4})")
_TIME = re.compile(r"^\d{1,2}:\d{2}(:\d{2})?(\s?[ap]\.?m\.?)?$", re.IGNORECASE)
_MEASURED = re.compile(r"^[-+−–]?\d*[.,]\d{1,2}$")
_ISO_TIME = re.compile(r"^\d{4}-\d\d-\d\d[T ]\d{1,2}:\d\d(:\d\d)?$")
_ISO = re.compile(r"^\d{4}-\d\d-\d\d([T ]\d\d:\d\d)?")
# Tried in this order; of days and months the order is settled by a day past the twelfth, else told as doubtful.
FORMATS = (
    "%d.%m.%Y %H:%M:%S", "%d.%m.%Y %H:%M", "%d.%m.%Y", "%m/%d/%Y %I:%M:%S %p", "%m/%d/%Y %I:%M %p", "%m/%d/%Y %H:%M:%S",
    "%m/%d/%Y %H:%M", "%m/%d/%Y", "%d/%m/%Y %H:%M:%S", "%d/%m/%Y %H:%M", "%d/%m/%Y", "%d-%m-%Y %H:%M", "%d-%m-%Y",
    "%m/%d/%y %H:%M", "%m/%d/%y", "%d %b %Y %H:%M", "%d %b %Y", "%Y%m%d",
)  # fmt: skip
_SLASHED = re.compile(r"^(\d{1,2})/(\d{1,2})/\d{2,4}")


def is_time(cell: str) -> bool:
    """Whether a cell is a time of day without a day."""
    return bool(_TIME.match(cell.strip()))


def is_measured(cells: Sequence[str]) -> bool:
    """Whether most cells are times of day or numbers with decimals, as no identifier is unless its name says so."""
    some = cells[:: max(1, len(cells) // 50)]
    return sum(bool(_MEASURED.match(cell.strip())) or is_time(cell) for cell in some) > len(some) / 2


def share_iso_times(cells: Sequence[str]) -> float:
    """Share of the cells that are a day and a time of 24 hours as ISO 8601 writes them; 0 without cells."""
    return sum(bool(_ISO_TIME.match(cell.strip())) for cell in cells) / max(len(cells), 1)


def share_fitting(entry: Field, cells: Sequence[str], formats: Sequence[str]) -> float | None:
    """Share of the filled cells that could be the field's; None where any text could, or there is none."""
    if not cells or entry.kind == "text":
        return None
    if entry.kind == "id":
        # Dates name nothing; any other text may.
        some = cells[:: max(1, len(cells) // 50)]
        n_dates = sum(bool(_ISO.match(cell)) or any(_reads(cell, one) for one in formats) for cell in some)
        return 0.0 if n_dates > len(some) / 2 else None
    return sum(_fits(entry, cell, formats) for cell in cells) / len(cells)


def _fits(entry: Field, cell: str, formats: Sequence[str]) -> bool:
    if entry.kind in NUMBER_KINDS:
        # A time of day or a date begins with a number and is none.
        return bool(_NUMBER.match(cell.strip())) and not _DIGITS_PARTED.match(cell.strip())
    if entry.kind in ("date", "timestamp"):
        return bool(_ISO.match(cell)) or any(_reads(cell, one) for one in formats)
    if entry.kind == "unit":
        return unit_code(cell) is not None
    if entry.kind == "currency":
        return len(cell.strip()) == 3 and cell.strip().isalpha()
    return True


def formats_fitting(cells: Sequence[str]) -> list[str]:
    """The formats that dates among the cells are written in; a day past the twelfth settles day or month first."""
    dated = [
        cell.strip() for cell in cells if re.match(r"^\d{1,2}[./ -](\d{1,2}|[A-Za-z]{3})[./ -]\d{2,4}", cell.strip())
    ]
    slashed = [match for cell in dated if (match := _SLASHED.match(cell))]
    is_day_first = any(int(match[1]) > 12 for match in slashed)
    found = []
    for one in FORMATS:
        if one.startswith("%m/") and is_day_first or one.startswith("%d/") and not is_day_first:
            continue
        if any(_reads(cell, one) for cell in dated):
            found.append(one)
    # A year of two digits also reads the first half of a long one.
    return [one for one in found if "%y" not in one or not any(other == one.replace("%y", "%Y") for other in found)]


def decimal_comma(cells: Sequence[str]) -> bool:
    """Whether more numbers have a decimal comma than a decimal point."""
    n_comma = sum(
        bool(re.fullmatch(r"[-+−–]?\d*,\d{1,2}\D*|[-+−–]?[1-9]\d{0,2}(\.\d{3})+,\d+\D*", cell.strip()))
        for cell in cells
    )
    n_point = sum(
        bool(re.fullmatch(r"[-+−–]?\d*\.\d{1,2}\D*|[-+−–]?[1-9]\d{0,2}(,\d{3})+\.\d+\D*", cell.strip()))
        for cell in cells
    )
    return n_comma > n_point


def _reads(cell: str, one: str) -> bool:
    try:
        datetime.strptime(cell.strip(), one)
    except ValueError:
        return False
    return True
