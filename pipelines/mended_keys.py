"""A row that is mended must not take the place of another: an identifier typed into it may be one on record."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import duckdb

from pipelines.contract.tables import TABLE_BY_NAME
from pipelines.entry_checks import Accepted
from pipelines.intake.headers import sort_columns
from pipelines.intake.sql_text import name
from pipelines.own_work import Kept

if TYPE_CHECKING:
    from pipelines.own_entries import HeldRow

_WHAT_NEXT = "If it is that row, dismiss this one; else write another. Nothing was changed."


def key_taken(
    con: duckdb.DuckDBPyConnection,
    waiting: Sequence[Kept],
    rows: Sequence[HeldRow],
    changes: Mapping[str, str],
    judged: Sequence[Accepted],
) -> str | None:
    """Whose place a mended row would take, in words; None where no key was typed, or only free ones.

    con: the generation in force. waiting: mended rows in force. rows: held back, of one table and shape, all with the same
    changes; judged: how acceptance sees them mended. A row whose own key is on record is a version of that row, and may
    take its place.
    """
    table = TABLE_BY_NAME[rows[0].table]
    known = sort_columns(table, list(rows[0].columns)).known
    typed = [
        column
        for column in table.key
        if known.get(column) in changes and any(changes[known[column]] != row.cells.get(known[column]) for row in rows)
    ]
    if not typed or _is_in_the_row(rows, [changes[known[column]] for column in typed]):
        return None
    keys = [tuple((one.stored or {}).get(table.by_name[column].stored_name) for column in table.key) for one in judged]
    shown = ", ".join(f"{column} {changes[known[column]]!r}" for column in typed)
    if len(set(keys)) < len(keys) or any(one.stored is None for one in judged):
        return (
            f"{shown} would make one row of {len(rows)}; mend them one by one, each with its own. Nothing was changed."
        )
    same = " AND ".join(f"CAST({name(table.by_name[column].stored_name)} AS VARCHAR) = ?" for column in table.key)
    for key in keys:
        if con.execute(
            f"SELECT 1 FROM delivered.{name(table.name)} WHERE {same}", [str(part) for part in key]
        ).fetchone():
            return f"{shown} is on record already, as another row of {table.name}. {_WHAT_NEXT}"
    own = {row.row_key for row in rows}
    there = {
        _key_cells(kept, table.key)
        for kept in waiting
        if kept.entry.content["table"] == table.name and kept.entry.about not in own
    }
    if any(tuple(row.mended(changes).get(known.get(column, ""), "") for column in table.key) in there for row in rows):
        return f"{shown} was given to another mended row of {table.name}, which waits to be brought in. {_WHAT_NEXT}"
    return None


def _is_in_the_row(rows: Sequence[HeldRow], typed: Sequence[str]) -> bool:
    """Whether a single row that could not be taken apart holds the key that was typed: then it is a version of that row."""
    if len(rows) != 1 or rows[0].is_apart:
        return False
    text = " ".join(rows[0].cells.values())
    return all(value and value in text for value in typed)


def _key_cells(kept: Kept, key: Sequence[str]) -> tuple[str, ...]:
    cells = kept.entry.content["row"]
    known = sort_columns(TABLE_BY_NAME[kept.entry.content["table"]], list(cells)).known
    return tuple(cells.get(known.get(column, ""), "") for column in key)
