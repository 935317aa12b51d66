"""What stands one click behind the cards: other ways to count, and the parts of an uncertainty."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace

import pandas as pd
import pytest
from page_texts import assert_drawn, opened, said, text_tables

from dashboard import callback_detail, outside_list, rate_detail, roles, season_lists, store_access, visit_sheet
from dashboard.views.seasons import beyond_weather


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
def test_the_rate_is_shown_from_every_side_and_by_group(served_home: Path) -> None:
    test = opened("this_week", rate_detail="true")
    test.session_state["rate_detail"] = True
    test.run()
    assert_drawn(test)
    text = said(test)
    for title in ("Clear bench results alone", "By the random draw alone", "If every other one was good"):
        assert title in text
    assert "If the odds of being good were half as high" in text
    tables = [frame.value for frame in test.dataframe]
    assert sum({"Pulled", "Clear results", "Coverage", "Range from"} <= set(table.columns) for table in tables) == 3
    assert sum({"Technician", "Pulled", "Coverage", "Range"} <= set(table) for table in text_tables(test)) == 1


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
def test_callbacks_are_shown_on_both_clocks_and_beside_other_ends(served_home: Path) -> None:
    test = opened("this_week")
    test.session_state["callback_detail"] = True
    test.run()
    assert_drawn(test)
    text = said(test)
    for title in ("Back within 30 heating days", "ends of their own", "Among like cases", "repeats counted"):
        assert title in text
    assert "Watches that ended so" in text and "association" in text


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
def test_swaps_that_no_callback_is_counted_after_are_told_with_the_coverage(served_home: Path) -> None:
    with roles.whoever_has_the_files():
        row = store_access.row(
            "SELECT count(*) AS n_swaps, count(*) FILTER (starts_on IS NULL) AS n "
            "FROM swap_case JOIN callback USING (draft_fault_id)"
        )
        n, n_swaps = row["n"], row["n_swaps"]
    assert n > 1
    told = f"Left out: {n} swaps whose job was never declared complete"
    test = opened("this_week")
    assert said(test).count(told) == 1
    test.session_state["callback_detail"] = True
    test.run()
    assert_drawn(test)
    assert f"{told}: nothing says from when to watch them." in said(test)
    records = " ".join(said(opened("records")).split())
    assert f"swaps whose job counts as complete | {n_swaps - n:,} of {n_swaps:,} |" in records


@pytest.mark.parametrize("served_home", ["unproven_home"], indirect=True)
def test_nothing_is_known_of_callbacks_where_no_appliance_is_proven(served_home: Path) -> None:
    from dashboard import figures_access
    from models.figures.scope import Scope

    facts = figures_access.coverage(Scope())
    lines = {line[0]: line[1:3] for line in callback_detail.ways(figures_access.callbacks(Scope()), 30, facts)}
    # Only the upper bound, which counts what nobody can prove, says anything.
    assert lines.pop("Back, or perhaps back: the appliance is not proven")[0] == "100%"
    assert not any("%" in cell for cells in lines.values() for cell in cells)


@pytest.mark.parametrize("served_home", ["unproven_home"], indirect=True)
def test_without_a_test_the_rate_has_bounds_alone(served_home: Path) -> None:
    from dashboard import figures_access
    from models.figures.scope import Scope

    good = figures_access.good_switch(Scope())
    shown = {title: value for title, value, *_ in rate_detail.ways(good)}
    assert shown["Clear bench results alone"] == shown["By the random draw alone"] == "not known"
    assert (shown["If every other one was faulty"], shown["If every other one was good"]) == ("0%", "100%")
    assert rate_detail.tilt_sentence(good.tilt) == ""


def test_the_tilt_is_told_in_a_sentence() -> None:
    told = rate_detail.tilt_sentence(pd.DataFrame({"tilt": [0.5, 1.0, 2.0], "rate": [0.25, 0.4, 0.55]}))
    assert "half as high" in told and "25%" in told and "55%" in told


def test_a_season_beyond_the_weather_is_told_apart_from_none() -> None:
    def season(p, day):
        return SimpleNamespace(weather={"p_value_given_weather": p, "peak_day_given_weather": day})

    assert "no season is left" in beyond_weather(season(0.4, None))
    assert "around 20 Jan" in beyond_weather(season(0.001, 20.0))
    assert beyond_weather(SimpleNamespace(weather={})) == ""


def test_the_uncertainty_of_a_bench_result_is_shown_in_parts() -> None:
    bench = SimpleNamespace(n_make_readings=3, make_mean_pa=200.0, rated_make_pa=201.0, make_tolerance_pa=10.0,
                            is_tolerance_assumed=True, u_gauge_pa=3.0, u_resolution_pa=1.0, u_repeatability_pa=2.0,
                            u_pa=3.74, p_conform=0.993)  # fmt: skip
    assert dict(visit_sheet.budget(bench, None))["repeatability"] == "0.0080 in. w.c. (2.0 Pa)"
    shown = dict(visit_sheet.budget(bench, "Pa"))
    assert (
        shown["Makes at, mean of 3 readings"] == "200 Pa"
        and shown["repeatability"] == "2.0 Pa"
        and shown["together"] == "3.7 Pa"
    )
    assert shown["Tolerance, either way"] == "10 Pa (assumed)"
    assert shown["Probability of lying within the tolerance"] == "99.3%"
    result = {"verdict": "good", "reason": "make point within its tolerance"}
    for tag, told in ((None, "good"), ("TAG 1", "switch TAG 1, good")):
        sentence = visit_sheet.bench_sentence(SimpleNamespace(**result, removed_tag=tag))
        assert sentence == f"Bench: {told}. Make point within its tolerance"


def test_few_parts_in_a_hundred_are_not_none() -> None:
    assert [season_lists._per_hundred(one) for one in (0.0, 0.001, 0.006, 0.25)] == ["0", "under 1", "1", "25"]


def test_the_outside_checks_are_told_with_how_far_each_was_followed() -> None:
    from models.evidence.outside import outside_checks

    checks = outside_checks()
    told = outside_list.summary(checks)
    assert told.startswith(f"{len(checks)} checks") and "9 published and read" in told
    month = next(outside_list.line(row) for row in checks if len(row["expected"]) == 12)
    assert month[2].endswith("and 9 more")
    for row, shown in zip(checks, map(outside_list.line, checks), strict=True):
        assert row["source"] in shown and shown[5].startswith(row["status"])
    assert told.endswith("All hold.")
    broken = (*checks[1:], checks[0] | {"got": [x + 2 * checks[0]["allowed"] + 1 for x in checks[0]["got"]]})
    assert "1 check of them did not hold" in outside_list.summary(broken)
