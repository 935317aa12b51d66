"""Which sites and visits the loads of a generation changed: what an incremental build has to remake."""

from __future__ import annotations

from dataclasses import dataclass

import duckdb

from pipelines.contract.tables import TABLE_BY_NAME
from pipelines.identity_decisions import IDENTIFIED
from pipelines.intake.sql_text import count, name
from pipelines.own_records import CORRECTED, TESTED
from pipelines.relations import SQL_FOLDER, read_relation

# Past this share of the sites an incremental build is no faster than a whole one.
MOST_CHANGED_SHARE = 0.2
SITES, VISITS = "changed_site", "changed_visit"
# Above every load there is: nothing came in with a load.
NO_LOAD = 2**31 - 1
_RENUMBERED = SQL_FOLDER / "records" / "renumbered_visit.sql"


@dataclass(frozen=True)
class Changes:
    """Names of temporary tables. sites: (site_id), every site with a record that changed.

    visits: (visit_id, follows_visit_id), every visit whose own record, corrections or site's registers changed, and the
    visit it follows; None = any visit of those sites may have. Other records of a visit, its readings for one, change
    its site but not the visit.
    """

    sites: str
    visits: str | None = None


def changes_since(con: duckdb.DuckDBPyConnection, load_ids: list[int], is_own_changed: bool = False) -> Changes | None:
    """What came in, or was replaced, with these loads; None = build everything.

    is_own_changed: whether entries of the company's own work came into force or out of it, as the temporary tables of
    pipelines.own_records name them.
    Records that concern the whole company do not count here: the build notices by itself when they changed.
    """
    first = min(load_ids, default=NO_LOAD if is_own_changed else 0)
    if first <= 1:
        return None
    con.execute(f"CREATE OR REPLACE TEMP TABLE {SITES} (site_id VARCHAR)")
    con.execute(f"CREATE OR REPLACE TEMP TABLE {VISITS} (visit_id VARCHAR, follows_visit_id VARCHAR)")
    con.execute("CREATE OR REPLACE TEMP TABLE touched_visit (visit_id VARCHAR)")
    loaded = con.execute('SELECT DISTINCT table_name FROM "load" WHERE load_id >= ? ORDER BY 1', [first]).fetchall()
    for (table_name,) in loaded:
        if table_name == "visits":
            _add_visits(con, first)
        elif TABLE_BY_NAME[table_name].site_from == "site_id":
            _add_registers(con, table_name, first)
        elif TABLE_BY_NAME[table_name].site_from is not None:
            _add_touched(con, table_name, first)
    if is_own_changed:
        _add_own_tested(con)
        _add_identified(con)
    _add_corrected(con, first, is_own_changed)
    _add_renumbered(con)
    _add_sites_of_touched(con, first)
    con.execute("DROP TABLE touched_visit")
    n_changed = count(con, f"SELECT count(DISTINCT site_id) FROM {SITES}")
    n_sites = count(con, "SELECT count(*) FROM delivered.sites")
    n_sites = n_sites or count(con, "SELECT approx_count_distinct(site_id) FROM delivered.visits")
    return Changes(SITES, VISITS) if n_changed <= MOST_CHANGED_SHARE * n_sites else None


def _add_visits(con: duckdb.DuckDBPyConnection, first: int) -> None:
    """Visits that came in or were replaced, the sites they are on or were on, and the visits that follow them."""
    for relation, column in (("delivered.visits", "load_id"), ("delivered_history.visits", "replaced_by_load_id")):
        con.execute(f"INSERT INTO {VISITS} SELECT visit_id, follows_visit_id FROM {relation} WHERE {column} >= {first}")
        con.execute(f"INSERT INTO {SITES} SELECT DISTINCT site_id FROM {relation} WHERE {column} >= {first}")
    # A return without a job number joins the job of the visit it follows.
    con.execute(
        f"""INSERT INTO {VISITS} SELECT visit_id, follows_visit_id FROM delivered.visits
            WHERE follows_visit_id IN (SELECT visit_id FROM {VISITS})"""
    )
    con.execute(f"INSERT INTO touched_visit SELECT visit_id FROM {VISITS}")


def _add_registers(con: duckdb.DuckDBPyConnection, table_name: str, first: int) -> None:
    """The sites whose register or appliances changed, and all their visits."""
    for relation, column in (
        (f"delivered.{name(table_name)}", "load_id"),
        (f"delivered_history.{name(table_name)}", "replaced_by_load_id"),
    ):
        con.execute(
            f"CREATE OR REPLACE TEMP TABLE of_site AS SELECT DISTINCT site_id FROM {relation} WHERE {column} >= {first}"
        )
        if count(con, "SELECT count(*) FROM of_site"):
            con.execute(f"INSERT INTO {SITES} FROM of_site")
            con.execute(
                f"""INSERT INTO {VISITS} SELECT visit_id, follows_visit_id FROM delivered.visits
                    WHERE site_id IN (SELECT site_id FROM of_site)"""
            )
        con.execute("DROP TABLE of_site")


def _add_touched(con: duckdb.DuckDBPyConnection, table_name: str, first: int) -> None:
    """Visits of the rows of a table that came in or were replaced."""
    for schema, column in (("delivered", "load_id"), ("delivered_history", "replaced_by_load_id")):
        wanted = f"FROM {schema}.{name(table_name)} WHERE {column} >= {first}"
        con.execute(f"INSERT INTO touched_visit SELECT DISTINCT visit_id {wanted}")
        if table_name in ("bench_tests", "part_lines"):
            # A tag taken away or given anew may move the bench test of another site's switch.
            con.execute(
                f"""INSERT INTO touched_visit SELECT visit_id FROM delivered.part_lines
                    WHERE removed_tag IN (SELECT removed_tag {wanted})
                        AND removed_tag IN (SELECT removed_tag FROM delivered.bench_tests
                            UNION SELECT removed_tag FROM entered.bench_tests
                            UNION SELECT removed_tag FROM delivered_history.bench_tests)"""
            )


def _add_own_tested(con: duckdb.DuckDBPyConnection) -> None:
    """Visits whose switch was tested here, or whose test was taken back, by visit and by tag."""
    con.execute(f"INSERT INTO touched_visit SELECT visit_id FROM {TESTED} WHERE visit_id IS NOT NULL")
    con.execute(
        f"""INSERT INTO touched_visit SELECT visit_id FROM delivered.part_lines
            WHERE removed_tag IN (SELECT removed_tag FROM {TESTED})"""
    )


def _add_identified(con: duckdb.DuckDBPyConnection) -> None:
    """Visits of technicians that were joined or parted, those corrected to be owned by one, and all visits of the sites of
    appliances that were: a blank appliance may be proven, or no longer be, by how many the site has."""
    if not count(con, f"SELECT count(*) FROM {IDENTIFIED}"):
        return
    person = f"SELECT record_id FROM {IDENTIFIED} WHERE subject = 'technician'"
    owned = " UNION ".join(
        f"SELECT visit_id FROM {schema}.corrections WHERE corrected_field = 'owner' AND trim(new_value) IN ({person})"
        for schema in ("delivered", "entered")
    )
    site = f"SELECT site_id FROM {IDENTIFIED} WHERE subject = 'appliance'"
    con.execute(
        f"""INSERT INTO {VISITS} SELECT visit_id, follows_visit_id FROM delivered.visits
            WHERE technician_id IN ({person}) OR site_id IN ({site}) OR visit_id IN ({owned})"""
    )
    con.execute(
        f"""INSERT INTO {SITES} SELECT DISTINCT site_id FROM delivered.visits
            WHERE technician_id IN ({person}) OR site_id IN ({site}) OR visit_id IN ({owned})"""
    )


def _add_corrected(con: duckdb.DuckDBPyConnection, first: int, is_own_changed: bool) -> None:
    """Visits whose correction came in, was replaced or taken back, and those corrected to follow a visit that changed."""
    con.execute(
        f"""CREATE OR REPLACE TEMP TABLE corrected AS
            SELECT visit_id FROM delivered.corrections WHERE load_id >= {first}
            UNION SELECT visit_id FROM delivered_history.corrections WHERE replaced_by_load_id >= {first}
            UNION SELECT visit_id FROM delivered.corrections WHERE trim(new_value) IN (SELECT visit_id FROM {VISITS})
            UNION SELECT visit_id FROM entered.corrections WHERE trim(new_value) IN (SELECT visit_id FROM {VISITS})"""
    )
    if is_own_changed:
        con.execute(f"INSERT INTO corrected FROM {CORRECTED}")
    if count(con, "SELECT count(*) FROM corrected"):
        con.execute(
            f"""INSERT INTO {VISITS} SELECT visit_id, follows_visit_id FROM delivered.visits
                WHERE visit_id IN (SELECT visit_id FROM corrected)"""
        )
        con.execute("INSERT INTO touched_visit FROM corrected")
    con.execute("DROP TABLE corrected")


def _add_renumbered(con: duckdb.DuckDBPyConnection) -> None:
    """Visits that now stand, or stood until now, for a number that was touched or that changed what it stands for; and those
    corrected to follow one of them."""
    now = read_relation(con, _RENUMBERED)
    con.execute(f"CREATE OR REPLACE TEMP TABLE renumbered_now AS {now.select}")
    # A generation of an older program has no such relation.
    has_before = count(con, "SELECT count(*) FROM duckdb_tables() WHERE table_name = 'renumbered_visit'")
    before = "renumbered_visit" if has_before else "(FROM renumbered_now WHERE false)"
    differing = f"((FROM renumbered_now EXCEPT FROM {before}) UNION ALL (FROM {before} EXCEPT FROM renumbered_now))"
    both = f"(FROM renumbered_now UNION FROM {before})"
    links = " UNION ALL ".join(
        f"SELECT visit_id, trim(new_value) AS other FROM {schema}.corrections WHERE corrected_field = 'link'"
        for schema in ("delivered", "entered")
    )
    con.execute(
        f"""CREATE OR REPLACE TEMP TABLE renumbered AS
            WITH moved AS (
                SELECT visit_id, new_visit_id FROM {differing}
                UNION SELECT visit_id, new_visit_id FROM {both}
                WHERE visit_id IN (SELECT visit_id FROM touched_visit UNION SELECT visit_id FROM {VISITS})
                    OR new_visit_id IN (SELECT visit_id FROM {VISITS})),
            linked AS (SELECT l.visit_id FROM ({links}) AS l JOIN moved AS m ON l.other = m.visit_id)
            SELECT new_visit_id AS visit_id FROM moved UNION SELECT visit_id FROM linked
            UNION SELECT b.new_visit_id FROM linked AS l JOIN {both} AS b USING (visit_id)"""
    )
    con.execute(
        f"""INSERT INTO {VISITS} SELECT visit_id, follows_visit_id FROM delivered.visits
            WHERE visit_id IN (SELECT visit_id FROM renumbered)"""
    )
    con.execute("INSERT INTO touched_visit FROM renumbered")
    for made in ("renumbered", "renumbered_now"):
        con.execute(f"DROP TABLE {made}")


def _add_sites_of_touched(con: duckdb.DuckDBPyConnection, first: int) -> None:
    """Most visits with new rows came in themselves, and their sites are known; only the others are looked for."""
    con.execute(
        f"DELETE FROM touched_visit WHERE visit_id IN (SELECT visit_id FROM delivered.visits WHERE load_id >= {first})"
    )
    if count(con, "SELECT count(*) FROM touched_visit"):
        con.execute(
            f"""INSERT INTO {SITES} SELECT DISTINCT site_id FROM delivered.visits WHERE rowid IN (
                    SELECT rowid FROM delivered.visits WHERE visit_id IN (SELECT visit_id FROM touched_visit))"""
        )
