"""Values and names written into SQL text, and short answers read from it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import duckdb


def text(value: str) -> str:
    """A SQL string literal."""
    return "'" + value.replace("'", "''") + "'"


def name(value: str) -> str:
    """A SQL identifier."""
    return '"' + value.replace('"', '""') + '"'


def texts(values: Iterable[str]) -> str:
    """String literals with commas between them."""
    return ", ".join(text(value) for value in values)


def layered(source: str, *layers: list[str]) -> str:
    """SELECTs around the query `source`, each adding its columns to those before, so that nothing is computed twice."""
    query = source
    for columns in layers:
        if columns:
            query = f"SELECT *, {', '.join(columns)} FROM ({query})"
    return query


def first_row(con: duckdb.DuckDBPyConnection, query: str, values: Sequence[Any] = ()) -> tuple | None:
    """The first row of a query, or None. All rows are fetched: an unfinished result would block the connection."""
    rows = con.execute(query, list(values)).fetchall()
    return rows[0] if rows else None


def count(con: duckdb.DuckDBPyConnection, statement: str, values: Sequence[Any] = ()) -> int:
    """The number a query gives, or the number of rows a statement changed; 0 for none."""
    row = first_row(con, statement, values)
    return int(row[0] or 0) if row else 0
