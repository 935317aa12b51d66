"""Rows of a load beside the records in force: new ones in, repeats left out, revised ones exchanged with history kept.

Only keys that clash, among the rows of the load or with the store, are looked at in full. Within a file the later row
holds, whatever stood before; it is a repeat where it equals the row before it. Between files the newer version holds: a
row equal in every column to an older version is taken for an old file that comes again, until the file says something
new of its key, or repeats what is in force. What is replaced goes to the history.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import duckdb

from pipelines.contract.ddl import stored_columns
from pipelines.contract.fields import Table
from pipelines.intake.reading import Target
from pipelines.intake.sql_text import count, name

# In the history, for replaced_by_load_id: no later version replaced the row, a person took it back. It may come again.
TAKEN_BACK = 0


@dataclass(frozen=True)
class Settled:
    """What became of the good rows of one file. n_older: rows left out that equal a version already replaced."""

    n_accepted: int
    n_revised: int
    n_older: int


def settle(con: duckdb.DuckDBPyConnection, target: Target, loads: Mapping[int, Sequence[int]]) -> dict[int, Settled]:
    """Bring the rows read into a target into force, and the target out of the way.

    loads: the load of each file, with the earlier loads of the same file, read under other settings then. What those
    brought in gives way to the new reading, even where that equals a still older one.
    """
    table = target.table
    delivered, history = f"delivered.{name(table.name)}", f"delivered_history.{name(table.name)}"
    columns = ", ".join(name(column) for column, _ in stored_columns(table))
    if target.is_direct:
        con.execute(f"ALTER TABLE {delivered} DROP COLUMN raw")
    older: dict[int, int] = {}
    if _find_clashes(con, target):
        con.execute(
            f"CREATE OR REPLACE TABLE landing.contender AS SELECT {columns} FROM {target.relation} "
            f"WHERE {_hash(table)} IN (SELECT k FROM landing.clash)"
        )
        con.execute(f"DELETE FROM {target.relation} WHERE {_hash(table)} IN (SELECT k FROM landing.clash)")
        older = _settle_contenders(con, target, loads)
        con.execute("DROP TABLE landing.contender")
    for made in ("clash", "known"):
        con.execute(f"DROP TABLE landing.{made}")
    if not target.is_direct:
        con.execute(f"INSERT INTO {delivered} SELECT {columns} FROM {target.relation}")
        con.execute(f"DROP TABLE {target.relation}")
    first = min(loads)
    counts = con.execute(
        f"""SELECT load_id, sum(n), sum(r) FROM (
                SELECT load_id, count(*) AS n, 0 AS r FROM {delivered} WHERE load_id >= {first} GROUP BY ALL
                UNION ALL SELECT load_id, count(*), 0 FROM {history} WHERE load_id >= {first} GROUP BY ALL
                UNION ALL SELECT replaced_by_load_id, 0, count(*) FROM {history} WHERE replaced_by_load_id >= {first}
                GROUP BY ALL) GROUP BY load_id"""
    ).fetchall()
    found = {load_id: (int(n), int(r)) for load_id, n, r in counts}
    return {load_id: Settled(*found.get(load_id, (0, 0)), older.get(load_id, 0)) for load_id in loads}


def _hash(table: Table) -> str:
    return f"hash({_keys(table)})"


def _keys(table: Table) -> str:
    return ", ".join(name(table.by_name[column].stored_name) for column in table.key)


def _content(table: Table) -> list[str]:
    return [name(column) for column, _ in stored_columns(table) if column not in ("load_id", "row_no")]


def _find_clashes(con: duckdb.DuckDBPyConnection, target: Target) -> bool:
    """landing.clash: hashes of the keys that stand more than once. A hash shared by chance only costs a closer look.

    landing.known: the rows in force with such a hash. A table that was empty before the load has none.
    """
    hashes = f"SELECT {_hash(target.table)} AS k FROM {target.relation}"
    in_force = f"SELECT rowid AS old_row, {_hash(target.table)} AS k FROM delivered.{name(target.table.name)}"
    known = "false" if target.is_direct else f"k IN ({hashes})"
    con.execute(f"CREATE OR REPLACE TABLE landing.known AS SELECT * FROM ({in_force}) WHERE {known}")
    con.execute(
        f"""CREATE OR REPLACE TABLE landing.clash AS
            SELECT k FROM ({hashes}) GROUP BY k HAVING count(*) > 1 UNION SELECT k FROM landing.known"""
    )
    return count(con, "SELECT count(*) FROM landing.clash") > 0


def _settle_contenders(
    con: duckdb.DuckDBPyConnection, target: Target, loads: Mapping[int, Sequence[int]]
) -> dict[int, int]:
    """Decide about landing.contender, all rows of the load whose key stands elsewhere too. Returns `n_older` by load."""
    table = target.table
    delivered, history = f"delivered.{name(table.name)}", f"delivered_history.{name(table.name)}"
    keys, origin = _keys(table), ", ".join([*_content(table), "load_id", "row_no"])
    _leave_out_repeats(con, target)
    _find_versions(con, table, origin)
    older = _find_effective(con, keys, origin, loads)
    first = f"(SELECT {keys}, load_id AS by_load_id FROM landing.effective WHERE is_first)"
    con.execute(
        f"INSERT INTO {history} ({origin}, replaced_by_load_id) "
        f"SELECT {origin}, by_load_id FROM landing.version JOIN {first} USING ({keys}) WHERE stage = 1"
    )
    replaced = f"SELECT old_row FROM landing.in_force SEMI JOIN {first} USING ({keys})"
    con.execute(f"DELETE FROM {delivered} WHERE rowid IN ({replaced})")
    con.execute(
        f"INSERT INTO {history} ({origin}, replaced_by_load_id) SELECT {origin}, replaced_by_load_id "
        "FROM landing.effective WHERE replaced_by_load_id IS NOT NULL"
    )
    con.execute(
        f"INSERT INTO {delivered} ({origin}) SELECT {origin} FROM landing.effective WHERE replaced_by_load_id IS NULL"
    )
    for made in ("version", "effective", "in_force"):
        con.execute(f"DROP TABLE landing.{made}")
    return older


def _leave_out_repeats(con: duckdb.DuckDBPyConnection, target: Target) -> None:
    """landing.in_force and landing.contender without the keys whose rows are all as the one in force: most clashes."""
    table = target.table
    delivered, keys = f"delivered.{name(table.name)}", _keys(table)
    origin = ", ".join([*_content(table), "load_id", "row_no"])
    same = " AND ".join(f"d.{column} IS NOT DISTINCT FROM c.{column}" for column in _content(table))
    same_key = " AND ".join(f"d.{key} = c.{key}" for key in keys.split(", "))
    # Rows were found by their key alone and are then read whole: most of a large table is never touched.
    con.execute(
        f"""CREATE OR REPLACE TABLE landing.in_force AS SELECT rowid AS old_row, {origin} FROM {delivered}
            WHERE rowid IN (SELECT old_row FROM landing.known)"""
    )
    con.execute(
        f"""CREATE OR REPLACE TABLE landing.changed AS SELECT DISTINCT {keys} FROM landing.contender AS c
            WHERE NOT EXISTS (FROM landing.in_force AS d WHERE {same_key} AND {same})"""
    )
    for relation in ("contender", "in_force"):
        con.execute(
            f"DELETE FROM landing.{relation} AS c WHERE NOT EXISTS (FROM landing.changed AS d WHERE {same_key})"
        )
    con.execute("DROP TABLE landing.changed")


def _find_versions(con: duckdb.DuckDBPyConnection, table: Table, origin: str) -> None:
    """landing.version: every version of the keys of landing.contender, known (stage 0), in force (1) and of the load (2).

    v: a number for the content, the same wherever it stands. since: the first load of this load's that has it, 0 for
    what was known. place: of the row within its key and load.
    """
    keys, content = _keys(table), ", ".join(_content(table))
    history = f"delivered_history.{name(table.name)}"
    con.execute(
        f"""CREATE OR REPLACE TABLE landing.version AS
            WITH known AS (
                SELECT {origin}, 0 AS stage FROM (FROM {history} WHERE replaced_by_load_id <> {TAKEN_BACK})
                SEMI JOIN landing.contender USING ({keys})
                UNION ALL SELECT {origin}, 1 AS stage FROM landing.in_force
                UNION ALL SELECT {origin}, 2 AS stage FROM landing.contender),
            numbered AS (SELECT *, row_number() OVER (PARTITION BY {keys} ORDER BY stage, load_id, row_no) AS n FROM known)
            SELECT *, min(n) OVER (PARTITION BY {content}) AS v,
                min(CASE WHEN stage = 2 THEN load_id ELSE 0 END) OVER (PARTITION BY {content}) AS since,
                row_number() OVER (PARTITION BY {keys}, stage, load_id ORDER BY row_no) AS place
            FROM numbered"""
    )


def _find_effective(
    con: duckdb.DuckDBPyConnection, keys: str, origin: str, loads: Mapping[int, Sequence[int]]
) -> dict[int, int]:
    """landing.effective: the rows of the load that come into force, one after the other, and what replaces each.

    Load by load, a key's rows count from the first that is new or in force (`anchor`); where there is none, they are an
    old file come again. Returns by load how many rows those are.
    """
    earlier = ", ".join(f"({load_id}, {[*ids]}::INTEGER[])" for load_id, ids in loads.items())
    con.execute(
        f"""CREATE OR REPLACE TABLE landing.step AS
            WITH RECURSIVE batch AS (
                SELECT {keys}, load_id, any_value(earlier) AS earlier, list(v ORDER BY place) AS vs,
                    min(place) FILTER (since = load_id) AS first_new,
                    row_number() OVER (PARTITION BY {keys} ORDER BY load_id) AS step
                FROM landing.version JOIN (VALUES {earlier}) AS e(load_id, earlier) USING (load_id)
                WHERE stage = 2 GROUP BY {keys}, load_id),
            state AS (
                SELECT {keys}, 0 AS step, NULL::INTEGER AS load_id, NULL::BIGINT AS anchor, NULL::BIGINT AS before,
                    max(v) FILTER (stage = 1) AS now, max(load_id) FILTER (stage = 1) AS now_of
                FROM landing.version GROUP BY {keys}
                UNION ALL
                SELECT {", ".join(f"b.{key}" for key in keys.split(", "))}, b.step, b.load_id, a.anchor, s.now,
                    CASE WHEN a.anchor IS NULL THEN s.now ELSE b.vs[-1] END,
                    CASE WHEN a.anchor IS NULL OR b.vs[-1] = s.now THEN s.now_of ELSE b.load_id END
                FROM state AS s JOIN batch AS b USING ({keys}), LATERAL (SELECT coalesce(
                    least(nullif(list_position(b.vs, s.now), 0), b.first_new),
                    CASE WHEN list_contains(b.earlier, s.now_of) THEN len(b.vs) END) AS anchor) AS a
                WHERE b.step = s.step + 1)
            SELECT * FROM state WHERE step > 0"""
    )
    con.execute(
        f"""CREATE OR REPLACE TABLE landing.effective AS
            WITH rows AS (
                SELECT *, lag(v) OVER (PARTITION BY {keys}, load_id ORDER BY place) AS last_v FROM landing.version
                WHERE stage = 2)
            SELECT {origin}, lead(load_id) OVER in_turn AS replaced_by_load_id, row_number() OVER in_turn = 1 AS is_first
            FROM rows JOIN landing.step USING ({keys}, load_id)
            WHERE place >= anchor AND v IS DISTINCT FROM CASE WHEN place = anchor THEN before ELSE last_v END
            WINDOW in_turn AS (PARTITION BY {keys} ORDER BY load_id, row_no)"""
    )
    older = con.execute(
        f"""SELECT load_id, count(*) FROM landing.version JOIN landing.step USING ({keys}, load_id)
            WHERE stage = 2 AND anchor IS NULL GROUP BY load_id"""
    ).fetchall()
    con.execute("DROP TABLE landing.step")
    return dict(older)
