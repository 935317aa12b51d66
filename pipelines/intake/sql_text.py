"""Values and names written into SQL text."""

from __future__ import annotations

from collections.abc import Iterable


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
