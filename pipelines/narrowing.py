"""What an incremental build reads and replaces: records and facts narrowed to the sites and visits that changed.

A relation's rows are exchanged, not made anew: its SELECT is run on the narrowed records, and the rows that differ take
the place of those they differ from. Most rows of a changed site are as they were, and stay where they are.
"""

from __future__ import annotations

import duckdb

from pipelines.changes import Changes
from pipelines.contract.tables import TABLES
from pipelines.relations import NARROWED_KINDS, Relation, narrowed

# Records whose every row belongs to a site by a column of its own.
SITED_RECORDS = tuple(f"delivered.{table.name}" for table in TABLES if table.site_from == "site_id")
VISITS = "delivered.visits"
# The one relation by site that reads the visits' records: see Narrowing._narrow_notes.
NOTES = "draft_note"
DATABASE = "narrow"


class Narrowing:
    """The narrowed relations of one incremental build, in a database of their own from construction to `drop`.

    Any connection to the store's database sees them, so that relations which do not rest on each other can be remade at
    the same time, each over a cursor of its own.
    """

    def __init__(self, con: duckdb.DuckDBPyConnection, changes: Changes, order: list[Relation]) -> None:
        con.execute("ATTACH IF NOT EXISTS ':memory:' AS narrow")
        kept = [relation.name for relation in order if relation.kept_as in NARROWED_KINDS]
        self._names = {name: name.replace("delivered.", "delivered_") for name in (*SITED_RECORDS, *kept)}
        _make(con, "site", f"SELECT DISTINCT site_id FROM {changes.sites} WHERE site_id IS NOT NULL")
        _add_sites_sharing_a_tag(con)
        for name in SITED_RECORDS:
            if name != VISITS:
                _make(con, self._names[name], f"SELECT * FROM {name} WHERE {_ON_SITE}")
        self._narrow_visits(con, changes)

    def fetch(self, con: duckdb.DuckDBPyConnection, relation: Relation) -> None:
        """The relation's rows of the changed sites as they were, with where they stand."""
        _make(con, _before(relation), f'SELECT rowid AS old_row, * FROM "{relation.name}" WHERE {_ON_SITE}')

    def remake(self, con: duckdb.DuckDBPyConnection, relation: Relation) -> None:
        """The relation's SELECT run on what is narrowed: what the relations that read it need, when they are remade."""
        names = self._names
        if relation.name == NOTES:
            names = names | {VISITS: self._narrow_notes(con, _before(relation))}
        select = narrowed(con, relation, names, DATABASE)
        if relation.kept_as == "table by site":
            _make(con, names[relation.name], select)
            return
        # Only the visits that changed are made anew; what rests on them reads all visits of the sites.
        _make(con, "remade", f"SELECT * FROM ({select}) WHERE visit_id IN ({_KEY})")
        unchanged = f'SELECT * EXCLUDE (old_row) FROM narrow."{_before(relation)}" WHERE visit_id NOT IN ({_KEY})'
        _make(con, names[relation.name], f"{unchanged} UNION ALL BY NAME FROM narrow.remade")

    def exchange(self, con: duckdb.DuckDBPyConnection, relation: Relation) -> None:
        """Bring the remade rows into the relation in the place of those fetched, touching only the rows that differ."""
        old, new = f'narrow."{_before(relation)}"', f'narrow."{self._names[relation.name]}"'
        if relation.kept_as == "table by visit":
            old, new = f"(FROM {old} WHERE visit_id IN ({_KEY}))", "narrow.remade"
        columns = [row[0] for row in con.execute(f"DESCRIBE FROM {new}").fetchall()]
        same = " AND ".join(f'old."{column}" IS NOT DISTINCT FROM new."{column}"' for column in columns)
        con.execute(
            f"""DELETE FROM "{relation.name}" WHERE rowid IN (
                    SELECT old_row FROM {old} AS old WHERE NOT EXISTS (FROM {new} AS new WHERE {same}))"""
        )
        con.execute(
            f"""INSERT INTO "{relation.name}" BY NAME
                SELECT * FROM {new} AS new WHERE NOT EXISTS (FROM {old} AS old WHERE {same})"""
        )

    def drop(self, con: duckdb.DuckDBPyConnection) -> None:
        """Leave nothing behind."""
        con.execute("DETACH DATABASE IF EXISTS narrow")

    def _narrow_visits(self, con: duckdb.DuckDBPyConnection, changes: Changes) -> None:
        """`key`: the visits to make anew. The narrowed records: theirs, and those of the visits they follow."""
        if changes.visits is None:
            _make(con, "key", f"SELECT visit_id FROM {VISITS} WHERE {_ON_SITE}")
            _make(con, self._names[VISITS], f"SELECT * FROM {VISITS} WHERE {_ON_SITE}")
            return
        _make(con, "key", f"SELECT DISTINCT visit_id FROM {changes.visits}")
        _make(
            con,
            "partner",
            f"""{_KEY} UNION SELECT follows_visit_id FROM {changes.visits}
                UNION SELECT trim(new_value) FROM delivered.corrections WHERE visit_id IN ({_KEY})
                UNION SELECT trim(new_value) FROM entered.corrections WHERE visit_id IN ({_KEY})""",
        )
        _make(con, self._names[VISITS], _found("* EXCLUDE (notes), NULL AS notes", "partner"))

    def _narrow_notes(self, con: duckdb.DuckDBPyConnection, old: str) -> str:
        """A table of the notes of the sites' draft faults: fetched for visits that changed or were none before; of the
        others they are kept, for the records of all visits are long to read."""
        known = f'SELECT visit_id FROM narrow."{old}" WHERE visit_id NOT IN ({_KEY})'
        draft_visit = f'SELECT visit_id FROM narrow."{self._names["draft_visit"]}"'
        _make(con, "wanted", f"{draft_visit} WHERE visit_id NOT IN ({known})")
        _make(
            con,
            "note",
            f"""{_found("visit_id, notes", "wanted")}
                UNION ALL SELECT visit_id, notes FROM narrow."{old}" WHERE visit_id IN ({known})""",
        )
        return "note"


def _before(relation: Relation) -> str:
    return f"{relation.name} before"


def needs_fetched(relation: Relation) -> bool:
    """Whether a relation is remade from rows it has already."""
    return relation.kept_as == "table by visit" or relation.name == NOTES


def _make(con: duckdb.DuckDBPyConnection, table: str, select: str) -> None:
    # Tables, not views: the optimiser then knows how few rows they hold.
    con.execute(f'CREATE OR REPLACE TABLE narrow."{table}" AS {select}')


def _found(columns: str, visits: str) -> str:
    """Records of some visits. They are found by their key alone and then read whole: most is never touched."""
    rows = f'SELECT rowid FROM {VISITS} WHERE visit_id IN (SELECT visit_id FROM narrow."{visits}")'
    return f"SELECT {columns} FROM {VISITS} WHERE rowid IN ({rows})"


def _add_sites_sharing_a_tag(con: duckdb.DuckDBPyConnection) -> None:
    """Widen the sites until no bench test could name a switch on a changed and on an unchanged site."""
    _make(
        con,
        "tag",
        """SELECT DISTINCT l.removed_tag, v.site_id
           FROM (SELECT visit_id, removed_tag FROM delivered.part_lines
                 WHERE removed_tag IN (SELECT removed_tag FROM delivered.bench_tests WHERE visit_id IS NULL
                     UNION SELECT removed_tag FROM entered.bench_tests WHERE visit_id IS NULL)
                 QUALIFY count(*) OVER (PARTITION BY removed_tag) > 1) AS l
           JOIN delivered.visits AS v USING (visit_id)
           QUALIFY count(*) OVER (PARTITION BY l.removed_tag) > 1""",
    )
    n_added = 1
    while n_added:
        added = con.execute("""
            INSERT INTO narrow.site
            SELECT DISTINCT other.site_id FROM narrow.tag AS known JOIN narrow.tag AS other USING (removed_tag)
            WHERE known.site_id IN (FROM narrow.site) AND other.site_id NOT IN (FROM narrow.site)""").fetchone()
        n_added = int(added[0]) if added else 0


_KEY = "SELECT visit_id FROM narrow.key"
_ON_SITE = "site_id IN (SELECT site_id FROM narrow.site)"
