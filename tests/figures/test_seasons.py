"""Seasons on weeks with a known peak, and no claim without two heating seasons."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest

from models.figures.scope import Scope
from models.figures.seasons import seasons, weekly

EVERYTHING = Scope()


def _rng():
    return np.random.default_rng(0)


def test_peak_and_ratio_of_the_made_up_fleet(fleet, settings):
    con, truth = fleet
    season = seasons(con, EVERYTHING, settings, _rng())["condensate"]
    assert season.is_claimed
    assert season.peak_day.low <= truth.peak_day <= season.peak_day.high
    assert season.peak_day.high - season.peak_day.low < 40
    assert season.peak_to_trough.low <= truth.peak_to_trough <= season.peak_to_trough.high
    assert season.p_value < 1e-6
    assert "January" in season.sentence


def test_months_count_faults_and_exposure(store, put, settings):
    """Two weeks of January with 3 and 5 faults among 1,000 appliances: 4 per 1,000 and week."""
    put("fault_week", region="r1", week_on=[date(2024, 1, 8), date(2024, 1, 15)], family="condensate", n_faults=[3, 5],
        n_appliances=1000)  # fmt: skip
    put("visit", visit_id=["a", "b"], arrived_on=[date(2024, 1, 1), date(2024, 1, 31)])
    season = seasons(store, EVERYTHING, settings, _rng())["condensate"]
    january = season.by_month[0]
    assert (january["month"], january["n_faults"], january["n_appliance_weeks"]) == (1, 8, 2000)
    assert january["rate_per_1000"] == pytest.approx(4.0)
    # Exact Poisson limits of 8: 3.454 to 15.763 (Ulm 1990, Am. J. Epidemiol. 131:373; value from memory).
    assert january["low"] == pytest.approx(3.454 / 2, abs=0.001)
    assert january["high"] == pytest.approx(15.763 / 2, abs=0.001)
    assert season.by_month[5]["rate_per_1000"] is None


def test_one_season_makes_no_claim_but_shows_months(store, put, settings):
    weeks = [date(2023, 7, 3) + timedelta(weeks=i) for i in range(45)]
    put("fault_week", region="r1", week_on=weeks, family="condensate", n_faults=4, n_appliances=1000)
    put("visit", visit_id=["a", "b"], arrived_on=[weeks[0], weeks[-1] + timedelta(days=6)])
    season = seasons(store, EVERYTHING, settings, _rng())["condensate"]
    assert not season.is_claimed
    assert season.peak_day.value is None
    assert "two are needed" in season.sentence
    assert season.by_month[9]["rate_per_1000"] == pytest.approx(4.0)
    assert season.curve.empty


def test_flat_weeks_show_no_season(store, put, settings):
    rng = np.random.default_rng(5)
    weeks = [date(2021, 7, 5) + timedelta(weeks=i) for i in range(156)]
    put("fault_week", region="r1", week_on=weeks, family="blockage", n_faults=rng.poisson(6, 156), n_appliances=1000)
    put("visit", visit_id=["a", "b"], arrived_on=[weeks[0], weeks[-1] + timedelta(days=6)])
    season = seasons(store, EVERYTHING, settings, _rng())["blockage"]
    assert not season.is_claimed
    assert season.peak_day.value is None
    assert season.p_value > 0.05


def test_weeks_cut_short_by_the_record_are_left_out(store, put, settings):
    weeks = [date(2024, 1, 1) + timedelta(weeks=i) for i in range(4)]
    put("fault_week", region="r1", week_on=weeks, family="condensate", n_faults=1, n_appliances=10)
    put("visit", visit_id=["a", "b"], arrived_on=[weeks[0] + timedelta(days=2), weeks[-1] + timedelta(days=1)])
    found = weekly(store, EVERYTHING, settings, "condensate")
    assert found["week_on"].dt.date.tolist() == weeks[1:3]


def test_region_narrows(store, put, settings):
    put(
        "fault_week",
        region=["r1", "r2"],
        week_on=date(2024, 1, 8),
        family="condensate",
        n_faults=[3, 5],
        n_appliances=10,
    )
    put("visit", visit_id=["a", "b"], arrived_on=[date(2024, 1, 1), date(2024, 1, 31)])
    assert weekly(store, Scope(region="r2"), settings, "condensate")["n_faults"].tolist() == [5]
    assert weekly(store, EVERYTHING, settings, "condensate")["n_faults"].tolist() == [8]


def test_weather_of_regions_is_averaged_by_appliances(store, put, settings):
    week_on = date(2024, 1, 8)
    put("fault_week", region=["r1", "r2"], week_on=week_on, family="condensate", n_faults=1, n_appliances=[30, 10])
    put(
        "weather_week",
        region=["r1", "r2"],
        week_on=week_on,
        heating_degree_days_c=[100.0, 60.0],
        n_freezing_nights=[7, 3],
        n_days=7,
    )
    put("visit", visit_id=["a", "b"], arrived_on=[date(2024, 1, 1), date(2024, 1, 31)])
    row = weekly(store, EVERYTHING, settings, "condensate").iloc[0]
    assert row["heating_degree_days_c"] == pytest.approx(90.0)
    assert row["n_freezing_nights"] == pytest.approx(6.0)


def test_outlook_covers_the_next_four_weeks(fleet, settings):
    season = seasons(fleet[0], EVERYTHING, settings, _rng())["condensate"]
    weeks = pd.to_datetime(season.outlook["week_on"])
    assert len(weeks) == 4 and (weeks.diff().dropna() == pd.Timedelta(weeks=1)).all()
    assert weeks.iloc[0] > pd.Timestamp(fleet[0].execute("SELECT max(arrived_on) FROM visit").fetchone()[0])
    assert (season.outlook["low"] <= season.outlook["expected"]).all()
    skill = season.outlook_skill
    assert skill["n_weeks"] >= 40 and skill["error_model"] < skill["error_last_year"]


def test_a_long_silence_of_a_region_is_no_record_and_a_short_one_is_no_fault(store, put, settings):
    """A visit in week 0, 5 and 11 of one region, in every week of the other: weeks 1 to 4 are quiet, 6 to 10 unknown."""
    weeks = [date(2024, 1, 1) + timedelta(weeks=i) for i in range(12)]
    for region in ("quiet", "busy"):
        put("fault_week", region=region, week_on=weeks, family="condensate", n_faults=0, n_appliances=100)
    for region, on_record in (("quiet", (0, 5, 11)), ("busy", range(12))):
        put("visit", visit_id=[f"{region}{i}" for i in on_record], region=region, week_on=[weeks[i] for i in on_record],
            arrived_on=[weeks[i] + timedelta(days=6 if i else 0) for i in on_record])  # fmt: skip
    served = weekly(store, EVERYTHING, settings, "condensate")["n_appliances"].tolist()
    assert served == [200.0] * 6 + [100.0] * 5 + [200.0]
    assert len(weekly(store, Scope(region="quiet"), settings, "condensate")) == 7
