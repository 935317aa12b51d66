"""The build itself: order, headers, what it reports, what it refuses."""

from __future__ import annotations

import duckdb
import pytest

from pipelines.build import FOLDERS, build
from pipelines.contract.ddl import create_delivered
from pipelines.narrowing import NOTES
from pipelines.relations import RelationError, in_order, narrowed, read_relation, read_relations, references
from pipelines.settings import Settings


@pytest.fixture
def write(tmp_path):
    """Write relations into a folder: name -> text after the two header lines."""

    def into(**selects):
        for name, select in selects.items():
            (tmp_path / f"{name}.sql").write_text(f"-- one row\n-- kept as: table\n{select}\n")
        return tmp_path

    return into


def ordered(folder):
    con = duckdb.connect()
    return [relation.name for relation in in_order(read_relations(con, [folder]), {"delivered.visits"})]


def test_each_relation_comes_after_what_it_reads(write):
    folder = write(
        a="SELECT * FROM b JOIN (SELECT 1 AS x FROM c) AS d ON true",
        b="WITH own AS (SELECT 1 AS x FROM delivered.visits) SELECT * FROM own WHERE EXISTS (SELECT 1 FROM c)",
        c="SELECT 1 AS x",
    )
    assert ordered(folder) == ["c", "b", "a"]


def test_an_unknown_relation_is_named(write):
    with pytest.raises(RelationError, match="a.sql reads nowhere, which nobody makes"):
        ordered(write(a="SELECT * FROM nowhere"))


def test_a_circle_is_named(write):
    with pytest.raises(RelationError, match="circle"):
        ordered(write(a="SELECT * FROM b", b="SELECT * FROM a"))


def test_a_with_clause_may_not_hide_a_relation(write):
    with pytest.raises(RelationError, match="a.sql has a WITH clause named b"):
        ordered(write(a="WITH b AS (SELECT 1 AS x) SELECT * FROM b", b="SELECT 1 AS x"))


def test_one_name_one_file(write, tmp_path):
    other = tmp_path / "more"
    other.mkdir()
    (other / "a.sql").write_text("-- one row\n-- kept as: view\nSELECT 1 AS x\n")
    with pytest.raises(RelationError, match="a relation named a exists already"):
        read_relations(duckdb.connect(), [write(a="SELECT 1 AS x"), other])


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("SELECT 1", "must start with the line"),
        ("-- one row\nSELECT 1\n", "must start with the line"),
        ("-- one row\n-- kept as: table\nSELECT 1; SELECT 2", "exactly one SELECT"),
        ("-- one row\n-- kept as: table\nDELETE FROM x", "exactly one SELECT"),
        ("-- one row\n-- kept as: table\nSELECT FROM WHERE", "exactly one SELECT"),
        ("-- one row\n-- kept as: drawer\nSELECT 1", "must be one of: view, table, table by site"),
    ],
)
def test_a_file_that_is_no_relation_is_refused(tmp_path, text, says):
    path = tmp_path / "a.sql"
    path.write_text(text)
    with pytest.raises(RelationError, match=says):
        read_relation(duckdb.connect(), path)


def test_narrowing_replaces_every_reference_and_keeps_the_alias(tmp_path):
    path = tmp_path / "a.sql"
    path.write_text(
        "-- one row\n-- kept as: table by site\n"
        "SELECT v.x FROM delivered.visits AS v WHERE v.x IN (SELECT visits.x FROM delivered.visits)\n"
    )
    con = duckdb.connect()
    con.execute("CREATE SCHEMA delivered")
    con.execute("CREATE TABLE delivered.visits AS SELECT unnest([1, 2]) AS x")
    con.execute("ATTACH ':memory:' AS beside")
    con.execute("CREATE TABLE beside.few AS SELECT 2 AS x")
    select = narrowed(con, read_relation(con, path), {"delivered.visits": "few"}, "beside")
    assert con.execute(select).fetchall() == [(2,)]


def test_every_relation_by_site_reads_only_what_can_be_narrowed_or_bears_on_every_site():
    """Otherwise an incremental build could differ from a full one."""
    con = duckdb.connect()
    relations = read_relations(con, FOLDERS)
    by_site = {name for name, relation in relations.items() if relation.kept_as == "table by site"}
    by_visit = {name for name, relation in relations.items() if relation.kept_as == "table by visit"}
    views = {name for name, relation in relations.items() if relation.kept_as == "view"}
    # Visits of ids newly joined or parted count as changed (tests/identity); correction_entered holds nothing of a site that does not rest on that site's own rows
    everywhere = {"setting", "cause", "part", "correction_entered", "entered.same_as", "delivered.technicians"}
    sited = {"delivered.sites", "delivered.appliances"}
    for name in by_visit:
        assert relations[name].reads <= views | everywhere | sited | {"delivered.visits"}, name
    for name in by_site - {NOTES}:
        # Not delivered.visits itself: narrowed, it holds the visits that changed, not all of the sites.
        assert relations[name].reads <= by_site | by_visit | views | everywhere | sited, name
        for view in relations[name].reads & views:
            assert not relations[view].reads & (by_site | by_visit), f"{name} reads {view}, which would not be narrowed"
    assert relations[NOTES].reads == {"delivered.visits", "draft_visit"}


def test_the_report_tells_rows_and_seconds_and_progress_ends_at_one():
    con = duckdb.connect()
    create_delivered(con)
    told = []
    report = build(con, Settings(), progress=lambda words, share: told.append((words, share)))
    names = {relation.name for relation in report.relations}
    assert names == set(read_relations(con, FOLDERS))
    assert {relation.name for relation in report.relations if relation.n_rows is None} == {
        relation.name for relation in report.relations if relation.kept_as == "view"
    }
    assert report.seconds > 0 and not report.is_incremental
    shares = [share for _, share in told]
    assert shares == sorted(shares) and shares[-1] == 1.0 and len(told) == len(names) + 1


def test_settings_are_in_the_store_as_one_row():
    con = duckdb.connect()
    create_delivered(con)
    build(con, Settings(time_zone="Europe/Berlin", trip_cost=12.5))
    row = con.execute(
        "SELECT time_zone, trip_cost, labour_cost_per_hour, callback_windows, guard_factor FROM setting"
    ).fetchall()
    assert row == [("Europe/Berlin", 12.5, None, [7, 14, 30, 60, 90], 1.645)]


def test_relations_the_pages_and_figures_rely_on_have_their_columns():
    con = duckdb.connect()
    create_delivered(con)
    build(con, Settings())
    for relation, columns in {
        "visit": "week_on season n_minutes is_draft_symptom appliance_key weather_station_id",
        "swap_case": "verdict tier evidence margin_pa diagnosed_by branch selection_probability claim_credited_amount",
        "callback": "observed_days possible_observed_days heating_days_observed censored_because owner_id",
        "week_summary": "n_without_cause n_mature_30",
    }.items():
        there = {row[0] for row in con.execute(f"DESCRIBE {relation}").fetchall()}
        assert set(columns.split()) <= there, relation


def test_whole_numbers_stay_whole_in_frames():
    """HUGEINT and DECIMAL would turn into floats or objects."""
    con = duckdb.connect()
    create_delivered(con)
    build(con, Settings())
    odd = con.execute("""SELECT table_name, column_name, data_type FROM duckdb_columns()
        WHERE schema_name = 'main' AND NOT internal AND regexp_matches(data_type, 'HUGE|DECIMAL')""").fetchall()
    assert odd == []


def test_references_know_own_names_apart():
    con = duckdb.connect()
    row = con.execute("SELECT json_serialize_sql('WITH w AS (SELECT * FROM s.t) SELECT * FROM w, u')").fetchone()
    import json

    assert references(json.loads(row[0])) == (frozenset({"s.t", "u"}), frozenset({"w"}))
