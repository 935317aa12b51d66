"""The published form: keys as documented, the same bytes twice, and the sidecar gives back what was computed."""

from __future__ import annotations

import json
import os

import numpy as np
import pytest

from models.figures.all import compute
from models.figures.published import as_json, plain
from models.figures.sidecar import figures_for
from pipelines.build import build
from pipelines.settings import Settings
from pipelines.store import Store, StoreError

ESTIMATE = {"value", "low", "high", "n", "coverage", "method"}
TECHNICIAN = {"technician_id", "draft_fault_visits", "swaps", "tested", "observed", "expected", "estimate",
              "probability_above", "is_flagged", "reason"}  # fmt: skip


def _bytes(con, settings):
    return json.dumps(as_json(compute(con, settings), "store-000001.duckdb"), allow_nan=False).encode()


def test_keys_are_the_documented_ones(fleet, settings):
    published = as_json(compute(fleet[0], settings), "store-000001.duckdb")
    assert set(published) == {"as_of", "store", "coverage", "good_switch_rate", "callbacks", "seasons", "technicians", "sites",
                              "waste", "control", "model_card", "coaching", "missing"}  # fmt: skip
    good = published["good_switch_rate"]
    assert set(good) == {"tested", "adjusted", "drawn", "bounds", "inconclusive", "tilt", "strata", "rule", "by"}
    for estimate in (good["tested"], good["adjusted"], good["drawn"]):
        assert set(estimate) == ESTIMATE | ({"sentence"} if estimate["value"] is None else set())
    assert set(good["by"]) == {"branch", "part_number", "technician_id", "week_on", "month"}
    for rows in good["by"].values():
        assert {"n_swaps", "n_tested", "value", "low", "high", "coverage", "method", "sentence"} < set(rows[0])
    assert set(published["callbacks"]) == {"windows", "possible", "logrank_p", "cuts", "heating_clock", "competing", "ends",
                                           "repeats", "within_strata", "by_stratum", "sentence"}  # fmt: skip
    for name in ("possible", "heating_clock", "competing", "repeats"):
        assert list(published["callbacks"][name]) == ["7", "14", "30", "60", "90"]
    assert list(published["callbacks"]["windows"]) == ["7", "14", "30", "60", "90"]
    for window in published["callbacks"]["windows"].values():
        assert set(window) == {"with_cause", "without_cause", "difference"}
        assert all(set(estimate) == ESTIMATE for estimate in window.values())
    assert set(published["seasons"]) == {"condensate", "blockage"}
    for season in published["seasons"].values():
        assert set(season) == {"by_month", "peak_day", "peak_low", "peak_high", "peak_to_trough", "p_value", "is_claimed",
                               "n_harmonics", "dispersion", "weather", "outlook", "outlook_skill", "by_region",
                               "sentence"}  # fmt: skip
        assert [month["month"] for month in season["by_month"]] == list(range(1, 13))
    assert all(set(row) == TECHNICIAN and set(row["estimate"]) == ESTIMATE for row in published["technicians"])
    assert [row["technician_id"] for row in published["technicians"]] == sorted(
        row["technician_id"] for row in published["technicians"]
    )
    assert all({"site_id", "is_flagged", "reasons"} <= set(row) for row in published["sites"])
    assert set(published["waste"]) == {"known", "estimated", "by_branch", "by_part", "by_technician", "by_month", "parts",
                                       "assumptions", "what_if", "credit", "currency"}  # fmt: skip
    assert set(published["control"]) == {"no_root_cause"} and published["control"]["no_root_cause"]["weeks"]
    assert published["as_of"] == str(fleet[0].execute("SELECT max(arrived_on) FROM visit").fetchone()[0])
    assert published["model_card"]["is_available"]


def test_same_store_same_bytes(fleet, settings):
    assert _bytes(fleet[0], settings) == _bytes(fleet[0], settings)


def test_order_of_rows_in_the_store_does_not_matter(fleet, settings):
    con, _ = fleet
    first = _bytes(con, settings)
    for table in ("swap_case", "draft_fault", "callback", "visit", "root_cause", "field_evidence", "fault_week"):
        con.execute(f"CREATE TEMP TABLE shuffled AS SELECT * FROM {table}")
        con.execute(f"DELETE FROM {table}")
        con.execute(f"INSERT INTO {table} SELECT * FROM shuffled ORDER BY hash(CAST(shuffled AS VARCHAR))")
        con.execute("DROP TABLE shuffled")
    assert _bytes(con, settings) == first


def test_numbers_are_rounded_and_never_nan():
    assert plain({"a": np.float64(1 / 3), "b": float("nan"), "c": np.int64(3), "d": np.bool_(True), "e": [None]}) == {
        "a": 0.33333333, "b": None, "c": 3, "d": True, "e": [None],
    }  # fmt: skip


@pytest.fixture
def home(tmp_path, fleet):
    """A home whose generation holds the made-up fleet's fact tables."""
    con, _ = fleet
    settings = Settings()
    with Store(tmp_path).new_generation() as generation:
        build(generation.con, settings)
        # A view of what is not copied; here a table.
        generation.con.execute(
            "CREATE TABLE held AS FROM callback; DROP VIEW callback; ALTER TABLE held RENAME TO callback"
        )
        for table in ("swap_case", "draft_fault", "callback", "visit", "root_cause", "field_evidence", "fault_week"):
            rows = con.sql(f"SELECT * FROM {table}").to_arrow_table()
            generation.con.register("given", rows)
            generation.con.execute(f"INSERT INTO {table} SELECT * FROM given")
            generation.con.unregister("given")
    return tmp_path


def test_sidecar_gives_back_what_was_computed(home, settings):
    store = Store(home)
    con = store.open_reader()
    fresh = json.dumps(as_json(compute(con, settings), "x"))
    con.close()
    assert json.dumps(as_json(figures_for(store, settings), "x")) == fresh
    folder = store.current().with_suffix(".figures")
    for name in ("figures.json", "swap_score.parquet", "technician.parquet", "site.parquet"):
        assert (folder / name).is_file()
    assert [path.name for path in home.iterdir() if ".figures." in path.name] == []
    assert json.dumps(as_json(figures_for(store, settings), "x")) == fresh


def test_saved_figures_are_read_not_computed_again(home, settings, monkeypatch):
    store = Store(home)
    figures_for(store, settings)
    monkeypatch.setattr("models.figures.sidecar.compute", lambda *a, **k: pytest.fail("computed again"))
    figures_for(store, settings)


def test_other_settings_or_a_damaged_sidecar_are_computed_anew(home, settings):
    store = Store(home)
    figures_for(store, settings)
    told = figures_for(store, Settings(labour_cost_per_hour=60.0, swap_labour_minutes=30.0))
    assert told.waste.known.value > figures_for(store, settings).waste.known.value
    path = store.current().with_suffix(".figures") / "figures.json"
    os.truncate(path, 100)
    assert figures_for(store, settings).good_switch.n_swaps > 0
    path.with_name("technician.parquet").write_bytes(b"nothing")
    assert len(figures_for(store, settings).technicians.table) > 0


def test_no_records_yet_is_told(tmp_path, settings):
    with pytest.raises(StoreError, match="goodpull load"):
        figures_for(Store(tmp_path), settings)
