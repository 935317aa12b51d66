"""What stands first in a list that is cut, what a filter does not do, and one day told in one way everywhere."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest
from page_texts import assert_drawn, opened, said

from dashboard import printing, words
from dashboard.views.seasons import not_narrowed
from dashboard.views.sites import open_first
from dashboard.week_parts import GRAVEST_FIRST, gravest_first
from models.figures.safety import SAFETY_CODES
from models.figures.scope import Scope


def test_the_gravest_open_items_stand_first_and_the_newest_of_each() -> None:
    assert set(GRAVEST_FIRST) <= set(SAFETY_CODES)
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


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
def test_seasons_says_what_the_branch_filter_does_not_do(served_home: Path) -> None:
    test = opened("seasons")
    assert "Not narrowed by every filter" not in said(test)
    box = test.selectbox(key="branch")
    box.set_value(box.options[1]).run()
    assert_drawn(test)
    assert "of every branch: faults are counted" in said(test)
