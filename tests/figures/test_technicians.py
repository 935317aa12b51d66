"""Technicians: planted ones are found, new starters and one-site technicians stand apart, and nobody is flagged on little."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from models.figures.scope import Scope
from models.figures.technicians import technicians
from models.misdiagnosis.scores import score_swaps

EVERYTHING = Scope()


def _found(con, settings):
    return technicians(con, EVERYTHING, settings, score_swaps(con, EVERYTHING, settings), np.random.default_rng(1))


def test_planted_technicians_are_flagged_and_no_others(well_tested_fleet, settings):
    con, truth = well_tested_fleet
    found = _found(con, settings)
    flagged = set(found.table.loc[found.table["is_flagged"], "technician_id"])
    assert flagged == set(truth.weak)
    row = found.table.set_index("technician_id").loc[truth.weak[0]]
    assert "Look here first" in row["reason"]
    assert row["observed"] > row["expected"]
    assert row["low"] <= row["value"] <= row["high"]
    assert f"look first at {len(truth.weak)}" in found.sentence


def test_the_denominator_is_draft_faults_not_swaps(fleet, settings):
    """Who swaps on every call also swaps the bad ones: the share among swaps shows far less of it."""
    con, truth = fleet
    table = _found(con, settings).table
    weak = table["technician_id"].isin(truth.weak)
    ratio = {
        name: table.loc[weak, name].mean() / table.loc[~weak, name].mean()
        for name in ("observed_rate", "share_good_among_swaps")
    }
    assert ratio["observed_rate"] > 1.1 * ratio["share_good_among_swaps"]
    assert table["draft_fault_visits"].sum() == con.execute("SELECT count(*) FROM draft_fault").fetchone()[0]
    assert table["swaps"].sum() == con.execute("SELECT count(*) FROM swap_case").fetchone()[0]


def test_bench_results_count_as_they_are(fleet, settings):
    con, _ = fleet
    table = _found(con, settings).table
    good = con.execute("SELECT count(*) FROM swap_case WHERE verdict = 'good'").fetchone()[0]
    assert table["n_good"].sum() == good
    assert (table["observed"] >= table["n_good"] - 1e-9).all()
    assert (table["observed"] <= table["draft_fault_visits"]).all()


def test_new_starters_stand_apart(fleet, settings):
    con, truth = fleet
    last = con.execute("SELECT max(arrived_on) FROM visit").fetchone()[0]
    con.execute(
        "UPDATE delivered.technicians SET started_on = ? WHERE technician_id = ?",
        [date(last.year, 1, 5), truth.weak[0]],
    )
    row = _found(con, settings).table.set_index("technician_id").loc[truth.weak[0]]
    assert row["is_new_starter"] and not row["is_flagged"]
    assert "New starter" in row["reason"]


def test_one_technician_on_one_site_is_not_separable(fleet, settings):
    con, truth = fleet
    con.execute("UPDATE draft_fault SET site_id = 'only' WHERE technician_id = ?", [truth.weak[0]])
    row = _found(con, settings).table.set_index("technician_id").loc[truth.weak[0]]
    assert not row["is_separable"] and not row["is_flagged"]
    assert "Not separable" in row["reason"]


def test_too_few_cases_are_never_flagged(fleet, settings):
    con, truth = fleet
    con.execute(
        "DELETE FROM draft_fault WHERE technician_id = ? AND draft_fault_id NOT IN "
        "(SELECT draft_fault_id FROM swap_case WHERE diagnosed_by = ? AND verdict = 'good' ORDER BY ALL LIMIT 4)",
        [truth.weak[0]] * 2,
    )
    row = _found(con, settings).table.set_index("technician_id").loc[truth.weak[0]]
    assert row["draft_fault_visits"] == 4
    assert not row["has_minimum"] and not row["is_flagged"]
    assert "too few" in row["reason"]


def test_smallest_visible_excess_falls_with_cases(fleet, settings):
    table = _found(fleet[0], settings).table.dropna(subset=["smallest_visible_excess"])
    most, least = table.nlargest(5, "draft_fault_visits"), table.nsmallest(5, "draft_fault_visits")
    assert most["smallest_visible_excess"].mean() <= least["smallest_visible_excess"].mean()
    assert (table["smallest_visible_excess"] > settings.flag_margin / 2).all()


def test_process_rates_by_hand(store, put, put_swaps, settings):
    put_swaps(
        technician_id=["t1"] * 4 + ["t2"] * 2,
        has_gauge_reading=[True, True, True, False, False, False],
        tier=["described", "none", "none", "none", "measured", "described"],
        n_checks_done=[3, 2, 4, 0, 0, 0],
    )
    put(
        "delivered.checks",
        visit_id=["v000000", "v000001", "v000004"],
        check_code="hose",
        outcome=["sound", "fault", "not_done"],
    )
    found = _found(store, settings)
    table = found.table.set_index("technician_id")
    assert table.loc["t1", "reading_rate"] == pytest.approx(0.75)
    assert table.loc["t1", "cause_rate"] == pytest.approx(0.25)
    assert table.loc["t1", "checks_rate"] == pytest.approx(0.5)
    assert table.loc["t2", "cause_rate"] == pytest.approx(1.0)
    steps = found.steps.set_index(["technician_id", "step"])
    assert steps.loc[("t1", "hose"), "rate"] == pytest.approx(0.5)
    assert steps.loc[("t2", "hose"), "rate"] == 0.0
    assert steps.loc[("t1", "hose"), "company_rate"] == pytest.approx(2 / 6)


def test_same_records_same_figures(fleet, settings):
    first, second = (_found(fleet[0], settings).table for _ in range(2))
    assert first.equals(second)
