"""Sheets that keep the day and the time of day in columns of their own: which belong together."""

from __future__ import annotations

from collections.abc import Sequence

from pipelines.contract.fields import Table
from pipelines.mapping.declared import ColumnRule
from pipelines.mapping.names import bare, likeness
from pipelines.mapping.samples import Sample
from pipelines.mapping.value_signs import formats_fitting, is_time, share_iso_times

_TIME_NAMES = frozenset({"time", "time day", "uhrzeit", "zeit", "um", "heure", "hora", "clock", "hour"})
_MOST = 0.9
# How like a name must be to that of the arrival or the departure.
_LIKE = 0.8
FIELDS = ("arrived_at", "left_at")


def joined_times(table: Table, sample: Sample, found: dict[str, tuple[int, float]]) -> dict[str, ColumnRule]:
    """Rules for arrived_at and left_at that join the column of the day with one of times; empty where there is no such pair.

    found: field -> (source column, confidence), as proposed from one column each; arrived_at must stand in it.
    """
    if "arrived_at" not in found:
        return {}
    day = found["arrived_at"][0]
    cells = sample.cells(day)
    if not cells or any(":" in cell for cell in cells):
        return {}
    free = [
        at
        for at in range(len(sample.columns))
        if at not in {one for field, (one, _) in found.items() if field != "left_at"}
    ]
    times = [at for at in free if sample.cells(at) and _share(sample.cells(at)) >= _MOST]
    rules: dict[str, ColumnRule] = {}
    for field in FIELDS:
        named = [(_name_like(table, field, sample.columns[at]), -at) for at in times]
        like, at = max(named, default=(0.0, 0))
        if like < _LIKE:
            continue
        rule = _joined(sample, day, -at, field)
        if rule is not None:
            rules[field] = rule
            times.remove(-at)
    return rules if "arrived_at" in rules else {}


def _name_like(table: Table, field: str, column: str) -> float:
    plain = 0.9 if field == "arrived_at" and bare(column) in _TIME_NAMES else 0.0
    other = next(one for one in FIELDS if one != field)
    own = likeness(table.by_name[field], column)
    # "Time out" is like "time in", too.
    return max(plain, own if own >= likeness(table.by_name[other], column) else 0.0)


def _joined(sample: Sample, day: int, time: int, field: str) -> ColumnRule | None:
    """The two as one, with the formats both together are written in; None where they cannot be read.

    An arrival may be known by its day alone. A departure may not: at midnight it would lie before the arrival.
    """
    pairs = [
        f"{str(row[day]).strip()} {str(row[time]).strip()}" for row in sample.rows if row[day] and row[time]
    ]  # fmt: skip
    together, alone = formats_fitting(pairs), formats_fitting(sample.cells(day))
    if not together and share_iso_times(pairs) < _MOST:
        return None
    columns = (sample.columns[day], sample.columns[time])
    return ColumnRule(columns=columns, join=" ", formats=tuple([*together, *(alone if field == "arrived_at" else ())]))


def _share(cells: Sequence[str]) -> float:
    return sum(map(is_time, cells)) / len(cells)
