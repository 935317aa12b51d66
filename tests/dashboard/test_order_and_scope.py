"""What stands first in a list that is cut, what a filter does not do, and one day told in one way everywhere."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import cast

import pandas as pd
import pytest
from page_texts import assert_drawn, opened, said

from dashboard import coached, figures_access, lookups, printing, roles, store_access, words
from dashboard.views.parts_waste import what_counts
from dashboard.views.seasons import not_narrowed
from dashboard.views.sites import open_first
from dashboard.week_parts import answer, gravest_first
from models.figures.control import ControlChart
from models.figures.periods import period_dates
from models.figures.safety import GRAVEST_FIRST, SAFETY_CODES
from models.figures.scope import Scope
from pipelines.settings import Settings


def test_the_gravest_open_items_stand_first_and_the_newest_of_each() -> None:
    assert set(GRAVEST_FIRST) == set(SAFETY_CODES)
    items = pd.DataFrame({
        "visit_id": ["v5", "v4", "v3", "v2", "v1"],
        "cause_code": ["wrong_switch_or_altitude", "another", "exchanger_breached", "safety_bypassed", "exchanger_breached"],
    })  # fmt: skip
    assert gravest_first(items)["visit_id"].tolist() == ["v3", "v1", "v2", "v5", "v4"]
    assert gravest_first(items.head(0)).empty


def test_sites_still_open_stand_before_those_looked_into() -> None:
    sites = pd.DataFrame({"site_id": ["a", "b", "c", "d"], "n_safety_open": [0, 1, 0, 2]})
    assert open_first(sites)["site_id"].tolist() == ["b", "d", "a", "c"]


@pytest.mark.parametrize("day", [1.0, 25.4, 25.9, 360.7, 365.9])
def test_a_day_of_the_year_is_the_same_day_on_the_page_and_by_command(day: float) -> None:
    assert printing._shown(day, "day") == words.day_of_year(day)


def test_filters_that_the_figures_of_the_year_do_not_follow_are_named() -> None:
    assert not_narrowed(Scope()) is None and not_narrowed(Scope(region="coast")) is None
    assert "of every branch:" in str(not_narrowed(Scope(branch="north")))
    assert "of every branch and every kind of appliance:" in str(
        not_narrowed(Scope(branch="n", appliance_kind="boiler"))
    )


@pytest.mark.parametrize(
    ("last_on", "told"), [("2026-06-29", "hold 1 day so far"), ("2026-07-04", "hold 6 days so far")]
)
def test_a_week_the_records_end_in_says_how_many_of_its_days_they_hold(last_on: str, told: str) -> None:
    week = {"week_on": pd.Timestamp("2026-06-29"), "n_draft_faults": 3, "n_swaps": 2, "n_without_cause": 1}
    chart = cast(ControlChart, None)

    def said_of(end_on: str | None) -> str:
        return answer({"n_visits": 9}, chart, week | {"records_end_on": end_on})

    assert f"In the week of 29 Jun 2026, of which the records {told}: 3 draft faults" in said_of(last_on)
    for end_on in ("2026-07-05", "2026-08-01", None):
        assert said_of(end_on).startswith("In the week of 29 Jun 2026: 3 draft")


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
def test_a_filter_does_not_end_the_records(served_home: Path) -> None:
    with roles.whoever_has_the_files():
        whole = lookups.latest_week(Scope())
        end_on = pd.Timestamp(whole["records_end_on"]).date()
        assert lookups.latest_week(Scope(end_on=end_on))["records_end_on"] == str(end_on)
        cut = lookups.latest_week(Scope(end_on=end_on - dt.timedelta(days=100)))
        assert cut["records_end_on"] is None and cut["n_draft_faults"] > 0


def test_parts_waste_says_of_which_days_and_of_what_the_amounts_are() -> None:
    facts = {"first_on": "2025-01-02", "last_on": "2026-06-30"}
    days = "2 Jan 2025 to 30 Jun 2026"
    assert what_counts(facts, Settings()) == (
        f"All {days}, less warranty credit; without labour and trips, for which no rate was given."
    )
    given = Settings(labour_cost_per_hour=90.0, trip_cost=40.0)
    assert what_counts(facts, given) == f"All {days}, less warranty credit."


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
def test_what_was_not_counted_is_not_called_counted(served_home: Path) -> None:
    assert "The difference of two ranges; it has none of its own" in said(opened("parts_waste"))
    assert "of them alone" in said(opened("this_week"))


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
def test_seasons_says_what_the_branch_filter_does_not_do(served_home: Path) -> None:
    test = opened("seasons")
    assert "Not narrowed by every filter" not in said(test)
    box = test.selectbox(key="branch")
    box.set_value(box.options[1]).run()
    assert_drawn(test)
    assert "of every branch: faults are counted" in said(test)


def test_filters_that_coaching_does_not_follow_are_named() -> None:
    assert coached.not_narrowed(Scope()) is None
    assert coached.not_narrowed(Scope(branch="north")) == coached.OF_EVERYTHING
    told = coached.not_narrowed(Scope(region="coast", appliance_kind="boiler"))
    assert str(told).endswith("The coaching log holds sessions for every region and every kind of appliance.")


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
def test_coaching_says_what_the_filters_do_not_do_and_its_log_follows_the_others(served_home: Path) -> None:
    test = opened("coaching")
    assert "Not narrowed by every filter" not in said(test)
    box = test.selectbox(key="branch")
    branch = box.options[1]
    box.set_value(branch).run()
    assert_drawn(test)
    assert coached.OF_EVERYTHING in said(test)
    with roles.whoever_has_the_files():
        everything, of_branch = lookups.coaching_log(), lookups.coaching_log(scope=Scope(branch=branch))
        people = store_access.frame("SELECT technician_id FROM technician WHERE branch = ?", [branch])
        day = pd.Timestamp(everything["held_on"].iloc[len(everything) // 2])
        late = lookups.coaching_log(scope=Scope(start_on=day.date()))
        assert len(lookups.coaching_log(scope=Scope(region="nowhere"))) == len(everything), "a session has no region"
    assert 0 < len(of_branch) == everything["technician_id"].isin(people["technician_id"]).sum() < len(everything)
    assert 0 < len(late) == (pd.to_datetime(everything["held_on"]) >= day).sum() < len(everything)


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
def test_the_readings_of_a_site_follow_the_period(served_home: Path) -> None:
    with roles.whoever_has_the_files():
        site = store_access.row(
            "SELECT site_id FROM field_evidence WHERE margin_pa IS NOT NULL GROUP BY 1 ORDER BY count(*) DESC, 1 LIMIT 1"
        )["site_id"]
        whole = lookups.margins(site)
        end_on = pd.Timestamp(lookups.latest_week(Scope())["records_end_on"]).date()
        start_on, _ = period_dates("Last 12 months", end_on, end_on, 7)
        cut = lookups.margins(site, Scope(start_on=start_on))
    assert 0 < len(cut) == (pd.to_datetime(whole["arrived_on"]).dt.date >= start_on).sum() < len(whole)
    test = opened("sites", period="Last 12 months")
    test.text_input(key="site").set_value(site).run()
    assert_drawn(test)
    assert f"{len(cut)} reading" in said(test) and f"{len(whole)} readings" not in said(test)


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
def test_the_visits_of_a_site_are_drawn_at_once_only_where_it_was_asked_for(served_home: Path) -> None:
    """The site that the page shows by itself has its visits one click away: their grid would hold up the whole page."""
    with roles.whoever_has_the_files():
        listed = figures_access.sites(Scope())["site_id"].astype(str).tolist()
    test = opened("sites")
    assert_drawn(test)
    assert test.selectbox(key="listed_site_choice").value == listed[0] and not test.dataframe
    assert "The visits behind it" in [one.label for one in test.expander]
    test.selectbox(key="listed_site_choice").set_value(listed[1]).run()
    assert_drawn(test)
    assert len(test.dataframe) == 1
    test = opened("sites", site=listed[0])
    assert len(test.dataframe) == 1
