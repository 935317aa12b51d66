"""Verdicts of bench tests, by JCGM 106:2012. Rated 200 Pa, tolerance 10 Pa, gauge G1 (0.5 % of 500 Pa, step 1 Pa)."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats


def bench_tested(records, **also):
    """One swap with tag T-1, tested on the third day after."""
    records.visits("visit_id | symptom | arrived_at\n v1 | draft_not_proven | 2024-01-01 10:00")
    records.lines("visit_id | removed_tag\n v1 | T-1")
    usual = {
        "bench_test_id": "X1",
        "removed_tag": "T-1",
        "tested_at": "2024-01-04",
        "gauge_id": "G1",
        "pressure_unit": "Pa",
    }
    row = usual | {"make_1_pa": 200, "make_2_pa": 201, "make_3_pa": 199, "handling": "as_removed"} | also
    return add(records, row)


def add(records, row):
    names = ", ".join(row)
    records.con.execute(
        f"INSERT INTO delivered.bench_tests ({names}) VALUES ({', '.join('?' for _ in row)})", list(row.values())
    )
    return records


VERDICT = "SELECT verdict, reason FROM bench_result"


@pytest.mark.parametrize(
    ("also", "verdict", "says"),
    [
        ({}, "good", "within its tolerance"),
        ({"make_1_pa": 240, "make_2_pa": 241, "make_3_pa": 239}, "faulty", "outside"),
        ({"make_1_pa": 160, "make_2_pa": 161, "make_3_pa": 159}, "faulty", "outside"),
        ({"make_1_pa": 210, "make_2_pa": 211, "make_3_pa": 209}, "inconclusive", "too near a limit"),
        ({"make_1_pa": 190, "make_2_pa": 210, "make_3_pa": 200}, "inconclusive", "too near a limit"),
        ({"is_diaphragm_torn": True}, "faulty", "torn"),
        ({"has_water_inside": True}, "faulty", "water"),
        ({"contact_ohms": 5.1}, "faulty", "resistance"),
        ({"contact_ohms": 5.0}, "good", "within"),
        ({"is_leak_down_passed": False}, "faulty", "hold pressure"),
        ({"is_leak_down_passed": True}, "good", "within"),
        ({"handling": "drained"}, "inconclusive", "drained"),
        ({"handling": "dropped"}, "inconclusive", "dropped"),
        ({"handling": "unknown"}, "good", "within"),
        ({"handling": "drained", "make_1_pa": 240, "make_2_pa": 240, "make_3_pa": 240}, "faulty", "outside"),
        ({"tested_at": "2024-01-15"}, "good", "within"),
        ({"tested_at": "2024-01-16"}, "inconclusive", "too long"),
        ({"tested_at": "2024-01-16", "is_diaphragm_torn": True}, "faulty", "torn"),
        ({"make_1_pa": None, "make_2_pa": None, "make_3_pa": None}, "inconclusive", "no make reading"),
        ({"rated_make_pressure_pa": 240}, "faulty", "outside"),
        ({"make_tolerance_pa": 3}, "inconclusive", "too near"),
    ],
)
def test_verdict(records, also, verdict, says):
    got, reason = bench_tested(records, **also).one(VERDICT)
    assert got == verdict and says in reason, reason


def test_the_uncertainty_budget_and_the_probability(records):
    bench_tested(records, make_1_pa=207, make_2_pa=208, make_3_pa=209)
    row = records.one("""SELECT n_make_readings, make_mean_pa,
        make_sd_pa, u_gauge_pa, u_resolution_pa, u_repeatability_pa, u_pa, p_conform, is_tolerance_assumed
        FROM bench_result""")
    gauge, step = 2.5 / np.sqrt(3), 1 / np.sqrt(12)
    spread = 1 / np.sqrt(3) * stats.t.ppf(0.975, 2) / stats.norm.ppf(0.975)
    u = np.sqrt(gauge**2 + step**2 + spread**2)
    p = stats.norm.cdf(2 / u) - stats.norm.cdf(-18 / u)
    assert row == (3, 208.0, 1.0, *(pytest.approx(x) for x in (gauge, step, spread, u, p)), False)


def test_a_single_reading_takes_the_assumed_repeatability(records):
    row = bench_tested(records, make_1_pa=None, make_2_pa=200, make_3_pa=None).one(
        "SELECT n_make_readings, make_sd_pa, u_repeatability_pa FROM bench_result"
    )
    assert row == (1, None, pytest.approx(0.02 * 200))


def test_an_unknown_gauge_takes_the_assumed_accuracy_and_step(records):
    row = bench_tested(records, gauge_id="lost").one("SELECT u_gauge_pa, u_resolution_pa FROM bench_result")
    assert row == (pytest.approx(0.02 * 200 / np.sqrt(3)), pytest.approx(2.5 / np.sqrt(12)))


def test_without_a_tolerance_the_assumed_share_is_marked(records):
    records.con.execute("UPDATE delivered.appliances SET make_tolerance_pa = NULL")
    row = bench_tested(records).one("SELECT make_tolerance_pa, is_tolerance_assumed, verdict FROM bench_result")
    assert row == (20.0, True, "good")


def test_a_leak_by_design_is_no_fault(records):
    records.con.execute("UPDATE delivered.parts SET has_intentional_bleed = true WHERE part_number = 'SW'")
    assert bench_tested(records, is_leak_down_passed=False).one(VERDICT)[0] == "good"


def test_thresholds_come_from_the_settings(records_with):
    assert bench_tested(records_with(maximum_days_to_bench=2)).one(VERDICT)[0] == "inconclusive"
    assert bench_tested(records_with(bench_good_probability=0.9999999)).one(VERDICT)[0] == "inconclusive"


def test_two_tests_of_one_switch_count_once_and_the_last_decides(records):
    bench_tested(records, selection="random", selection_probability=0.2)
    later = {"bench_test_id": "X2", "removed_tag": "T-1", "tested_at": "2024-01-05", "pressure_unit": "Pa"}
    add(records, later | {"is_diaphragm_torn": True, "selection": "chosen"})
    row = records.one("SELECT bench_test_id, n_tests, verdict, selection, selection_probability FROM bench_result")
    # how it came to be tested is what the first test says
    assert row == ("X2", 2, "faulty", "random", 0.2)


def test_a_correction_wins_and_can_name_the_tag(records):
    bench_tested(records).correct("v1", "bench_result", "T-9:faulty")
    assert records.one(VERDICT)[0] == "good"
    records.correct("v1", "bench_result", "T-1:inconclusive")
    assert records.one(VERDICT) == ("inconclusive", "corrected here")


def matches(records, test):
    """Two visits: v1 with tags T-1 and T-2, v2 without a tag, v3 with tag T-1 once more."""
    records.visits("""
        visit_id | symptom          | arrived_at
        v1       | draft_not_proven | 2024-01-01
        v2       | draft_not_proven | 2024-02-01
        v3       | draft_not_proven | 2024-03-01""")
    records.lines("visit_id | line_no | removed_tag\n v1 | 1 | T-1\n v1 | 2 | T-2\n v2 | 1 |\n v3 | 1 | T-1")
    add(records, {"bench_test_id": "X", "pressure_unit": "Pa"} | test)
    return [row[0] for row in records.ask("SELECT swap_id FROM bench_match")]


@pytest.mark.parametrize(
    ("test", "swap"),
    [
        ({"removed_tag": "T-2", "tested_at": "2024-04-01"}, ["v1#2"]),
        ({"removed_tag": "T-1", "tested_at": "2024-04-01"}, ["v3#1"]),
        ({"removed_tag": "T-1", "tested_at": "2024-02-02"}, ["v1#1"]),
        ({"removed_tag": "T-1", "tested_at": "2023-12-01"}, []),
        ({"removed_tag": "T-1", "visit_id": "v1", "tested_at": "2024-04-01"}, ["v1#1"]),
        ({"visit_id": "v1", "tested_at": "2024-04-01"}, []),
        ({"visit_id": "v2", "tested_at": "2024-04-01"}, ["v2#1"]),
        ({"visit_id": "v3", "tested_at": "2024-04-01"}, ["v3#1"]),
        ({"removed_tag": "T-7", "visit_id": "v2", "tested_at": "2024-04-01"}, ["v2#1"]),
        ({"removed_tag": "T-7", "visit_id": "v3", "tested_at": "2024-04-01"}, []),
        ({"removed_tag": "T-7", "tested_at": "2024-04-01"}, []),
    ],
)
def test_which_swap_a_test_belongs_to(records, test, swap):
    assert matches(records, test) == swap


@pytest.mark.parametrize(
    ("tested_at", "swap"),
    [
        ("2024-03-01 07:00", ["v1#1"]),
        ("2024-03-01 06:00", ["v0#1"]),
        ("2024-03-01 23:30", ["v1#1"]),
    ],
)
def test_a_test_dated_by_its_day_belongs_to_the_switch_taken_out_that_day(records_with, tested_at, swap):
    """The day is that of the company's place: 07:00 UTC is its midnight of 1 March, where the swap was at 15:00."""
    records = records_with(time_zone="America/Denver")
    records.visits("""
        visit_id | symptom          | arrived_at
        v0       | draft_not_proven | 2023-03-01 15:00
        v1       | draft_not_proven | 2024-03-01 22:00""")
    records.lines("visit_id | removed_tag\n v0 | T-1\n v1 | T-1")
    add(records, {"bench_test_id": "X", "pressure_unit": "Pa", "removed_tag": "T-1", "tested_at": tested_at})
    assert [row[0] for row in records.ask("SELECT swap_id FROM bench_match")] == swap
