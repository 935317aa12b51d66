"""Rows of a load beside the records in force: new ones in, repeats left out, revised ones exchanged with history kept.

Only keys that clash, among the rows of the load or with the store, are looked at in full. A row equal in every column
to a version already known (the one in force, an older one, or one that came earlier in the load) is an exact duplicate.
Any other is a revision: the later file, and within a file the later row, holds; what it replaces goes to the history.
"""

from __future__ import annotations

from dataclasses import dataclass

import duckdb

from pipelines.contract.ddl import stored_columns
from pipelines.contract.fields import Table
from pipelines.intake.reading import Target
from pipelines.intake.sql_text import count, name


@dataclass(frozen=True)
class Settled:
    """What became of the good rows of one file."""

    n_accepted: int
    n_revised: int


def settle(con: duckdb.DuckDBPyConnection, target: Target, load_ids: list[int]) -> dict[int, Settled]:
    """Bring the rows read into a target into force, and the target out of the way. load_ids: the loads of the rows."""
    table = target.table
    delivered, history = f"delivered.{name(table.name)}", f"delivered_history.{name(table.name)}"
    columns = ", ".join(name(column) for column, _ in stored_columns(table))
    if _find_clashes(con, target):
        con.execute(
            f"CREATE OR REPLACE TABLE landing.contender AS SELECT {columns} FROM {target.relation} "
            f"WHERE {_hash(table)} IN (SELECT k FROM landing.clash)"
        )
        con.execute(f"DELETE FROM {target.relation} WHERE {_hash(table)} IN (SELECT k FROM landing.clash)")
        _settle_contenders(con, target)
        con.execute("DROP TABLE landing.contender")
    con.execute("DROP TABLE landing.clash")
    if target.is_direct:
        con.execute(f"ALTER TABLE {delivered} DROP COLUMN raw")
    else:
        con.execute(f"INSERT INTO {delivered} SELECT {columns} FROM {target.relation}")
        con.execute(f"DROP TABLE {target.relation}")
    first = min(load_ids)
    counts = con.execute(
        f"""SELECT load_id, sum(n), sum(r) FROM (
                SELECT load_id, count(*) AS n, 0 AS r FROM {delivered} WHERE load_id >= {first} GROUP BY ALL
                UNION ALL SELECT load_id, count(*), 0 FROM {history} WHERE load_id >= {first} GROUP BY ALL
                UNION ALL SELECT replaced_by_load_id, 0, count(*) FROM {history} WHERE replaced_by_load_id >= {first}
                GROUP BY ALL) GROUP BY load_id"""
    ).fetchall()
    settled = {load_id: Settled(int(n), int(r)) for load_id, n, r in counts}
    return {load_id: settled.get(load_id, Settled(0, 0)) for load_id in load_ids}


def _hash(table: Table) -> str:
    return f"hash({_keys(table)})"


def _keys(table: Table) -> str:
    return ", ".join(name(table.by_name[column].stored_name) for column in table.key)


def _content(table: Table) -> list[str]:
    return [name(column) for column, _ in stored_columns(table) if column not in ("load_id", "row_no")]


def _find_clashes(con: duckdb.DuckDBPyConnection, target: Target) -> bool:
    """landing.clash: hashes of the keys that stand more than once. A hash shared by chance only costs a closer look."""
    hashes = f"SELECT {_hash(target.table)} AS k FROM {target.relation}"
    query = f"SELECT k FROM ({hashes}) GROUP BY k HAVING count(*) > 1"
    if not target.is_direct:
        in_force = f"SELECT {_hash(target.table)} AS k FROM delivered.{name(target.table.name)}"
        query += f" UNION SELECT k FROM ({in_force}) WHERE k IN ({hashes})"
    con.execute(f"CREATE OR REPLACE TABLE landing.clash AS {query}")
    return count(con, "SELECT count(*) FROM landing.clash") > 0


def _settle_contenders(con: duckdb.DuckDBPyConnection, target: Target) -> None:
    """Decide about landing.contender, all rows of the load whose key stands elsewhere too."""
    table = target.table
    delivered, history = f"delivered.{name(table.name)}", f"delivered_history.{name(table.name)}"
    keys, content = _keys(table), ", ".join(_content(table))
    origin = f"{content}, load_id, row_no"
    same_key = " AND ".join(f"d.{key} = c.{key}" for key in keys.split(", "))
    same = " AND ".join(f"d.{column} IS NOT DISTINCT FROM c.{column}" for column in _content(table))
    # Rows are found by their key alone and then read whole: most of a large table is never touched. A table that was
    # empty before the load has no such rows, its contenders have just been taken out.
    found = f"SELECT rowid FROM {delivered} WHERE {_hash(table)} IN (SELECT k FROM landing.clash)"
    in_force = f"SELECT {origin} FROM {delivered} WHERE {'false' if target.is_direct else f'rowid IN ({found})'}"
    con.execute(f"CREATE OR REPLACE TABLE landing.in_force AS {in_force}")
    # Most clashes are rows delivered again as they were; they need no closer look.
    con.execute(f"DELETE FROM landing.contender AS c USING landing.in_force AS d WHERE {same_key} AND {same}")
    con.execute(f"DELETE FROM landing.in_force AS d WHERE NOT EXISTS (FROM landing.contender AS c WHERE {same_key})")
    con.execute(f"""
        CREATE OR REPLACE TABLE landing.version AS
        WITH known AS (
            SELECT {origin}, 0 AS stage FROM {history} SEMI JOIN landing.contender USING ({keys})
            UNION ALL SELECT {origin}, 1 AS stage FROM landing.in_force
            UNION ALL SELECT {origin}, 2 AS stage FROM landing.contender),
        told_apart AS (
            SELECT *, row_number() OVER (PARTITION BY {content} ORDER BY stage, load_id, row_no) > 1 AS is_repeat
            FROM known)
        SELECT * EXCLUDE (stage, is_repeat),
            lead(load_id) OVER (PARTITION BY {keys} ORDER BY load_id, row_no) AS replaced_by_load_id,
            row_number() OVER (PARTITION BY {keys} ORDER BY load_id, row_no) = 1 AS is_first
        FROM told_apart WHERE stage = 2 AND NOT is_repeat""")
    con.execute("DROP TABLE landing.in_force")
    first = f"(SELECT {keys}, load_id AS by_load_id FROM landing.version WHERE is_first)"
    matched = " AND ".join(f"d.{key} = f.{key}" for key in keys.split(", "))
    picked = ", ".join(f"d.{column}" for column in origin.split(", "))
    con.execute(
        f"INSERT INTO {history} ({origin}, replaced_by_load_id) "
        f"SELECT {picked}, f.by_load_id FROM {delivered} AS d JOIN {first} AS f ON {matched}"
    )
    con.execute(f"DELETE FROM {delivered} AS d USING {first} AS f WHERE {matched}")
    con.execute(
        f"INSERT INTO {history} ({origin}, replaced_by_load_id) SELECT {origin}, replaced_by_load_id "
        "FROM landing.version WHERE replaced_by_load_id IS NOT NULL"
    )
    con.execute(
        f"INSERT INTO {delivered} ({origin}) SELECT {origin} FROM landing.version WHERE replaced_by_load_id IS NULL"
    )
    con.execute("DROP TABLE landing.version")
