"""Accepted rows into the store: new ones in, repeats counted, revised ones exchanged with their history kept.

A row whose key is new goes straight in. Only keys that clash, within the file or with the store, are looked at in
full: a row equal to a version already known (the one in force or an older one) is an exact duplicate, anything else is
a revision; the last revision in the file holds, and what it replaces goes to the history. Two versions of one key
count as equal when the 64-bit hashes of all their columns are.
"""

from __future__ import annotations

from dataclasses import dataclass

import duckdb

from pipelines.contract.ddl import stored_columns
from pipelines.contract.fields import Table
from pipelines.intake.accept import Acceptance, name


@dataclass(frozen=True)
class Merged:
    """What became of the good rows of one file."""

    n_accepted: int
    n_revised: int
    n_duplicates: int


def merge(con: duckdb.DuckDBPyConnection, acceptance: Acceptance, landed: str, load_id: int) -> Merged:
    """Put the good rows of the landed text into `delivered.<table>`.

    Leaves the temporary table `accepted_key` (key columns, load_id) unused; rows carry load_id, by which they are found.
    """
    table = acceptance.table
    clashing = _find_clashes(con, acceptance, landed)
    good = f"FROM ({acceptance.values_sql(landed)}) WHERE NOT ({acceptance.is_bad_sql()})"
    stored = acceptance.stored_sql(load_id)
    outside = f"AND hash({_cell_keys(table)}) NOT IN (FROM clash)" if clashing else ""
    n_new = _count(con, f'INSERT INTO delivered."{table.name}" SELECT {stored} {good} {outside}')
    if not clashing:
        return Merged(n_new, 0, 0)
    con.execute(f'CREATE OR REPLACE TEMP TABLE contender AS FROM delivered."{table.name}" LIMIT 0')
    con.execute(f"INSERT INTO contender SELECT {stored} {good} AND hash({_cell_keys(table)}) IN (FROM clash)")
    return _settle(con, table, load_id, n_new)


def _find_clashes(con: duckdb.DuckDBPyConnection, acceptance: Acceptance, landed: str) -> bool:
    table = acceptance.table
    con.execute(
        f"CREATE OR REPLACE TEMP TABLE landed_key AS SELECT hash({_cell_keys(table)}) AS k FROM ({acceptance.keys_sql(landed)})"
    )
    con.execute(f"""
        CREATE OR REPLACE TEMP TABLE clash AS
        SELECT k FROM landed_key GROUP BY k HAVING count(*) > 1
        UNION
        SELECT k FROM (SELECT hash({_stored_keys(table)}) AS k FROM delivered."{table.name}") WHERE k IN (FROM landed_key)""")
    con.execute("DROP TABLE landed_key")
    row = con.execute("SELECT count(*) FROM clash").fetchone()
    return bool(row and row[0])


def _settle(con: duckdb.DuckDBPyConnection, table: Table, load_id: int, n_new: int) -> Merged:
    columns = [column for column, _ in stored_columns(table) if column not in ("load_id", "row_no")]
    content = ", ".join(name(column) for column in columns)
    keys = ", ".join(name(table.by_name[column].stored_name) for column in table.key)
    delivered, history = f'delivered."{table.name}"', f'delivered_history."{table.name}"'
    con.execute(f"""
        CREATE OR REPLACE TEMP TABLE judged AS
        WITH known AS (
            SELECT {content}, load_id, row_no, 0 AS stage FROM {history} SEMI JOIN contender USING ({keys})
            UNION ALL BY NAME
            SELECT {content}, load_id, row_no, 1 AS stage FROM {delivered} SEMI JOIN contender USING ({keys})
            UNION ALL BY NAME
            SELECT {content}, load_id, row_no, 2 AS stage FROM contender)
        SELECT *, row_number() OVER (PARTITION BY {keys}, hash({content}) ORDER BY stage, row_no) > 1 AS is_repeat
        FROM known""")
    con.execute(f"""
        CREATE OR REPLACE TEMP TABLE version AS
        SELECT *, row_number() OVER (PARTITION BY {keys} ORDER BY row_no DESC) = 1 AS is_last
        FROM judged WHERE stage = 2 AND NOT is_repeat""")
    n_duplicates = _number(con, "SELECT count(*) FROM judged WHERE stage = 2 AND is_repeat")
    n_versions = _number(con, "SELECT count(*) FROM version")
    n_replaced = _number(con, f"SELECT count(*) FROM {delivered} SEMI JOIN version USING ({keys})")
    if n_replaced:
        con.execute(
            f"INSERT INTO {history} BY NAME SELECT *, {load_id} AS replaced_by_load_id FROM {delivered} SEMI JOIN version USING ({keys})"
        )
        match = " AND ".join(
            f"d.{name(table.by_name[c].stored_name)} = version.{name(table.by_name[c].stored_name)}" for c in table.key
        )
        con.execute(f"DELETE FROM {delivered} AS d USING version WHERE {match}")
    origin = f"{content}, load_id, row_no"
    con.execute(
        f"INSERT INTO {history} BY NAME SELECT {origin}, {load_id} AS replaced_by_load_id FROM version WHERE NOT is_last"
    )
    n_kept = _count(con, f"INSERT INTO {delivered} BY NAME SELECT {origin} FROM version WHERE is_last")
    for temporary in ("judged", "version", "contender", "clash"):
        con.execute(f"DROP TABLE {temporary}")
    return Merged(n_new + n_versions, n_versions - (n_kept - n_replaced), n_duplicates)


def _cell_keys(table: Table) -> str:
    return ", ".join(f"CAST({name('v_' + table.by_name[column].stored_name)} AS VARCHAR)" for column in table.key)


def _stored_keys(table: Table) -> str:
    return ", ".join(f"CAST({name(table.by_name[column].stored_name)} AS VARCHAR)" for column in table.key)


def _count(con: duckdb.DuckDBPyConnection, statement: str) -> int:
    return _number(con, statement)


def _number(con: duckdb.DuckDBPyConnection, statement: str) -> int:
    row = con.execute(statement).fetchone()
    return int(row[0]) if row else 0
