"""Tables of text as they stand on a page, as frames: what is a number, a share or a day there is one in a file too."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Sequence
from typing import Any

import pandas as pd

from dashboard import words

# Columns of a frame that hold shares, 0..1, in its attrs: a workbook shows them as percentages.
SHARES = "shares"
_NOTHING = ("", "–", "-", words.NOT_KNOWN)
_NUMBER = re.compile(r"([-−+]?[\d.,\s\u00a0\u2007\u2009\u202f']*\d)\s*(.*)", re.DOTALL)
_DAY = re.compile(rf"(\d{{1,2}}) ({'|'.join(words.MONTHS)}) (\d{{4}})")


def shown_frame(
    columns: Sequence[tuple[str, str]], body: Sequence[Sequence[Any]], separators: tuple[str, str] = (",", ".")
) -> pd.DataFrame:
    """The table as a frame. A column of numbers with one unit becomes numbers, the unit standing in its title; percentages
    become shares; a column of days becomes days; what is not known stays blank in these. All else stays text.

    separators: what the text was written with between thousands, and before decimals.
    """
    found: dict[str, Any] = {}
    shares = []
    for place, (title, kind) in enumerate(columns):
        cells = [None if words.is_missing(line[place]) else line[place] for line in body]
        name, values, is_share = _column(title or "value", kind, cells, separators)
        name = name if name not in found else f"{name} {len(found) + 1}"
        found[name] = values
        shares += [name] if is_share else []
    frame = pd.DataFrame(found)
    frame.attrs[SHARES] = tuple(shares)
    return frame


def _column(title: str, kind: str, cells: list[Any], separators: tuple[str, str]) -> tuple[str, pd.Series, bool]:
    """Its name, its values, and whether they are shares."""
    filled = [cell for cell in cells if cell is not None and str(cell).strip() not in _NOTHING]
    days = [_day(str(cell)) for cell in filled]
    if filled and None not in days:
        return title, _among(cells, filled, days, "object"), False
    if kind == "number" and filled:
        parted = [_number(str(cell), *separators) for cell in filled]
        units = {one[1] for one in parted if one is not None}
        if None not in parted and len(units) == 1:
            unit, numbers = units.pop(), [one[0] for one in parted if one is not None]
            if unit == "%":
                return title, _among(cells, filled, [number / 100 for number in numbers], "float64"), True
            return f"{title} ({unit})" if unit else title, _among(cells, filled, numbers, "float64"), False
    return title, pd.Series(cells, dtype="object"), False


def _among(cells: list[Any], filled: list[Any], values: Sequence[Any], kind: str) -> pd.Series:
    """The values where the cells hold something, in their order."""
    rest = iter(values)
    blank = None if kind == "object" else float("nan")
    return pd.Series(
        [blank if cell is None or str(cell).strip() in _NOTHING else next(rest) for cell in cells], dtype=kind
    )


def _day(text: str) -> dt.date | None:
    found = _DAY.fullmatch(text.strip())
    return dt.date(int(found[3]), words.MONTHS.index(found[2]) + 1, int(found[1])) if found else None


def _number(text: str, thousands: str, decimal: str) -> tuple[float, str] | None:
    """The number a cell begins with, and its unit; None where it is no number, or more than one stands in it."""
    found = _NUMBER.fullmatch(text.strip())
    if found is None or any(letter.isdigit() for letter in found[2]):
        return None
    plain = found[1].replace(thousands, "").replace(decimal, ".").replace("−", "-")
    try:
        return float(re.sub(r"[\s\u00a0\u2007\u2009\u202f]", "", plain)), found[2].strip()
    except ValueError:
        return None
