"""What the weather does to the rate of faults beside the season, and what season it leaves."""

from __future__ import annotations

from typing import Any

import duckdb
import numpy as np
import pandas as pd

from models.methods.harmonic_poisson import SeasonalFit, fit_seasonal

DEGREE_DAYS, FREEZING = "heating_degree_days_c", "n_freezing_nights"
# Days a freezing night may take to show: the count of nights in the week that ends so many days earlier.
LAGS = (1, 2)
LAGGED = tuple(f"{FREEZING}_lag{lag}" for lag in LAGS)
COVARIATES = (DEGREE_DAYS, FREEZING, *LAGGED)
# Per 10 degree days, per freezing night: sizes a week differs by.
UNITS = {DEGREE_DAYS: 10.0, FREEZING: 1.0}
LEAST_KNOWN = 0.9
# A week with fewer known days says too little about its weather; one with more is scaled to seven.
FEWEST_DAYS = 5


def lagged_nights(con: duckdb.DuckDBPyConnection) -> pd.DataFrame:
    """DataFrame[region, week_on, LAGGED]: freezing nights of the seven days that began `lag` days before the week.

    Of the station most sites of the region name, as the weather of the week itself. With 5 or 6 known days they are scaled
    to seven; NaN with fewer.
    """
    frame = con.execute(
        """
        WITH station AS (
            SELECT region, weather_station_id FROM delivered.sites
            WHERE weather_station_id IS NOT NULL GROUP BY region, weather_station_id
            QUALIFY row_number() OVER (PARTITION BY region ORDER BY count(*) DESC, weather_station_id) = 1),
        moved AS (
            SELECT s.region, lag, CAST(date_trunc('week', w.day_on + lag) AS DATE) AS week_on, w.is_freezing_night
            FROM station s JOIN weather_day w USING (weather_station_id)
            CROSS JOIN (SELECT unnest(CAST(? AS INTEGER[])) AS lag))
        SELECT region, week_on, lag, count(*) FILTER (is_freezing_night) * 7 / count(*) AS n FROM moved
        WHERE is_freezing_night IS NOT NULL GROUP BY ALL HAVING count(*) >= ? ORDER BY region, week_on, lag""",
        [list(LAGS), FEWEST_DAYS],
    ).df()
    wide = frame.pivot(index=["region", "week_on"], columns="lag", values="n").reindex(columns=list(LAGS))
    wide.columns = pd.Index(LAGGED)
    return wide.astype(float).reset_index()


def weather_beside_season(weeks: pd.DataFrame, plain: SeasonalFit, rng: np.random.Generator) -> dict[str, Any]:
    """What a unit of weather does to the rate with the season beside it, and what season the weather leaves.

    weeks: as models.figures.seasons.weekly gives. Degree days and freezing nights of lag 0, 1 and 2 days go in together;
    the nights' ratio is that of one night over all lags (their coefficients added up), since counts a day apart are
    nearly alike and single lags are told apart badly. Returns {} under 90% of weeks with weather, else
    {name: {'ratio', 'low', 'high', 'per'}} for degree days and nights, 'lags': [{'lag_days', 'ratio', 'low', 'high'}],
    'peak_day_given_weather', 'p_value_given_weather', 'peak_day_alone', 'n_weeks'.
    """
    known = weeks[[DEGREE_DAYS, FREEZING]].notna().all(axis=1)
    if known.mean() < LEAST_KNOWN:
        return {}
    lags = [name for name in LAGGED if name in weeks and weeks.loc[known, name].notna().mean() >= LEAST_KNOWN]
    rows = weeks[known & weeks[lags].notna().all(axis=1)]
    varying = [name for name in (DEGREE_DAYS, FREEZING, *lags) if rows[name].std() > 0]
    if not varying:
        return {}
    fit = fit_seasonal(
        rows["n_faults"], rows["n_appliances"], rows["day_of_year"], rows["season"], rows[varying].to_numpy(), rng=rng
    )
    if fit.coefficients.size == 0:
        return {}
    first = 1 + 2 * fit.n_harmonics
    nights = [name for name in varying if name != DEGREE_DAYS]
    out: dict[str, Any] = {}
    if DEGREE_DAYS in varying:
        out[DEGREE_DAYS] = _ratio(fit, first, varying, [DEGREE_DAYS], UNITS[DEGREE_DAYS])
    if nights:
        out[FREEZING] = _ratio(fit, first, varying, nights, UNITS[FREEZING])
        out["lags"] = [
            {"lag_days": (FREEZING, *LAGGED).index(name), **_ratio(fit, first, varying, [name], UNITS[FREEZING])}
            for name in nights
        ]
    out["peak_day_given_weather"] = fit.peak_day.value
    out["p_value_given_weather"] = fit.p_value
    out["peak_day_alone"] = plain.peak_day.value
    out["n_weeks"] = len(rows)
    return out


def _ratio(fit: SeasonalFit, first: int, names: list[str], chosen: list[str], unit: float) -> dict[str, float]:
    """exp of the summed coefficients with its 95% range, for `unit` of each."""
    pick = np.zeros(fit.coefficients.size)
    pick[[first + names.index(name) for name in chosen]] = unit
    beta, half = float(pick @ fit.coefficients), 1.959964 * float(np.sqrt(pick @ fit.covariance @ pick))
    ratio, low, high = np.exp([beta, beta - half, beta + half]).tolist()
    return {"ratio": ratio, "low": low, "high": high, "per": unit}
