"""Weekly control on weeks counted by hand."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest

from models.figures.control import control
from models.figures.scope import Scope

EVERYTHING = Scope()
FIRST_ON = date(2023, 1, 2)


def _weeks(n_weeks: int, each: int, without):
    """`each` swaps in every week, of which without(week) have no root cause."""
    day, tier = [], []
    for week in range(n_weeks):
        day += [FIRST_ON + timedelta(weeks=week)] * each
        tier += ["none"] * without(week) + ["described"] * (each - without(week))
    return {"swapped_on": day, "tier": tier}


def test_share_centre_and_a_week_that_stands_out(store, put_swaps, settings):
    put_swaps(**_weeks(60, 20, lambda week: 19 if week == 50 else 8 + week % 3))
    chart = control(store, EVERYTHING, settings)["no_root_cause"]
    weeks = chart.weeks
    assert weeks["n"].tolist() == [20] * 60
    assert weeks["count"].iloc[0] == 8 and weeks["share"].iloc[0] == pytest.approx(0.4)
    assert weeks.loc[weeks["is_signal"], "week_on"].tolist() == [FIRST_ON + timedelta(weeks=50)]
    # Half of the 59 complete weeks; the week in progress is none of them.
    assert chart.baseline_from == FIRST_ON
    assert chart.baseline_to == FIRST_ON + timedelta(weeks=29, days=-1)
    assert weeks["centre"].iloc[0] == pytest.approx(np.mean([(8 + week % 3) / 20 for week in range(29)]))
    assert str(FIRST_ON + timedelta(weeks=50)) in chart.sentence


def test_baseline_is_frozen_once_there_are_two_years(store, put_swaps, settings):
    put_swaps(**_weeks(120, 10, lambda week: 3 if week < 52 else 6))
    chart = control(store, EVERYTHING, settings)["no_root_cause"]
    assert chart.baseline_to == FIRST_ON + timedelta(weeks=52, days=-1)
    assert chart.weeks["centre"].iloc[-1] == pytest.approx(0.3)


def test_weeks_too_young_for_their_window_never_signal(store, put_swaps, settings):
    made = _weeks(60, 20, lambda week: 10)
    back = [5 if (day - FIRST_ON).days // 7 == 58 else None for day in made["swapped_on"]]
    put_swaps(**made, callback_days=back, possible_callback_days=back, observed_days=400)
    weeks = control(store, EVERYTHING, settings)["callback_30"].weeks
    assert not weeks["is_mature"].iloc[58] and not weeks["is_signal"].iloc[58]
    assert weeks["share"].iloc[58] == 1.0
    assert weeks["is_mature"].sum() == 54


def test_weeks_without_cases_are_gaps(store, put_swaps, settings):
    made = _weeks(30, 4, lambda week: 2)
    kept = [i for i, day in enumerate(made["swapped_on"]) if day != FIRST_ON + timedelta(weeks=10)]
    put_swaps(**{name: [values[i] for i in kept] for name, values in made.items()})
    weeks = control(store, EVERYTHING, settings)["no_root_cause"].weeks
    assert len(weeks) == 30
    assert weeks["n"].iloc[10] == 0 and np.isnan(weeks["share"].iloc[10]) and not weeks["is_signal"].iloc[10]


def test_a_short_record_has_no_limits_and_says_so(store, put_swaps, settings):
    put_swaps(**_weeks(4, 5, lambda week: 2))
    chart = control(store, EVERYTHING, settings)["no_root_cause"]
    assert chart.weeks["upper"].isna().all()
    assert chart.baseline_from is None
    assert "No limits yet" in chart.sentence
