"""A table in which each row is a person: in the order of their names, which no click can change. No league table."""

from __future__ import annotations

from collections.abc import Collection, Mapping

import pandas as pd

from dashboard import long_list, words

NAME = "Technician"
N_SHOWN = 20


def show(
    frame: pd.DataFrame,
    key: str,
    shares: Collection[str] = (),
    amounts: Collection[str] = (),
    currency: str = "",
    ranges: Mapping[str, tuple[str, str]] | None = None,
) -> None:
    """The table with its export, which holds the columns as they are given.

    frame: a row a person, NAME as the reader may see it, and no column of another order. shares: columns in [0, 1], shown
    in percent. amounts: columns of money. ranges: a column, and the two that hold the ends of its range.
    """
    ordered = frame.sort_values(NAME, ignore_index=True)
    columns, body = lines(ordered, shares, amounts, currency, ranges or {})
    long_list.show(columns, body, key, "Nobody.", "by name", N_SHOWN, lambda: ordered)


def lines(
    frame: pd.DataFrame,
    shares: Collection[str],
    amounts: Collection[str],
    currency: str,
    ranges: Mapping[str, tuple[str, str]],
) -> tuple[list[tuple[str, str]], list[tuple[str, ...]]]:
    """The columns with their kind, and a line of text a row; a range stands in one column behind its figure."""
    ends = {name for pair in ranges.values() for name in pair}
    columns: list[tuple[str, str]] = []
    cells: list[list[str]] = []
    for name in frame.columns:
        if name in ends:
            continue
        is_number = name in shares or name in amounts or pd.api.types.is_numeric_dtype(frame[name])
        told = [_told(value, name in shares, name in amounts, is_number) for value in frame[name]]
        columns.append((f"{name}, {currency}" if name in amounts else name, "number" if is_number else "text"))
        cells.append(told)
        if name in ranges:
            columns.append(("Range", "text"))
            low, high = (
                [_told(value, name in shares, name in amounts, True) for value in frame[end]] for end in ranges[name]
            )
            # Where an end is not known, the figure itself says so.
            cells.append(
                ["" if words.NOT_KNOWN in pair else f"{pair[0]} to {pair[1]}" for pair in zip(low, high, strict=True)]
            )
    return columns, [*zip(*cells, strict=True)]


def _told(value: object, is_share: bool, is_amount: bool, is_number: bool) -> str:
    if words.is_missing(value):
        return words.NOT_KNOWN
    if is_share:
        return words.share(float(value))  # type: ignore[arg-type]
    if not is_number:
        return str(value)
    number = float(value)  # type: ignore[arg-type]
    return words.count(number) if is_amount or number.is_integer() else words.number(number)
