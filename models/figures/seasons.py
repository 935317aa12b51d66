"""When in the year condensate and blockage faults come."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import duckdb
import numpy as np
import pandas as pd

from models.figures.scope import Scope
from models.methods.estimate import Estimate

FAMILIES = ("condensate", "blockage")


@dataclass(frozen=True)
class Season:
    """One family's year.

    by_month: 12 dicts {month (1-12), n_faults, n_appliance_weeks, rate_per_1000, low, high}: faults per 1,000 appliances
    served and week; rate None where nothing was served.
    peak_day (day of the year, 1-365.25), peak_to_trough: Estimates; unknown when no seasonal claim is made.
    p_value, n_harmonics, dispersion: of the fit, None without one.
    curve: DataFrame[day_of_year, rate, low, high], rate per 1,000 appliances and week; empty without a fit.
    weather: {name: {'ratio', 'low', 'high'}} per weather covariate, plus 'peak_day_without_weather' and
    'p_value_season_given_weather'; empty without weather records.
    outlook: DataFrame[week_on, expected, low, high, same_week_last_year], the next 4 weeks, in faults.
    outlook_skill: {'n_weeks', 'error_model', 'error_last_year'} mean absolute errors over past weeks, or empty.
    sentence: in words. is_claimed: whether a seasonal claim is made (two heating seasons of data at least).
    """

    family: str
    by_month: list[dict[str, Any]]
    peak_day: Estimate
    peak_to_trough: Estimate
    p_value: float | None
    n_harmonics: int | None
    dispersion: float | None
    curve: pd.DataFrame
    weather: dict[str, Any]
    outlook: pd.DataFrame
    outlook_skill: dict[str, Any]
    sentence: str
    is_claimed: bool


def seasons(
    con: duckdb.DuckDBPyConnection, scope: Scope, settings: Any, rng: np.random.Generator
) -> dict[str, Season]:
    """{'condensate': Season, 'blockage': Season} over the scope (figures.md section 4). scope.region gives one region."""
    raise NotImplementedError
