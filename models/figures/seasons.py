"""When in the year condensate and blockage faults come."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import duckdb
import numpy as np
import pandas as pd

from models.figures.outlook import OUTLOOK_COLUMNS, outlook, outlook_skill
from models.figures.scope import Scope
from models.figures.season_weather import COVARIATES, FEWEST_DAYS, LAGGED, lagged_nights, weather_beside_season
from models.methods.estimate import Estimate, unknown
from models.methods.harmonic_poisson import METHOD, SeasonalFit, fit_seasonal
from models.methods.numeral import numeral
from models.methods.poisson_limits import poisson_limits

FAMILIES = ("condensate", "blockage")
REGION_COLUMNS = ("region", "n_faults", "peak_day", "low", "high", "peak_to_trough", "p_value", "sentence")
# Middle of a week that starts on Monday, from its Monday.
MIDDLE_OF_WEEK_DAYS = 3.5
# Longer without any visit in a region, and its weeks count as not on record instead of as free of faults.
LONGEST_SILENCE_WEEKS = 4


@dataclass(frozen=True)
class Season:
    """One family's year.

    by_month: 12 dicts {month (1-12), n_faults, n_appliance_weeks, rate_per_1000, low, high}: faults per 1,000
    appliances
    served and week; rate None where nothing was served.
    peak_day (day of the year; low above high = the range runs over the turn of the year), peak_to_trough: Estimates;
    unknown when no seasonal claim is made. p_value, n_harmonics, dispersion: of the fit, None without one.
    curve: DataFrame[day_of_year, rate, low, high], rate per 1,000 appliances and week; empty without a fit.
    weather: {name: {'ratio', 'low', 'high'}} of degree days and freezing nights, plus 'peak_day_given_weather' and
    'p_value_given_weather' of the season that the weather leaves (models.figures.season_weather); empty without weather
    records.
    outlook: DataFrame[week_on, expected, low, high, same_week_last_year], the next 4 weeks, in faults.
    outlook_skill: {'n_weeks', 'error_model', 'error_last_year', 'share_in_range'} over past weeks, or empty.
    sentence: in words. is_claimed: whether a seasonal claim is made (two heating seasons of data at least).
    by_region: DataFrame[REGION_COLUMNS], the same fit on each region's own weeks; peak_day, low, high NaN where no claim
    is made, and the sentence says why. Empty with a single region, or where the scope is one.
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
    by_region: pd.DataFrame


def seasons(con: duckdb.DuckDBPyConnection, scope: Scope, settings: Any, rng: np.random.Generator) -> dict[str, Season]:
    """{'condensate': Season, 'blockage': Season} over the scope.

    scope.region gives one region; branch and appliance kind do not narrow these figures: weeks are counted by region.
    rng: for the draws of the peak's range, and of years where more than one harmonic is kept.
    """
    # Regions draw from a generator of their own, so that the whole fleet's figures do not hang on how many there are.
    regional = rng.spawn(1)[0]
    names = _regions(con, scope)
    out = {}
    for family in FAMILIES:
        by_region = _by_region(con, scope, settings, family, names, regional)
        out[family] = _season(family, weekly(con, scope, settings, family), rng, by_region)
    return out


def weekly(con: duckdb.DuckDBPyConnection, scope: Scope, settings: Any, family: str) -> pd.DataFrame:
    """One row per whole week: DataFrame[week_on, day_of_year, season, n_faults, n_appliances, COVARIATES], in order.

    Weather of several regions is averaged by the appliances served there, a week of which 5 or 6 days are known scaled to
    seven; NaN without records, or with fewer days. The first and the last
    week on record are left out where they are cut short by the record, and so are stretches of more than 4 weeks without
    a single visit in the region: nobody knows what happened there, so that records of springs alone show no season.
    """
    condition, values = scope.where("week_on", ("region",), "f.")
    # Sums as DOUBLE: of whole numbers over this outer join, duckdb 2.0 took 130 for a number of one byte and gave up.
    frame = con.execute(
        f"""
        WITH seen AS (
            SELECT region, week_on FROM visit UNION SELECT region, week_on FROM fault_week WHERE n_faults > 0),
        spaced AS (
            SELECT f.*, s.week_on IS NOT NULL AS is_seen,
                coalesce(max(s.week_on) OVER (w ROWS UNBOUNDED PRECEDING), min(f.week_on) OVER () - 7) AS before_on,
                coalesce(min(s.week_on) OVER (w ROWS BETWEEN CURRENT ROW AND UNBOUNDED FOLLOWING),
                    max(f.week_on) OVER () + 7) AS after_on
            FROM fault_week f LEFT JOIN seen s ON s.week_on = f.week_on AND s.region IS NOT DISTINCT FROM f.region
            WHERE f.family = ? AND {condition} WINDOW w AS (PARTITION BY f.region ORDER BY f.week_on))
        SELECT f.week_on, sum(CAST(f.n_faults AS DOUBLE)) AS n_faults, sum(CAST(f.n_appliances AS DOUBLE)) AS n_appliances,
            sum(f.n_appliances * w.heating_degree_days_c * 7 / w.n_days)
                / sum(f.n_appliances) FILTER (w.heating_degree_days_c IS NOT NULL) AS heating_degree_days_c,
            sum(f.n_appliances * w.n_freezing_nights * 7 / w.n_days)
                / sum(f.n_appliances) FILTER (w.n_freezing_nights IS NOT NULL) AS n_freezing_nights
        FROM spaced f LEFT JOIN weather_week w ON f.week_on = w.week_on AND f.region IS NOT DISTINCT FROM w.region
            AND w.n_days >= {FEWEST_DAYS}
        WHERE f.is_seen OR f.after_on - f.before_on <= ? GROUP BY f.week_on ORDER BY f.week_on""",
        [family, *values, 7 * (LONGEST_SILENCE_WEEKS + 1)],
    ).df()
    span = con.execute("SELECT min(arrived_on), max(arrived_on) FROM visit").fetchone()
    frame["week_on"] = pd.to_datetime(frame["week_on"])
    frame = frame.merge(_lagged(con, scope, family), on="week_on", how="left")
    if len(frame) and span and span[0] is not None:
        is_whole = (frame["week_on"] >= pd.Timestamp(span[0])) & (
            frame["week_on"] + pd.Timedelta(days=6) <= pd.Timestamp(span[1])
        )
        frame = frame[is_whole].reset_index(drop=True)
    middle = frame["week_on"] + pd.Timedelta(days=MIDDLE_OF_WEEK_DAYS)
    frame["day_of_year"] = middle.dt.day_of_year + middle.dt.hour / 24.0
    frame["season"] = middle.dt.year - (middle.dt.month < int(settings.season_starts_month)).astype(int)
    for column in ("n_faults", "n_appliances", *COVARIATES):
        frame[column] = pd.to_numeric(frame[column]).astype(float)
    return frame


def _lagged(con: duckdb.DuckDBPyConnection, scope: Scope, family: str) -> pd.DataFrame:
    """Freezing nights some days earlier, averaged by the appliances served: DataFrame[week_on, LAGGED]."""
    condition, values = scope.where("week_on", ("region",))
    served = con.execute(
        f"SELECT region, week_on, n_appliances FROM fault_week WHERE family = ? AND {condition}", [family, *values]
    ).df()
    both = served.merge(lagged_nights(con), on=["region", "week_on"])
    weight, nights = both["n_appliances"].astype(float), both[list(LAGGED)]
    summed = nights.mul(weight, axis=0).groupby(both["week_on"]).sum(min_count=1)
    # A region whose nights of one lag are not known weighs nothing in that lag.
    known = nights.notna().mul(weight, axis=0).groupby(both["week_on"]).sum()
    out = (summed / known.where(known > 0)).reset_index()
    return out.assign(week_on=pd.to_datetime(out["week_on"]))


def _regions(con: duckdb.DuckDBPyConnection, scope: Scope) -> list[str]:
    """Regions with weeks of their own; none where there is only one, or the scope is one."""
    if scope.region is not None:
        return []
    rows = con.execute("SELECT DISTINCT region FROM fault_week WHERE region IS NOT NULL ORDER BY region").fetchall()
    return [name for (name,) in rows] if len(rows) > 1 else []


def _by_region(
    con: duckdb.DuckDBPyConnection, scope: Scope, settings: Any, family: str, names: list[str],
    rng: np.random.Generator,
) -> pd.DataFrame:  # fmt: skip
    rows: list[tuple[Any, ...]] = []
    for name in names:
        weeks = weekly(con, replace(scope, region=name), settings, family)
        n_faults = int(weeks["n_faults"].sum())
        if weeks.empty or weeks["n_appliances"].sum() == 0:
            rows.append((name, n_faults, None, None, None, None, None, _no_rate(weeks)))
            continue
        fit = fit_seasonal(weeks["n_faults"], weeks["n_appliances"], weeks["day_of_year"], weeks["season"], rng=rng)
        peak = fit.peak_day
        ratio = fit.peak_to_trough.value if fit.is_claimed else None
        rows.append((name, n_faults, peak.value, peak.low, peak.high, ratio, fit.p_value, _sentence(family, fit)))
    out = pd.DataFrame(rows, columns=list(REGION_COLUMNS))
    return out.astype({"n_faults": "int64", **dict.fromkeys(REGION_COLUMNS[2:7], "float64")})


def _season(family: str, weeks: pd.DataFrame, rng: np.random.Generator, by_region: pd.DataFrame) -> Season:
    by_month = _by_month(weeks)
    if weeks.empty or weeks["n_appliances"].sum() == 0:
        none = unknown(_no_rate(weeks), method=METHOD)
        return _unclaimed(family, by_month, none, none.sentence, by_region)
    fit = fit_seasonal(weeks["n_faults"], weeks["n_appliances"], weeks["day_of_year"], weeks["season"], rng=rng)
    if fit.coefficients.size == 0:
        return _unclaimed(family, by_month, fit.peak_day, fit.reason, by_region)
    return Season(
        family=family,
        by_month=by_month,
        peak_day=fit.peak_day,
        peak_to_trough=fit.peak_to_trough,
        p_value=fit.p_value,
        n_harmonics=fit.n_harmonics,
        dispersion=fit.dispersion,
        curve=_curve(fit),
        weather=weather_beside_season(weeks, fit, rng),
        outlook=outlook(weeks, fit),
        outlook_skill=outlook_skill(weeks, rng),
        sentence=_sentence(family, fit),
        is_claimed=fit.is_claimed,
        by_region=by_region,
    )


def _no_rate(weeks: pd.DataFrame) -> str:
    """Why no rate can be given: no week, faults without an appliance to count them against, or neither."""
    if weeks.empty:
        return "No whole week is on record yet."
    n = int(weeks["n_faults"].sum())
    if not n:
        return "No fault of this family and no appliance is on record yet."
    return f"{numeral(n)} fault{'s' if n > 1 else ''}, but no appliance on record to count them against."


def _unclaimed(
    family: str, by_month: list[dict[str, Any]], none: Estimate, why: str, by_region: pd.DataFrame
) -> Season:
    curve = pd.DataFrame(columns=["day_of_year", "rate", "low", "high"], dtype=float)
    frame = pd.DataFrame(columns=OUTLOOK_COLUMNS)
    return Season(family, by_month, none, none, None, None, None, curve, {}, frame, {}, why, False, by_region)


def _by_month(weeks: pd.DataFrame) -> list[dict[str, Any]]:
    """Months by the middle of the week, with exact Poisson limits."""
    month = (weeks["week_on"] + pd.Timedelta(days=3)).dt.month
    grouped = weeks.groupby(month)[["n_faults", "n_appliances"]].sum().reindex(range(1, 13), fill_value=0.0)
    count, exposure = grouped["n_faults"].to_numpy(), grouped["n_appliances"].to_numpy()
    low, high = poisson_limits(count)
    out = []
    for i in range(12):
        has = exposure[i] > 0
        rates = [1000 * float(x) / exposure[i] if has else None for x in (count[i], low[i], high[i])]
        out.append(
            {
                "month": i + 1,
                "n_faults": int(count[i]),
                "n_appliance_weeks": int(exposure[i]),
                "rate_per_1000": rates[0],
                "low": rates[1],
                "high": rates[2],
            }
        )
    return out


def _curve(fit: SeasonalFit) -> pd.DataFrame:
    day = np.arange(1, 366)
    rate, low, high = fit.curve(day)
    return pd.DataFrame({"day_of_year": day, "rate": 1000 * rate, "low": 1000 * low, "high": 1000 * high})


def _sentence(family: str, fit: SeasonalFit) -> str:
    if not fit.is_claimed or fit.peak_day.value is None:
        return fit.reason or fit.peak_day.sentence
    day, low, high = fit.peak_day.value, fit.peak_day.low, fit.peak_day.high
    words = f"{family.capitalize()} faults peak around {_date_words(day)}"
    if low is not None and high is not None:
        words += f" (between {_date_words(low)} and {_date_words(high)})"
    ratio = fit.peak_to_trough
    return f"{words}, with {numeral(ratio.value, '.1f')} times as many as at the low." if ratio.value else f"{words}."


def _date_words(day_of_year: float) -> str:
    moment = pd.Timestamp(2025, 1, 1) + pd.Timedelta(days=min(max(day_of_year, 1.0), 365.0) - 1)
    return f"{moment.day} {moment:%B}"
