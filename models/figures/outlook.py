"""Faults to expect in the next weeks, and how good such outlooks were."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from models.methods.harmonic_poisson import SeasonalFit, fit_seasonal

OUTLOOK_COLUMNS = ("week_on", "expected", "low", "high", "same_week_last_year")
WEEKS_AHEAD = 4
# An outlook is made anew this often when past ones are scored, from the third season on.
REFIT_WEEKS = 4
LEAST_HISTORY_WEEKS = 104


def outlook(weeks: pd.DataFrame, fit: SeasonalFit) -> pd.DataFrame:
    """The next 4 weeks after the last whole one, in faults.

    weeks: as models.figures.seasons.weekly gives. Level: the fitted season, moved to the last 8 weeks' ratio of
    faults to
    expectation, shrunk towards 1 (8 weeks with 20 expected faults count half).
    Returns DataFrame[week_on, expected, low, high, same_week_last_year (NaN without)].
    """
    start = weeks["week_on"].iloc[-1]
    ahead = pd.DataFrame({"week_on": [start + pd.Timedelta(weeks=k) for k in range(1, WEEKS_AHEAD + 1)]})
    day = _day_of_year(ahead["week_on"])
    exposure = np.full(WEEKS_AHEAD, weeks["n_appliances"].iloc[-1])
    level = _level(weeks, fit)
    mean, low, high = fit.predict_interval(day, exposure * level)
    out = ahead.assign(expected=mean, low=low, high=high, same_week_last_year=_last_year(weeks, ahead["week_on"]))
    out["week_on"] = out["week_on"].dt.date
    return out


def outlook_skill(weeks: pd.DataFrame, rng: np.random.Generator) -> dict[str, Any]:
    """How past outlooks fared, each made as the present one, without the weeks it is about; and same-week-last-year.

    Returns {'n_weeks', 'error_model', 'error_last_year' (mean absolute errors), 'share_in_range' (of the weeks, how many
    fell within the outlook's 95% range)}, or {} with under two years and four weeks of history.
    """
    errors: list[float] = []
    yardstick: list[float] = []
    is_within: list[bool] = []
    for cut in range(LEAST_HISTORY_WEEKS, len(weeks) - WEEKS_AHEAD + 1, REFIT_WEEKS):
        past, due = weeks.iloc[:cut], weeks.iloc[cut : cut + WEEKS_AHEAD]
        # No peak is asked for here, so one draw is enough.
        fit = fit_seasonal(
            past["n_faults"], past["n_appliances"], past["day_of_year"], past["season"], rng=rng, n_boot=1
        )
        if fit.coefficients.size == 0:
            continue
        exposure = np.full(len(due), past["n_appliances"].iloc[-1]) * _level(past, fit)
        expected, low, high = fit.predict_interval(due["day_of_year"], exposure)
        before = _last_year(past, due["week_on"])
        known = np.isfinite(before)
        actual = due["n_faults"].to_numpy()
        errors += np.abs(actual - expected)[known].tolist()
        yardstick += np.abs(actual - before)[known].tolist()
        is_within += ((low <= actual) & (actual <= high))[known].tolist()
    if not errors:
        return {}
    return {
        "n_weeks": len(errors),
        "error_model": float(np.mean(errors)),
        "error_last_year": float(np.mean(yardstick)),
        "share_in_range": float(np.mean(is_within)),
    }


def _level(weeks: pd.DataFrame, fit: SeasonalFit) -> float:
    recent = weeks.iloc[-8:]
    expected = float(fit.predict(recent["day_of_year"], recent["n_appliances"]).sum())
    return float((recent["n_faults"].sum() + 20) / (expected + 20))


def _day_of_year(week_on: pd.Series) -> np.ndarray:
    middle = week_on + pd.Timedelta(days=3.5)
    return (middle.dt.day_of_year + middle.dt.hour / 24.0).to_numpy(float)


def _last_year(weeks: pd.DataFrame, week_on: pd.Series) -> np.ndarray:
    """Faults 52 weeks earlier; NaN where that week is not on record."""
    known = weeks.set_index("week_on")["n_faults"]
    return known.reindex(week_on - pd.Timedelta(weeks=52)).to_numpy(float)
