"""The rows of a table as lines of text: shares in percent, money and counts in whole units, days as days."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from dashboard import words


def in_currency(name: Any, currency: str) -> str:
    """The title of a column of amounts."""
    return f"{name}, {currency}"


def with_currency(frame: pd.DataFrame, amounts: Collection[str], currency: str) -> pd.DataFrame:
    """The frame as it goes into a file, which must say by itself what its amounts are in."""
    return frame.rename(columns={name: in_currency(name, currency) for name in amounts})


@dataclass(frozen=True)
class FrameText(Sequence[tuple[str, ...]]):
    """The lines of a frame, each made only when it is asked for.

    shares: columns in [0, 1], shown in percent. amounts: columns of money. ranges: a column, and the two that hold the ends
    of its range, which stand in one column behind it. missing: what stands for a missing value.
    """

    frame: pd.DataFrame
    shares: Collection[str] = ()
    amounts: Collection[str] = ()
    currency: str = ""
    ranges: Mapping[str, tuple[str, str]] = field(default_factory=dict)
    missing: str = ""

    def columns(self) -> list[tuple[str, str]]:
        """Title and kind ('text' or 'number') of each."""
        found = []
        for name in self._shown():
            title = in_currency(name, self.currency) if name in self.amounts else str(name)
            found.append((title, "number" if self._is_number(name) else "text"))
            if name in self.ranges:
                found.append(("Range", "text"))
        return found

    def __len__(self) -> int:
        return len(self.frame)

    def __getitem__(self, place: Any) -> Any:
        if isinstance(place, slice):
            return [self._line(row) for row in self.frame.iloc[place].to_dict("records")]
        return self._line(self.frame.iloc[place].to_dict())

    def _shown(self) -> list[str]:
        ends = {name for pair in self.ranges.values() for name in pair}
        return [name for name in self.frame.columns if name not in ends]

    def _is_number(self, name: str) -> bool:
        kind = self.frame[name].dtype
        is_count = pd.api.types.is_numeric_dtype(kind) and not pd.api.types.is_bool_dtype(kind)
        return name in self.shares or name in self.amounts or is_count

    def _line(self, row: Mapping[Any, Any]) -> tuple[str, ...]:
        cells = []
        for name in self._shown():
            cells.append(self._cell(name, row[name]))
            if name in self.ranges:
                ends = [row[end] for end in self.ranges[name]]
                # Where an end is not known, the figure itself says so.
                is_known = not any(map(words.is_missing, ends))
                cells.append(" to ".join(self._cell(name, end) for end in ends) if is_known else "")
        return tuple(cells)

    def _cell(self, name: str, value: Any) -> str:
        if isinstance(value, list | tuple):
            return " ".join(map(str, value))
        if words.is_missing(value):
            return self.missing
        if name in self.shares:
            return words.share(float(value))
        if isinstance(value, dt.date):
            return words.date(value)
        if not self._is_number(name):
            return str(value)
        number = float(value)
        return words.count(number) if name in self.amounts or number.is_integer() else words.number(number)
