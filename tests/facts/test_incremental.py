"""An incremental build makes exactly what a full build makes."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import numpy as np
import pytest

from pipelines.build import FOLDERS, build
from pipelines.changes import Changes
from pipelines.relations import read_relations
from pipelines.settings import Settings

_spec = importlib.util.spec_from_file_location("facts_fleet", Path(__file__).with_name("fleet.py"))
fleet = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(fleet)


def first_load(seed):
    con, rng = fleet.new_store(), np.random.default_rng(seed)
    fleet.base(con, rng)
    fleet.visits(con, rng, 0, 260, 0, 600, range(30))
    return con, rng


def next_week(con, rng):
    """New rows on five sites; one visit revised to stand on another site; a tag that other sites carry, too."""
    con.execute("CREATE OR REPLACE TEMP TABLE touched (site_id VARCHAR)")
    con.execute("INSERT INTO touched SELECT site_id FROM delivered.visits WHERE visit_id = 'V00007'")
    con.execute("UPDATE delivered.visits SET site_id = 'S3' WHERE visit_id = 'V00007'")
    fleet.visits(con, rng, 260, 30, 600, 607, range(2, 7))
    con.execute("INSERT INTO touched SELECT DISTINCT site_id FROM delivered.visits WHERE visit_id >= 'V00260'")
    con.execute("INSERT INTO touched VALUES ('S3'), (NULL)")


def differences(one, other):
    """Relations whose rows differ, with how many on either side."""
    found = {}
    for name in sorted(read_relations(one, FOLDERS)):
        rows = [con.execute(f'SELECT * FROM "{name}"').fetchall() for con in (one, other)]
        here, there = (sorted(map(repr, side)) for side in rows)
        if here != there:
            found[name] = (len(set(here) - set(there)), len(set(there) - set(here)), len(here), len(there))
    return found


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_incremental_equals_full(seed):
    con, rng = first_load(seed)
    build(con, Settings())
    before = con.execute("SELECT count(*) FROM swap_case").fetchone()
    next_week(con, rng)
    report = build(con, Settings(), Changes("touched"))
    assert report.is_incremental
    assert con.execute("SELECT count(*) FROM swap_case").fetchone() > before

    whole, rng = first_load(seed)
    next_week(whole, rng)
    assert not build(whole, Settings()).is_incremental
    assert differences(con, whole) == {}


def test_a_tag_on_an_unchanged_site_is_followed():
    """A later swap takes a test over from a swap with the same tag on a site that did not change."""

    def given(con):
        fleet.base(con, np.random.default_rng(0))
        con.execute("""INSERT INTO delivered.visits (visit_id, site_id, technician_id, arrived_at, visit_kind, symptom)
            VALUES ('old', 'S0', 'T0', '2024-01-01', 'no_heat', 'draft_not_proven')""")
        con.execute(
            "INSERT INTO delivered.part_lines (visit_id, line_no, part_number, quantity, removed_tag) "
            "VALUES ('old', 1, 'SW', 1, 'shared')"
        )
        con.execute(
            "INSERT INTO delivered.bench_tests (bench_test_id, removed_tag, tested_at, is_diaphragm_torn) "
            "VALUES ('X', 'shared', '2024-03-01', true)"
        )

    con = fleet.new_store()
    given(con)
    build(con, Settings())
    assert con.execute("SELECT site_id FROM bench_result").fetchall() == [("S0",)]
    con.execute("""INSERT INTO delivered.visits (visit_id, site_id, technician_id, arrived_at, visit_kind, symptom)
        VALUES ('new', 'S1', 'T0', '2024-02-01', 'no_heat', 'draft_not_proven')""")
    con.execute(
        "INSERT INTO delivered.part_lines (visit_id, line_no, part_number, quantity, removed_tag) "
        "VALUES ('new', 1, 'SW', 1, 'shared')"
    )
    con.execute("CREATE TEMP TABLE touched AS SELECT 'S1' AS site_id")
    assert build(con, Settings(), Changes("touched")).is_incremental
    assert con.execute("SELECT site_id FROM bench_result").fetchall() == [("S1",)]
    assert con.execute("SELECT verdict FROM swap_case ORDER BY visit_id").fetchall() == [("faulty",), (None,)]


@pytest.mark.parametrize(
    "change",
    [
        "UPDATE delivered.technicians SET branch = 'elsewhere' WHERE technician_id = 'T1'",
        "UPDATE delivered.parts SET part_class = 'gas_switch' WHERE part_number = 'SW'",
        "UPDATE delivered.gauges SET accuracy_percent_full_scale = 5",
        None,
    ],
)
def test_what_bears_on_every_site_makes_the_build_a_full_one(change):
    con, _ = first_load(4)
    build(con, Settings())
    con.execute("CREATE TEMP TABLE touched AS SELECT 'S1' AS site_id")
    settings = Settings() if change else Settings(assumed_tolerance_share=0.05)
    if change:
        con.execute(change)
    assert not build(con, settings, Changes("touched")).is_incremental
    assert build(con, settings, Changes("touched")).is_incremental


def test_a_build_that_died_half_way_is_followed_by_a_full_one():
    con, rng = first_load(5)
    build(con, Settings())
    con.execute("CREATE TEMP TABLE touched AS SELECT 'S1' AS site_id")

    def stop(words, share):
        if words == "Building root_cause":
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        build(con, Settings(), Changes("touched"), stop)
    assert not build(con, Settings(), Changes("touched")).is_incremental


def test_nothing_temporary_is_left_behind():
    con, _ = first_load(6)
    build(con, Settings())
    con.execute("CREATE TEMP TABLE touched AS SELECT 'S1' AS site_id")
    build(con, Settings(), Changes("touched"))
    left = con.execute("SELECT table_name FROM duckdb_tables() WHERE temporary").fetchall()
    assert left == [("touched",)]
    databases = con.execute("SELECT database_name FROM duckdb_databases() WHERE NOT internal").fetchall()
    assert databases == [("memory",)]
