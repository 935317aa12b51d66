"""Table definitions of the store's accepted records, derived from the contract."""

from __future__ import annotations

import hashlib

import duckdb

from pipelines.contract.fields import Field, Table
from pipelines.contract.tables import TABLES
from pipelines.errors import StoreError

# Raised whenever the layout of a store changes in a way an older program cannot read.
STORE_VERSION = 1

COLUMN_TYPE = {
    "id": "VARCHAR",
    "text": "VARCHAR",
    "code": "VARCHAR",
    "flag": "BOOLEAN",
    "whole": "BIGINT",
    "number": "DOUBLE",
    "timestamp": "TIMESTAMP",
    "date": "DATE",
    "pressure": "DOUBLE",
    "quantity": "DOUBLE",
    "unit": "VARCHAR",
    "currency": "VARCHAR",
}

# How texts are stored. Told outright, a load need not try every way on every column: a quarter faster; and notes, which
# hardly repeat, take a third less room.
COMPRESSION = {"VARCHAR": "dict_fsst"}
LONG_TEXTS = {"notes": "zstd"}

# Where a row came from, on every accepted row.
ORIGIN_COLUMNS = (("load_id", "INTEGER"), ("row_no", "BIGINT"))

# Tables that people fill in here: beside `delivered`, schema `entered` holds what of their own work is in force.
ENTERED_TABLES = ("bench_tests", "corrections", "coaching_sessions")


def extra_columns(table: Table) -> tuple[tuple[str, str], ...]:
    """Columns the store derives on the way in: the magnitude in pascal and the sign of a quantity."""
    if any(entry.kind == "quantity" for entry in table.fields):
        return (("value_pa", "DOUBLE"), ("sign", "SMALLINT"))
    return ()


def stored_columns(table: Table) -> tuple[tuple[str, str], ...]:
    """Name and type of every column of `delivered.<table>`, in order."""
    named = tuple((entry.stored_name, column_type(entry)) for entry in table.fields)
    return named + extra_columns(table) + ORIGIN_COLUMNS


def entered_columns(table: Table) -> tuple[tuple[str, str], ...]:
    """Name and type of every column of `entered.<table>`: as delivered, without the place in a file."""
    return stored_columns(table)[: -len(ORIGIN_COLUMNS)]


def column_type(entry: Field) -> str:
    """DuckDB type of a field in the store."""
    return COLUMN_TYPE[entry.kind]


def contract_digest() -> str:
    """A digest of the declaration: it changes when a table, column or type does."""
    text = "\n".join(f"{table.name}:{stored_columns(table)}" for table in TABLES)
    return hashlib.sha256(text.encode("utf-8")).hexdigest()[:16]


def create_delivered(con: duckdb.DuckDBPyConnection) -> None:
    """Create the schemas and tables of accepted records, empty, where they are not there yet.

    A store made before a column was added to the contract gets that column, blank in the rows it has.
    Raises StoreError when the store has a column or a type that the contract no longer has.
    """
    existing = _existing_columns(con)
    for schema, added in (("delivered", ()), ("delivered_history", (("replaced_by_load_id", "INTEGER"),))):
        con.execute(f"CREATE SCHEMA IF NOT EXISTS {schema}")
        for table in TABLES:
            _create_or_widen(con, f"{schema}.{table.name}", stored_columns(table) + added, existing)
    con.execute("CREATE SCHEMA IF NOT EXISTS entered")
    for table in TABLES:
        if table.name in ENTERED_TABLES:
            _create_or_widen(con, f"entered.{table.name}", entered_columns(table), existing)
    # Ids that people decided are one and the same: the id in the records, and the one that stands for it.
    con.execute(
        "CREATE TABLE IF NOT EXISTS entered.same_as "
        "(subject VARCHAR, site_id VARCHAR, record_id VARCHAR, kept_id VARCHAR)"
    )
    con.execute("CREATE TABLE IF NOT EXISTS held_back_settled (row_key VARCHAR, outcome VARCHAR, entry_id VARCHAR)")
    # Of a mended row: where it stands in the records.
    for column, kind in (("load_id", "INTEGER"), ("row_no", "BIGINT")):
        con.execute(f"ALTER TABLE held_back_settled ADD COLUMN IF NOT EXISTS {column} {kind}")
    con.execute("CREATE TABLE IF NOT EXISTS own_work_state (last_entry_no BIGINT)")
    con.execute("""
        CREATE TABLE IF NOT EXISTS held_back (
            load_id INTEGER, table_name VARCHAR, file_name VARCHAR, row_no BIGINT, line_no BIGINT,
            column_name VARCHAR, got VARCHAR, reason_code VARCHAR, reason VARCHAR, raw JSON)""")
    con.execute("""
        CREATE TABLE IF NOT EXISTS "load" (
            load_id INTEGER, loaded_at TIMESTAMP, file_name VARCHAR, file_digest VARCHAR, table_name VARCHAR,
            n_rows BIGINT, n_accepted BIGINT, n_revised BIGINT, n_held_back BIGINT, n_duplicates BIGINT,
            dropped_columns VARCHAR[], unknown_columns VARCHAR[], delimiter VARCHAR, encoding VARCHAR,
            seconds DOUBLE)""")
    con.execute("CREATE TABLE IF NOT EXISTS store_format (version INTEGER, contract_digest VARCHAR, made_with VARCHAR)")
    con.execute("DELETE FROM store_format")
    con.execute(
        "INSERT INTO store_format VALUES (?, ?, ?)",
        [STORE_VERSION, contract_digest(), f"duckdb {duckdb.__version__}"],
    )


def _existing_columns(con: duckdb.DuckDBPyConnection) -> dict[str, dict[str, str]]:
    """schema.table -> column -> type, for the tables that are there."""
    rows = con.execute("""
        SELECT schema_name || '.' || table_name, column_name, data_type FROM duckdb_columns()
        WHERE schema_name IN ('delivered', 'delivered_history', 'entered') AND database_name = current_database()
        ORDER BY column_index""").fetchall()
    found: dict[str, dict[str, str]] = {}
    for table, column, kind in rows:
        found.setdefault(table, {})[column] = kind
    return found


def _declared(column: str, kind: str) -> str:
    how = LONG_TEXTS.get(column) or COMPRESSION.get(kind)
    return f'"{column}" {kind}' + (f" USING COMPRESSION {how}" if how else "")


def _create_or_widen(
    con: duckdb.DuckDBPyConnection,
    name: str,
    columns: tuple[tuple[str, str], ...],
    existing: dict[str, dict[str, str]],
) -> None:
    there = existing.get(name)
    if there is None:
        con.execute(f"CREATE TABLE {name} ({', '.join(_declared(column, kind) for column, kind in columns)})")
        return
    wanted = dict(columns)
    differing = [f"{column} {kind}" for column, kind in there.items() if wanted.get(column) != kind]
    if differing:
        raise StoreError(
            f"{name}: the store has {', '.join(differing)}, which the contract of this version does not have. "
            "Nothing was changed. Load the records into a new home (--home)."
        )
    if list(there) != list(wanted):
        chosen = ", ".join(
            f'"{column}"' if column in there else f'NULL::{kind} AS "{column}"' for column, kind in columns
        )
        con.execute(f"CREATE OR REPLACE TABLE {name} AS SELECT {chosen} FROM {name}")
