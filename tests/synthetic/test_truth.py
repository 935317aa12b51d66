"""The truth: consistent with the records, and with what is said about the scenario."""

from __future__ import annotations

import json

import numpy as np
import pandas as pd
import pytest

from pipelines.contract import codes
from synthetic_data import causes
from synthetic_data.generate import generate
from synthetic_data.jobs import true_callback_days
from synthetic_data.scenario import Scenario
from synthetic_data.truth import season_truth


def _one(fleet, sql: str):
    return fleet.con.execute(sql).fetchone()


def test_every_true_swap_is_fitted_on_paper(fleet):
    missing = _one(
        fleet,
        """SELECT count(*) FROM truth_swaps AS t WHERE NOT EXISTS (SELECT 1 FROM part_lines AS l
            WHERE l.visit_id = t.visit_id AND coalesce(l.line_status, 'fitted') = 'fitted' AND l.quantity::DOUBLE > 0
              AND (l.part_class = 'draft_switch' OR l.part_number LIKE 'DPS%')
              AND l.removed_tag IS NOT DISTINCT FROM t.removed_tag)""",
    )[0]
    assert missing == 0
    assert _one(fleet, "SELECT count(*) - count(DISTINCT visit_id) FROM truth_swaps")[0] == 0


def test_switch_lines_that_are_no_swap_say_so_on_paper(fleet):
    """Everything else with a switch on it is quoted, credited, returned, recalled, an upgrade or came inside a fan."""
    others = fleet.con.execute(
        """SELECT l.* FROM part_lines AS l ANTI JOIN truth_swaps AS t USING (visit_id)
           WHERE (l.part_class = 'draft_switch' OR l.part_number LIKE 'DPS%')"""
    ).df()
    words = others["description"].str.lower()
    is_said = words.str.contains("recall|upgrade|fan assembly") | others["line_status"].isin(
        ["quoted", "credited", "returned"]
    )
    credited = set(others.loc[others["line_status"] == "credited", "visit_id"])
    assert (is_said | others["visit_id"].isin(credited)).all()
    for word in ("recall", "upgrade", "fan assembly"):
        assert words.str.contains(word).any()


def test_draft_faults_are_six_to_nine_percent_of_visits(fleet):
    assert 0.06 <= fleet.summary["n_draft_faults"] / fleet.summary["n_visits"] <= 0.09


def test_summary_says_what_the_tables_say(fleet):
    rate, n, share = _one(
        fleet, "SELECT avg(is_truly_good::INT), count(*), avg((NOT has_root_cause)::INT) FROM truth_swaps"
    )
    assert fleet.summary["good_switch_rate"] == pytest.approx(rate)
    assert fleet.summary["n_swaps"] == n
    assert fleet.summary["without_root_cause_share"] == pytest.approx(share)
    for name, has in (("with_cause", True), ("without_cause", False)):
        back = _one(
            fleet,
            f"""SELECT avg(coalesce(true_callback_days <= 30, false)::INT) FROM truth_swaps
                WHERE is_recorded_complete AND has_root_cause = {has}""",
        )[0]
        assert fleet.summary["callbacks_30"][name] == pytest.approx(back)


def test_callbacks_and_documentation_lie_where_the_scenario_says(fleet):
    callbacks = fleet.summary["callbacks_30"]
    assert 0.25 <= callbacks["without_cause"] <= 0.36
    assert 0.045 <= callbacks["with_cause"] <= 0.085
    assert 0.50 <= fleet.summary["without_root_cause_share"] <= 0.60


def test_testing_is_selective_enough_to_mislead(fleet):
    """The share among tested switches is at least eight points above the truth."""
    assert fleet.summary["good_switch_rate_tested_only"] - fleet.summary["good_switch_rate"] >= 0.08


def test_testing_depends_on_paper_only(fleet):
    """Within evidence and tier at closing, truly good switches are tested as often as the others (Mantel-Haenszel)."""
    assert abs(_mantel_haenszel_z(fleet.con.execute("SELECT * FROM truth_swaps").df())) < 3.0


def test_the_other_scenario_lets_the_result_in(tmp_path):
    generate(tmp_path, seed=1, scenario=Scenario.tested_by_result())
    assert _mantel_haenszel_z(pd.read_parquet(tmp_path / "truth" / "swaps.parquet")) > 4.0


def _mantel_haenszel_z(swaps: pd.DataFrame) -> float:
    """Standardised excess of tested truly good switches within strata of what was on paper."""
    swaps = swaps.assign(
        half=pd.to_datetime(swaps["swapped_on"]).dt.year, is_blamed=swaps["recorded_cause"].isin(_SWITCH_CODES)
    )
    excess = variance = 0.0
    for _, part in swaps.groupby(["evidence", "documented_tier_at_closing", "branch", "half", "is_blamed"]):
        n, good, tested = len(part), part["is_truly_good"].sum(), part["is_tested"].sum()
        if n < 2:
            continue
        excess += (part["is_truly_good"] & part["is_tested"]).sum() - good * tested / n
        variance += good * (n - good) * tested * (n - tested) / (n * n * (n - 1))
    return excess / np.sqrt(variance)


_SWITCH_CODES = [cause.code for cause in codes.CAUSES if cause.group == "switch_itself"]


def test_random_draws_carry_their_probability_and_nothing_else_does(fleet):
    rows = fleet.con.execute(
        """SELECT selection, count(*), count(selection_probability), min(selection_probability)
           FROM bench_tests GROUP BY 1"""
    ).fetchall()
    by_selection = {row[0]: row[1:] for row in rows}
    assert by_selection["random"][0] == by_selection["random"][1]
    assert float(by_selection["random"][2]) == pytest.approx(Scenario().random_draw_probability)
    assert by_selection["chosen"][1] == 0
    drawn = by_selection["random"][0] / fleet.summary["n_swaps"]
    assert drawn == pytest.approx(Scenario().random_draw_probability, abs=0.02)


def test_masked_causes_come_back_after_a_blind_swap_and_cured_ones_do_not(fleet):
    masked = {cause.code: cause.is_masked for cause in codes.CAUSES}
    swaps = fleet.con.execute("SELECT * FROM truth_swaps WHERE swap_way <> 'alongside_repair'").df()
    back = (swaps["true_callback_days"] <= 60).fillna(False).groupby(swaps["true_cause"].map(masked)).mean()
    assert back["yes"] > 0.30
    assert back["cures"] < 0.10
    assert back["yes"] > back["partly"] - 0.15


@pytest.mark.parametrize("code", ["hose_water", "trap_fouled", "hose_leak_or_kink", "fan_worn"])
def test_masked_causes_come_back_within_their_own_days(fleet, code):
    """At least three quarters of the callbacks after blind swaps in the heating season fall in the contract's range."""
    cause = next(cause for cause in codes.CAUSES if cause.code == code)
    days = fleet.con.execute(
        f"""SELECT true_callback_days FROM truth_swaps WHERE true_cause = '{code}' AND swap_way = 'blind'
            AND true_callback_days <= 120 AND month(swapped_on) IN (11, 12, 1, 2)"""
    ).df()["true_callback_days"]
    assert len(days) >= 10
    assert days.between(cause.days_low, cause.days_high + 2).mean() >= 0.75


def test_a_switch_is_truly_good_only_when_it_was_not_the_cause(fleet):
    wrong = _one(
        fleet,
        f"""SELECT count(*) FROM truth_swaps WHERE is_truly_good
            AND true_cause IN ({", ".join(f"'{code}'" for code in _SWITCH_CODES)})""",
    )[0]
    assert wrong == 0


def test_planted_weak_technicians_pull_far_more_good_switches(fleet):
    technicians = fleet.con.execute("SELECT * FROM truth_technicians").df()
    weak = technicians["is_weak"]
    assert 0.08 <= weak.mean() <= 0.12
    assert technicians.loc[weak, "technician_id"].tolist() == fleet.summary["weak_technicians"]
    assert technicians.loc[weak, "true_excess"].min() > 0.20
    assert technicians.loc[~weak, "true_excess"].max() < 0.15
    assert (technicians.loc[weak, "good_pulls"].sum() / technicians.loc[weak, "draft_fault_visits"].sum()) > 0.6


def test_excess_is_fair_over_the_fleet(fleet):
    """Weighted by visits, own and expected rates agree: the expectation is the fleet's own average."""
    technicians = fleet.con.execute("SELECT * FROM truth_technicians").df()
    own = np.average(technicians["true_good_pull_probability"], weights=technicians["draft_fault_visits"])
    expected = np.average(technicians["expected_good_pull_probability"], weights=technicians["draft_fault_visits"])
    assert own == pytest.approx(expected, abs=0.005)
    realised = technicians["good_pulls"].sum() / technicians["draft_fault_visits"].sum()
    assert realised == pytest.approx(own, abs=0.02)


def test_no_weak_technician_where_none_is_planted(tmp_path):
    generate(tmp_path, seed=1, visits=20_000, scenario=Scenario.no_weak_technician())
    technicians = pd.read_parquet(tmp_path / "truth" / "technicians.parquet")
    assert not technicians["is_weak"].any()
    enough = technicians["draft_fault_visits"] >= 20
    assert technicians.loc[enough & ~technicians["is_new"], "true_excess"].max() < 0.08


def test_coaching_lowers_good_pulls_of_those_it_works_for(fleet):
    """Own probability after the first session against before, of the same technicians."""
    changes = fleet.con.execute(
        """WITH first AS (SELECT technician_id, min(held_on)::DATE AS held_on FROM coaching_sessions GROUP BY 1)
           SELECT t.has_coaching_effect,
             avg(j.good_pull_probability) FILTER (WHERE j.attended_on > held_on)
               - avg(j.good_pull_probability) FILTER (WHERE j.attended_on <= held_on)
           FROM truth_draft_faults AS j JOIN first USING (technician_id)
           JOIN truth_technicians AS t USING (technician_id)
           WHERE NOT t.is_new GROUP BY 1"""
    ).fetchall()
    change = dict(changes)
    assert change[True] < -0.05
    assert abs(change[False]) < 0.04


def test_season_peaks_are_those_of_the_recorded_faults(fleet):
    for family, low, high in (("condensate", 10, 50), ("blockage", 330, 366)):
        season = fleet.summary["seasons"][family]
        assert low <= season["peak_day"] <= high
        assert 3 < season["peak_to_trough"] < 12
        total = _one(fleet, f"SELECT sum(mean_recorded_faults_per_day) FROM truth_seasons WHERE family = '{family}'")[0]
        # The mean curve over many years, times the years of the export, is about what was recorded in these years.
        years = Scenario().n_days / 365.25
        assert season["n_recorded"] == pytest.approx(total * years, rel=0.15)


def test_peak_of_a_known_curve_is_found():
    day = np.arange(1, 367)
    found = season_truth(np.exp(1.0 * np.cos(2 * np.pi * (day - 100) / 365.25)))
    assert found["peak_day"] == pytest.approx(100, abs=1)
    assert found["first_harmonic_peak_day"] == pytest.approx(100, abs=1)
    assert found["peak_to_trough"] == pytest.approx(np.exp(2), rel=0.02)


def test_true_callback_is_the_next_unplanned_draft_fault_on_the_same_appliance():
    jobs = pd.DataFrame(
        {
            "appliance": [0, 0, 0, 1, 2, 2, 3, 3],
            "day": [10, 15, 500, 12, 20, 30, 40, 45],
            "completed_day": [12, 15, 500, 12, 20, 30, 41, 45],
            "is_complete": [True, True, True, True, False, True, True, True],
        }
    )
    removed_day = np.array([10**6, 10**6, 10**6, 43])
    days = true_callback_days(jobs, removed_day, horizon_days=400)
    # Five days after arrival, three after completion; 485 days is beyond the horizon; never complete; removed before.
    assert days.tolist() == [3, -1, -1, -1, -1, -1, -1, -1]


def test_summary_is_plain_json(fleet):
    text = (fleet.folder / "truth" / "summary.json").read_text("utf-8")
    assert "NaN" not in text
    assert json.loads(text)["seed"] == 1


def test_an_uneven_mix_sends_faults_of_the_switch_to_some_rather_than_others(tmp_path):
    """How unlike the technicians' true case mixes are, beyond chance: the variance ratio of their switch faults."""
    ratio = {}
    for name, scenario in (("even", Scenario()), ("uneven", Scenario.unequal_case_mix())):
        generate(tmp_path / name, seed=4, visits=20_000, format="parquet", scenario=scenario)
        jobs = pd.read_parquet(tmp_path / name / "truth" / "draft_faults.parquet")
        is_switch = jobs["true_cause"].isin(np.array(causes.CODES)[causes.IS_SWITCH])
        by = is_switch.groupby(jobs["technician_id"]).agg(["sum", "size"])
        share = is_switch.mean()
        ratio[name] = float(((by["sum"] - by["size"] * share) ** 2).sum() / (by["size"] * share * (1 - share)).sum())
    assert ratio["even"] < 2 < 4 < ratio["uneven"]
