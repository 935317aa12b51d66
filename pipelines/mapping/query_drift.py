"""A query that asks for a column or table which the database has not (any more): what it asks for, and what is near it."""

from __future__ import annotations

import re
from typing import Any

from pipelines.mapping.drift import named
from pipelines.mapping.query_text import names_in

_NAME = r'(?:"(?:[^"]|"")*"|[^\W\d][\w$]*)'
_DOTTED = re.compile(rf"{_NAME}(?:\s*\.\s*{_NAME})*")
# A short name of no table of the query, in front of all its columns: no table is missing.
_ALL_OF = re.compile(r"\s*\.\s*\*")
_NO_COLUMN, _NO_TABLE = "42703", "42P01"
_MOST_NAMES = 40
_MOST_SECONDS = 15
# Only what this user may read is listed there. Schemas: those the query names, and those searched without a name.
_COLUMNS = """SELECT table_schema, table_name, column_name FROM information_schema.columns
WHERE table_name = ANY(%(names)s::text[])
AND (table_schema = ANY(%(names)s::text[]) OR table_schema = ANY(current_schemas(false)::text[]))
ORDER BY table_schema, table_name, ordinal_position LIMIT 2000"""
_TABLES = """SELECT table_schema, table_name FROM information_schema.tables
WHERE table_schema NOT IN ('pg_catalog', 'information_schema') ORDER BY table_schema, table_name LIMIT 20000"""


def lacks(connection: Any, query: str, error: Any) -> str | None:
    """What the query asks for and the database lacks, in sentences; None where the error is of another kind.

    connection: in its transaction, back at the state before the query. query: as the database was asked to read it.
    Raises psycopg.Error when the connection is lost meanwhile.
    """
    import psycopg

    if error.sqlstate not in (_NO_COLUMN, _NO_TABLE):
        return None
    asked = _asked_for(query, error)
    if asked is None:
        return None
    kind, near = ("column", _near_column) if error.sqlstate == _NO_COLUMN else ("table", _near_table)
    try:
        said = near(connection, asked, query)
    except psycopg.Error:
        if connection.closed:
            raise
        said = f"{'.'.join(asked)!r}."
    return f"The query asks for and the database lacks the {kind} {said}"


def _asked_for(query: str, error: Any) -> list[str] | None:
    """The parts of the name at the place the database points to; None where it means something else."""
    place = error.diag.statement_position
    found = _DOTTED.match(query, int(place) - 1) if place else None
    if found is None or _ALL_OF.match(query, found.end()):
        return None
    parts = [_known_as(part) for part in re.findall(_NAME, found[0])]
    # In whatever language the database speaks, it repeats the name; of a column sometimes the last part only.
    said = parts[-1] if error.sqlstate == _NO_COLUMN else ".".join(parts)
    return parts if said in (error.diag.message_primary or "") else None


def _known_as(part: str) -> str:
    return part[1:-1].replace('""', '"') if part.startswith('"') else part.lower()


def _near_column(connection: Any, asked: list[str], query: str) -> str:
    """The column, the one most like it, and the columns of every table the query names."""
    tables: dict[str, list[str]] = {}
    for schema, table, column in _found(connection, _COLUMNS, {"names": sorted(names_in(query))}):
        tables.setdefault(f"{schema}.{table}", []).append(column)
    others = list(dict.fromkeys(column for columns in tables.values() for column in columns))
    has = [f" The database has in {table}: {_few(columns)}." for table, columns in tables.items()]
    return f"{named([asked[-1]], others)}.{''.join(has)}"


def _near_table(connection: Any, asked: list[str], query: str) -> str:
    """The table, what it may be called now, and the tables of the schema it was looked for in, or of all."""
    found = _found(connection, _TABLES, {})
    name, schema = asked[-1], asked[-2] if len(asked) > 1 else None
    there = [(own, table) for own, table in found if schema in (None, own)]
    moved = [f"{own}.{table}" for own, table in found if table == name]
    now = f" (perhaps {moved[0]!r} now)" if moved else named([name], [table for _, table in there])[len(repr(name)) :]
    where, listed = ("", found) if schema is None else (f" in {schema}", there)
    has = _few([table if schema else f"{own}.{table}" for own, table in listed]) or "nothing that this user may read"
    return f"{'.'.join(asked)!r}{now}. The database has{where}: {has}."


def _found(connection: Any, query: str, values: dict[str, Any]) -> list[tuple]:
    """Rows of a look into the database's own lists, within a limit of its own that ends with it."""
    with connection.transaction(force_rollback=True):
        # Within the mapping's own limit, after which the connection would be taken for silent.
        connection.execute(
            "SELECT set_config('statement_timeout', least(nullif(setting::int, 0), %s)::text, true) FROM pg_settings "
            "WHERE name = 'statement_timeout'",
            [1000 * _MOST_SECONDS],
        )
        rows: list[tuple] = connection.execute(query, values).fetchall()
        return rows


def _few(names: list[str]) -> str:
    more = f" and {len(names) - _MOST_NAMES:,} more" if len(names) > _MOST_NAMES else ""
    return named(names[:_MOST_NAMES], []) + more
