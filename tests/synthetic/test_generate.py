"""The files: same seed same bytes, sizes, pieces, formats, the contract's columns and codes."""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
from datetime import date
from pathlib import Path

import duckdb
import pytest

from pipelines.contract import codes
from pipelines.contract.tables import TABLES
from synthetic_data.generate import generate
from synthetic_data.scenario import Scenario, plan_blocks

CAUSE_CODES = set(codes.CAUSE_CODE.values())
# Codes a fleet does not show, and why: (table, column) -> (codes, reason).
NOT_USED = {
    ("corrections", "corrected_field"): (
        set(codes.CORRECTED_FIELD.values()),
        "corrections are entered in the product, never delivered",
    ),
    ("visits", "contributing_cause_code"): (
        CAUSE_CODES - {"hose_water", "trap_fouled", "collector_water"},
        "only water in the switch has a cause behind it in this scenario",
    ),
}


def _bytes_of(folder: Path) -> dict[str, str]:
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def test_same_seed_gives_the_same_bytes_and_another_seed_does_not(tmp_path):
    for name, seed in (("a", 7), ("b", 7), ("c", 8)):
        generate(tmp_path / name, seed=seed, visits=2_000)
    first, again, other = (_bytes_of(tmp_path / name) for name in "abc")
    assert first == again
    assert set(first) == set(other)
    assert first["records/visits.csv"] != other["records/visits.csv"]


def test_rows_and_order_do_not_depend_on_the_size_of_the_pieces(tmp_path):
    generate(tmp_path / "small", seed=5, visits=150_000, piece_visits=40_000)
    generate(tmp_path / "large", seed=5, visits=150_000, piece_visits=10**9)
    small = sorted((tmp_path / "small" / "records").glob("visits-*.csv"))
    large = sorted((tmp_path / "large" / "records").glob("visits-*.csv"))
    assert len(small) == 2
    assert len(large) == 1
    lines = [line for path in small for line in path.read_bytes().splitlines()[1:]]
    assert lines == large[0].read_bytes().splitlines()[1:]


@pytest.mark.parametrize("kind", ["csv", "parquet"])
def test_both_formats_hold_the_same_rows(tmp_path, kind):
    generate(tmp_path, seed=2, visits=2_000, format=kind)
    path = tmp_path / "records" / f"visits.{kind}"
    reader = f"read_csv('{path}', all_varchar = true)" if kind == "csv" else f"read_parquet('{path}')"
    rows = duckdb.sql(f"SELECT count(*), count(DISTINCT visit_id), count(notes) FROM {reader}").fetchall()[0]
    generate(tmp_path / "other", seed=2, visits=2_000, format="csv")
    other = tmp_path / "other" / "records" / "visits.csv"
    again = duckdb.sql(
        f"SELECT count(*), count(DISTINCT visit_id), count(notes) FROM read_csv('{other}', all_varchar = true)"
    ).fetchall()[0]
    assert rows == again


def test_default_fleet_has_the_size_promised(fleet):
    n_visits = fleet.con.execute("SELECT count(DISTINCT visit_id) FROM visits").fetchone()[0]
    assert 60_000 <= n_visits <= 80_000
    assert n_visits == fleet.summary["n_visits"]
    assert fleet.con.execute("SELECT count(*) FROM technicians").fetchone()[0] == 60
    assert 7_800 <= fleet.con.execute("SELECT count(*) FROM sites").fetchone()[0] <= 8_000
    first, last = fleet.con.execute(
        "SELECT min(TRY_CAST(arrived_at AS TIMESTAMPTZ))::DATE, max(TRY_CAST(arrived_at AS TIMESTAMPTZ))::DATE "
        "FROM visits WHERE arrived_at LIKE '202%'"
    ).fetchone()
    assert (first, last) == (date(2022, 5, 1), date(2026, 6, 30))


@pytest.mark.parametrize("visits", [5_000, 20_000, 200_000])
def test_visits_asked_for_are_about_the_visits_made(tmp_path, visits):
    generate(tmp_path, seed=1, visits=visits)
    made = duckdb.sql(
        f"SELECT count(DISTINCT visit_id) FROM read_csv('{tmp_path}/records/visits*.csv', all_varchar = true)"
    ).fetchall()[0][0]
    assert made == pytest.approx(visits, rel=0.06)


@pytest.mark.skipif(sys.platform == "win32", reason="peak memory is read from the resource module")
def test_a_larger_fleet_needs_no_more_memory(tmp_path):
    peaks = []
    for visits in (150_000, 600_000):
        code = (
            "import resource, sys; from synthetic_data.generate import generate;"
            f"generate({str(tmp_path / str(visits))!r}, 1, visits={visits}, format='parquet', piece_visits=60_000);"
            "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)"
        )
        done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, env=os.environ)
        peaks.append(int(done.stdout))
    # The truth of every swap is kept until the end; everything else goes block by block.
    assert peaks[1] < 1.5 * peaks[0]


def test_every_table_has_the_columns_of_the_contract_in_order(fleet):
    for table in TABLES:
        path = fleet.folder / "records" / f"{table.name}.csv"
        if table.is_entered_here:
            assert not path.exists()
            continue
        header = path.read_text("utf-8").split("\n", 1)[0]
        assert header.split(",") == [entry.name for entry in table.fields]


@pytest.mark.parametrize(
    ("table", "column"),
    [
        (table.name, entry.name)
        for table in TABLES
        for entry in table.fields
        if entry.code_list is not None and not table.is_entered_here
    ],
)
def test_every_code_of_every_code_list_is_used_and_no_other(fleet, table, column):
    declared = next(entry for t in TABLES if t.name == table for entry in t.fields if entry.name == column).code_list
    used = {
        row[0]
        for row in fleet.con.execute(
            f'SELECT DISTINCT "{column}" FROM "{table}" WHERE "{column}" IS NOT NULL'
        ).fetchall()
    }
    left_out, why = NOT_USED.get((table, column), (set(), "every code is used"))
    assert used == set(declared.values()) - left_out, why


def test_blocks_hold_the_whole_fleet():
    for n_sites in (200, 8_000, 30_000, 1_000_000):
        scenario = Scenario(n_sites=n_sites, n_technicians=max(3, n_sites // 133))
        plans = plan_blocks(scenario)
        assert sum(plan.n_sites for plan in plans) == n_sites
        assert sum(plan.n_technicians for plan in plans) == scenario.n_technicians
        assert max(plan.n_sites for plan in plans) <= 12_000


@pytest.mark.parametrize(
    ("more", "word"),
    [({"seed": -1}, "seed"), ({"visits": 10}, "visits"), ({"format": "xlsx"}, "format")],
)
def test_what_is_not_allowed_is_refused_with_its_name(tmp_path, more, word):
    with pytest.raises(ValueError, match=word):
        generate(tmp_path, **more)


def test_a_scenario_refuses_shares_outside_their_range():
    with pytest.raises(ValueError, match=r"weak_share is 1.5; must lie between"):
        Scenario(weak_share=1.5)
