"""A weekly share with its limits."""

from __future__ import annotations

import altair as alt
import pandas as pd

from dashboard.charts.picture import MARK, Picture, finished, share_axis
from dashboard.theme import Palette
from dashboard.words import date, plural, share

# The newest weeks that are drawn; the page says so where there are more.
WEEKS_SHOWN = 104
STATES = ("within its limits", "outside its limits", "too young to judge")

# Dates below the picture.
TICKS = 8


def _ticks(week_on: pd.Series) -> list[alt.DateTime]:
    """At most TICKS days on which a week of the chart starts; the library's own would be Sundays and firsts of months."""
    days = pd.date_range(week_on.min(), week_on.max(), freq="7D")
    return [alt.DateTime(year=day.year, month=day.month, date=day.day) for day in days[:: -(-len(days) // TICKS)]]


def control_chart(weeks: pd.DataFrame, title: str, colours: Palette, weeks_shown: int = WEEKS_SHOWN) -> Picture | None:
    """The share per week with centre line and limits; None when no week has a case.

    weeks: week_on, n, count, share, centre, lower, upper, is_signal, is_mature (models.figures.control).
    Weeks outside their limits are marked by shape as well as colour; weeks still too young are drawn open.
    """
    frame = weeks.tail(weeks_shown).copy()
    frame = frame.astype({name: float for name in ("share", "centre", "lower", "upper")})
    if frame["share"].notna().sum() == 0:
        return None
    frame["week_on"] = pd.to_datetime(frame["week_on"])
    frame[MARK] = [day.date().isoformat() for day in frame["week_on"]]
    signal = frame["is_signal"].fillna(False).astype(bool) & frame["share"].notna()
    mature = frame["is_mature"].fillna(False).astype(bool)
    frame["state"] = STATES[0]
    frame.loc[signal, "state"] = STATES[1]
    frame.loc[~mature, "state"] = STATES[2]
    top = min(1.0, max(frame[["share", "upper"]].max().max() * 1.08, 0.05))
    axis = alt.Axis(
        title="week starting",
        format="%-d %b %Y",
        labelAngle=0,
        labelOverlap=True,
        labelSeparation=14,
        values=_ticks(frame["week_on"]),
    )
    week = alt.X("week_on:T", axis=axis)
    scale = alt.Scale(domain=[0, top], nice=False, clamp=True)
    base = alt.Chart(frame)
    band = base.mark_area(interpolate="step", color=colours.main, opacity=0.13).encode(
        x=week, y=alt.Y("lower:Q", scale=scale, axis=share_axis(title)), y2="upper:Q"
    )
    centre = base.mark_line(interpolate="step", color=colours.quiet, strokeDash=[5, 4], strokeWidth=1.2).encode(
        x=week, y="centre:Q"
    )
    line = base.mark_line(color=colours.aside, strokeWidth=1).encode(x=week, y="share:Q")
    dots = (
        base.transform_filter("isValid(datum.share)")
        .mark_point(opacity=1, strokeWidth=1.5)
        .encode(
            x=week,
            y="share:Q",
            # Weeks with few cases are drawn small: they say little. Outside the limits the shape must be told at a glance.
            size=alt.when(alt.datum.state == STATES[1])
            .then(alt.value(80))
            .otherwise(alt.Size("n:Q", scale=alt.Scale(type="sqrt", rangeMin=12, rangeMax=64), legend=None)),
            shape=alt.Shape(
                "state:N", scale=alt.Scale(domain=STATES, range=["circle", "diamond", "circle"]), title=None
            ),
            fill=alt.Fill(
                "state:N",
                scale=alt.Scale(domain=STATES, range=[colours.main, colours.alert, colours.paper]),
                title=None,
            ),
            stroke=alt.Stroke(
                "state:N",
                scale=alt.Scale(domain=STATES, range=[colours.main, colours.alert, colours.aside]),
                title=None,
            ),
            tooltip=[
                alt.Tooltip("week_on:T", title="week starting", format="%-d %b %Y"),
                alt.Tooltip("share:Q", title=title, format=".1%"),
                alt.Tooltip("count:Q", title="counted"),
                alt.Tooltip("n:Q", title="out of"),
                alt.Tooltip("lower:Q", title="lower limit", format=".1%"),
                alt.Tooltip("upper:Q", title="upper limit", format=".1%"),
            ],
        )
    )
    last = frame[frame["share"].notna()].iloc[-1]
    text = (
        f"{title}, by week, {date(frame['week_on'].min())} to {date(frame['week_on'].max())}. "
        f"Last week with cases {date(last['week_on'])}: {share(last['share'])} of {plural(last['n'], 'case')}. "
        f"{plural(int((signal & mature).sum()), 'week')} outside the limits."
    )
    return finished(alt.layer(band, centre, line, dots), text, colours, 270, marks=3)
