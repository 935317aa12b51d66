"""Rows held back whose key came in with a later load: the newer version is on record, so nothing of them is missing."""

from __future__ import annotations

from datetime import UTC, datetime

import duckdb

from pipelines.contract.fields import Table
from pipelines.contract.tables import TABLE_BY_NAME
from pipelines.intake.headers import sort_columns
from pipelines.intake.judging import findings, thorough_sql
from pipelines.intake.rules import Rules, raw, stored
from pipelines.intake.session import CLEANING
from pipelines.intake.sql_text import count, name, text
from pipelines.settings import Settings

# A row held back is known by its table and its cells as delivered; sql/records/held_back_open.sql says it the same way.
KEYED = "SELECT md5(table_name || chr(10) || CAST(raw AS VARCHAR)) AS row_key, * FROM held_back"


def settle_replaced(con: duckdb.DuckDBPyConnection, settings: Settings, first_load_id: int) -> int:
    """Name in held_back_settled the rows whose key was accepted in a later load than they were first held back in.

    first_load_id: only rows accepted by this load or a later one are looked at; 1 = everything is found anew. Returns how
    many were added. The key is read from the cells as delivered by the same acceptance as any cell; a row whose key cannot be read stays as it is.
    """
    con.execute(CLEANING.read_text("utf-8"))
    if first_load_id <= 1:
        # A version that took a row's place may itself be gone, with the mapping that made it.
        con.execute("DELETE FROM held_back_settled WHERE outcome = 'replaced'")
    con.execute(
        f"""CREATE OR REPLACE TEMP TABLE held_row AS
            SELECT row_key, any_value(table_name) AS table_name, min(load_id) AS held_load_id, any_value(raw) AS raw
            FROM ({KEYED}) GROUP BY row_key
            HAVING row_key NOT IN (SELECT row_key FROM held_back_settled WHERE outcome IN ('mended', 'replaced'))"""
    )
    shapes = con.execute(
        """SELECT table_name, json_keys(raw) AS columns, min(held_load_id) FROM held_row
           GROUP BY ALL ORDER BY ALL"""
    ).fetchall()
    n_added = 0
    for table_name, columns, held_first in shapes:
        table = TABLE_BY_NAME[table_name]
        known = sort_columns(table, columns).known
        later = f"load_id >= {first_load_id} AND load_id > {held_first}"
        if set(table.key) <= known.keys() and _has_later(con, table_name, later):
            n_added += _settle(con, table, settings, {column: known[column] for column in table.key}, columns, later)
    con.execute("DROP TABLE held_row")
    return n_added


def _has_later(con: duckdb.DuckDBPyConnection, table_name: str, later: str) -> bool:
    return count(con, f'SELECT count(*) FROM "load" WHERE table_name = {text(table_name)} AND {later}') > 0


def _settle(
    con: duckdb.DuckDBPyConnection,
    table: Table,
    settings: Settings,
    key_columns: dict[str, str],
    columns: list[str],
    later: str,
) -> int:
    """The same for the rows of one table with these columns. key_columns: key of the contract -> column as delivered."""
    rules = Rules(table, frozenset(key_columns), settings, datetime.now(UTC).date())
    cells = [
        f"CAST(raw AS MAP(VARCHAR, VARCHAR))[{text(key_columns[entry.name])}] AS {raw(entry)}"
        for entry in rules.present()
    ]
    source = f"""SELECT row_key, held_load_id, {", ".join(cells)} FROM held_row
        WHERE table_name = {text(table.name)} AND json_keys(raw) = [{", ".join(text(column) for column in columns)}]"""
    is_key = " AND ".join(f"{code} IS NULL" for column, code, _ in findings(rules) if column in key_columns)
    same = " AND ".join(f"d.{name(entry.stored_name)} = h.{stored(entry)}" for entry in rules.present())
    return count(
        con,
        f"""INSERT INTO held_back_settled (row_key, outcome, entry_id)
            SELECT DISTINCT h.row_key, 'replaced', NULL FROM ({thorough_sql(rules, source)}) AS h
            JOIN (FROM delivered.{name(table.name)} WHERE {later}) AS d ON {same} AND d.load_id > h.held_load_id
            WHERE {is_key}""",
    )
