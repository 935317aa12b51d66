"""Columns that stand several times in a wide sheet, such as "Part 1", "Qty 1", "Part 2", "Qty 2", or "Draft before", "Draft after": a table for each group."""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from dataclasses import replace

from pipelines.mapping.declared import TableMap
from pipelines.mapping.names import bare
from pipelines.mapping.proposed_tables import FILLED, table_map
from pipelines.mapping.said_in_names import when_taken
from pipelines.mapping.samples import Sample

_NUMBER = re.compile(r"(?<![0-9])[1-9](?![0-9])")
# A unit, mostly; one group may have another than the next.
_IN_BRACKETS = re.compile(r"[(\[{][^)\]}]*[)\]}]")
# What a column that stands once says of every group; of anything else it is not known which group it speaks of.
_OF_ALL = ("visit_id", "line_no", "reading_no", "unit", "currency", "gauge_id")


def later_groups(
    table: TableMap, sample: Sample, found: dict[str, tuple[int, float]], read: Collection[str]
) -> list[TableMap]:
    """Tables like the one proposed, of the later groups of its columns; empty where none stands twice.

    found: field -> (source column, confidence) of the table. read: source columns that some table reads already.
    """
    telling = FILLED.get(table.table_name, ())
    named = {at: stem_of(column) for at, column in enumerate(sample.columns)}
    partners: dict[int, dict[str, tuple[int, float]]] = {}
    for field, (own, sure) in found.items():
        stem, own_number = named[own]
        for at, (other, number) in named.items():
            if other == stem and number and number > (own_number or 1) and sample.columns[at] not in read:
                partners.setdefault(number, {}).setdefault(field, (at, sure))
    shared = {field: found[field] for field in _OF_ALL if field in found}
    made = []
    for number, group in sorted(partners.items()):
        if not any(field in telling for field in group):
            continue
        later, lacking = table_map(table.table, sample, {**shared, **group})
        if not lacking:
            made.append(_numbered(later, number))
    return made


def siblings(columns: Sequence[str]) -> dict[int, set[int]]:
    """Place of a column -> the places of those that stand for the same thing in other groups."""
    stems = [stem_of(column) for column in columns]
    return {
        at: {other for other, (same, n) in enumerate(stems) if same == stem and n != number}
        for at, (stem, number) in enumerate(stems)
    }


def _numbered(table: TableMap, number: int) -> TableMap:
    """The table with its rows counted apart from those of the other groups: 2001, 2002, ... those of the second."""
    counted = table.table.key[-1]
    columns = (
        (field, replace(rule, prefix=f"{number}00") if field == counted else rule) for field, rule in table.columns
    )
    return replace(table, columns=tuple(columns))


def stem_of(column: str) -> tuple[str, int | None]:
    """A name without its one number, and the number; None where it has none or several. Before and after are 1 and 2."""
    key = bare(_IN_BRACKETS.sub(" ", column)) or bare(column)
    words = key.split()
    turns = [word for word in words if when_taken(word)]
    if len(turns) == 1:
        rest = " ".join(word for word in words if word not in turns)
        return rest, 1 if when_taken(turns[0]) == "before_repair" else 2
    numbers = _NUMBER.findall(key)
    if len(numbers) != 1:
        return key, None
    return " ".join(_NUMBER.sub(" ", key).split()), int(numbers[0])
