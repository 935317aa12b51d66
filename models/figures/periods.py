"""The named periods, counted back from the last day on record."""

from __future__ import annotations

import datetime as dt

PERIODS = ("This heating season", "Last heating season", "Last 12 months", "Last 90 days")


def period_dates(
    period: str, first_on: dt.date, last_on: dt.date, season_starts_month: int
) -> tuple[dt.date | None, dt.date | None]:
    """First and last day of a named period; (None, None) for any other name, which means everything."""
    season_year = last_on.year if last_on.month >= season_starts_month else last_on.year - 1
    season_start = dt.date(season_year, season_starts_month, 1)
    spans = {
        "This heating season": (season_start, last_on),
        "Last heating season": (season_start.replace(year=season_year - 1), season_start - dt.timedelta(days=1)),
        "Last 12 months": (last_on - dt.timedelta(days=364), last_on),
        "Last 90 days": (last_on - dt.timedelta(days=89), last_on),
    }
    return spans.get(period, (None, None))
