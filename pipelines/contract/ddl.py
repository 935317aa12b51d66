"""Table definitions of the store's accepted records, derived from the contract."""

from __future__ import annotations

import hashlib

import duckdb

from pipelines.contract.fields import Field, Table
from pipelines.contract.tables import TABLES

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

# Where a row came from, on every accepted row.
ORIGIN_COLUMNS = (("load_id", "INTEGER"), ("row_no", "BIGINT"))


def extra_columns(table: Table) -> tuple[tuple[str, str], ...]:
    """Columns the store derives on the way in: the magnitude in pascal and the sign of a quantity."""
    if any(entry.kind == "quantity" for entry in table.fields):
        return (("value_pa", "DOUBLE"), ("sign", "SMALLINT"))
    return ()


def stored_columns(table: Table) -> tuple[tuple[str, str], ...]:
    """Name and type of every column of `delivered.<table>`, in order."""
    named = tuple((entry.stored_name, column_type(entry)) for entry in table.fields)
    return named + extra_columns(table) + ORIGIN_COLUMNS


def column_type(entry: Field) -> str:
    """DuckDB type of a field in the store."""
    return COLUMN_TYPE[entry.kind]


def contract_digest() -> str:
    """A digest of the declaration: it changes when a table, column or type does."""
    text = "\n".join(f"{table.name}:{stored_columns(table)}" for table in TABLES)
    return hashlib.sha256(text.encode("utf-8")).hexdigest()[:16]


def create_delivered(con: duckdb.DuckDBPyConnection) -> None:
    """Create the empty schemas and tables of a new store in the connection's database."""
    con.execute("CREATE SCHEMA IF NOT EXISTS delivered")
    con.execute("CREATE SCHEMA IF NOT EXISTS delivered_history")
    for table in TABLES:
        columns = ", ".join(f'"{name}" {kind}' for name, kind in stored_columns(table))
        con.execute(f'CREATE TABLE IF NOT EXISTS delivered."{table.name}" ({columns})')
        con.execute(
            f'CREATE TABLE IF NOT EXISTS delivered_history."{table.name}" ({columns}, replaced_by_load_id INTEGER)'
        )
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
