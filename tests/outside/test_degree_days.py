"""Heating degree days of Central Park, 2016, against NOAA's own monthly totals.

NOAA/NWS daily record and NOAA GSOM of station USW00094728 (see tests/data/SOURCES.md): published, and read from the
files. NOAA keeps temperatures to a tenth of a degree Celsius; whether the base is 18.3 C or 65 F exactly moves a year
by 7 degree days. Tolerance: 0.2 % of the year, 1.5 degree days C a month. Rounding each day's mean to whole degrees
Fahrenheit would be off by 27, a base of 18 C by more than 70.
"""

from __future__ import annotations

import csv
from datetime import datetime
from pathlib import Path

import duckdb
import pytest

from pipelines.build import build
from pipelines.contract.ddl import create_delivered
from pipelines.settings import Settings

DATA = Path(__file__).parents[1] / "data"
NOAA_2016_C_DAYS = 2388.9


@pytest.fixture(scope="module")
def con():
    """The daily record in the store, degree days by the real relation."""
    connection = duckdb.connect()
    create_delivered(connection)
    with (DATA / "central_park_daily_2016.csv").open(encoding="utf-8") as file:
        for row in csv.DictReader(file):
            day = datetime.strptime(row["date"], "%d/%m/%Y").date()
            low, high = ((float(row[f"{end} temperature"]) - 32) / 1.8 for end in ("minimum", "maximum"))
            connection.execute(
                "INSERT INTO delivered.weather_days (weather_station_id, day_on, min_temperature_c, max_temperature_c) "
                "VALUES ('USW00094728', ?, ?, ?)",
                [day, low, high],
            )
    build(connection, Settings())
    return connection


def noaa_months() -> dict[int, float]:
    """Degree days (C) of each month of 2016: differences of NOAA's season-to-date totals, which begin anew in July."""
    with (DATA / "central_park_monthly_2015_2016.csv").open(encoding="utf-8") as file:
        so_far = {row["DATE"]: float(row["HDSD"]) for row in csv.DictReader(file)}
    months = [f"2016-{month:02d}" for month in range(1, 13)]
    before = ["2015-12", *months[:-1]]
    return {
        number: so_far[month] - (0 if month.endswith("-07") else so_far[last])
        for number, (month, last) in enumerate(zip(months, before, strict=True), start=1)
    }


def test_the_year_agrees_with_noaa(con):
    assert sum(noaa_months().values()) == pytest.approx(NOAA_2016_C_DAYS, abs=0.05)
    total = con.execute("SELECT sum(heating_degree_days_c), count(*) FROM weather_day").fetchone()
    assert total[1] == 366
    assert total[0] == pytest.approx(NOAA_2016_C_DAYS, rel=0.002)


def test_every_month_agrees_with_noaa(con):
    ours = dict(con.execute("SELECT month(day_on), sum(heating_degree_days_c) FROM weather_day GROUP BY 1").fetchall())
    for month, theirs in noaa_months().items():
        assert ours[month] == pytest.approx(theirs, abs=1.5), month
