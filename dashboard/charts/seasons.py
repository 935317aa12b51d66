"""The year of a family of faults: by month, by day of the year, and the next weeks."""

from __future__ import annotations

from typing import Any

import altair as alt
import pandas as pd

from dashboard.charts.picture import MARK, Picture, finished
from dashboard.theme import Palette
from dashboard.words import MONTHS, count, date, number

# A short upright line, as a path in a square from -1 to 1.
TICK = "M0,-1L0,1"
# The heating year: July to June, so that the winter stands whole in the middle.
ORDER = [MONTHS[(6 + place) % 12] for place in range(12)]


def year(
    by_month: list[dict[str, Any]], curve: pd.DataFrame, colours: Palette, starts_month: int = 7
) -> Picture | None:
    """Months with their ranges, and the fitted year where a seasonal claim is made; None when no month has a rate.

    by_month: month, n_faults, rate_per_1000, low, high. curve: day_of_year, rate, low, high.
    """
    months = pd.DataFrame(by_month)
    months = months[months["rate_per_1000"].notna()] if "rate_per_1000" in months else months.iloc[0:0]
    if months.empty:
        return None
    months = months.astype({name: float for name in ("rate_per_1000", "low", "high")})
    months["place"] = (months["month"] - starts_month) % 12 + 0.5
    months["zero"] = 0.0
    months["from"], months["to"] = months["place"] - 0.36, months["place"] + 0.36
    months["name"] = [MONTHS[month - 1] for month in months["month"]]
    months[MARK] = months["month"].astype(str)
    labels = " : ".join(
        f"datum.value == {place + 0.5} ? '{MONTHS[(starts_month - 1 + place) % 12]}'" for place in range(12)
    )
    scale = alt.Scale(domain=[0, 12], nice=False)
    axis = alt.Axis(title="month", values=[place + 0.5 for place in range(12)], labelExpr=f"{labels} : ''", ticks=False)
    x = alt.X("place:Q", scale=scale, axis=axis)
    base = alt.Chart(months)
    title = f"faults per {count(1000)} appliances and week"
    # As wide as its month allows, on any width of the page.
    bars = base.mark_bar(color=colours.main, opacity=0.30).encode(
        x=alt.X("from:Q", scale=scale, axis=axis),
        x2="to:Q",
        y2="zero:Q",
        y=alt.Y("rate_per_1000:Q", axis=alt.Axis(title=title)),
        tooltip=[
            alt.Tooltip("name:N", title="month"),
            alt.Tooltip("n_faults:Q", title="faults", format=","),
            alt.Tooltip("rate_per_1000:Q", title=title, format=".2f"),
            alt.Tooltip("low:Q", title="range from", format=".2f"),
            alt.Tooltip("high:Q", title="range to", format=".2f"),
        ],
    )
    whiskers = base.mark_rule(color=colours.main, strokeWidth=1.6).encode(x=x, y="low:Q", y2="high:Q")
    layers = [bars, whiskers]
    if not curve.empty:
        fitted = curve.copy()
        start = sum((31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)[: starts_month - 1])
        fitted["place"] = ((fitted["day_of_year"] - 1 - start) % 365) / 365 * 12
        drawn = alt.Chart(fitted.sort_values("place"))
        layers.append(drawn.mark_area(color=colours.other, opacity=0.16).encode(x=x, y="low:Q", y2="high:Q"))
        layers.append(drawn.mark_line(color=colours.other, strokeWidth=2).encode(x=x, y="rate:Q"))
    most = months.loc[months["rate_per_1000"].idxmax()]
    text = f"{title} by month. Highest in {most['name']}: {number(most['rate_per_1000'], 2)} " + (
        f"({number(most['low'], 2)} to {number(most['high'], 2)})."
        + (" The line is the fitted year." if not curve.empty else "")
    )
    return finished(alt.layer(*layers), text, colours, 260, marks=0, is_nearest=False)


def outlook(weeks: pd.DataFrame, colours: Palette) -> Picture | None:
    """Faults expected in each of the next weeks, with their range, beside the same week last year; None without weeks.

    weeks: week_on, expected, low, high, same_week_last_year.
    """
    frame = weeks[weeks["expected"].notna()].copy() if not weeks.empty else weeks
    if frame.empty:
        return None
    frame["week"] = [date(day) for day in pd.to_datetime(frame["week_on"])]
    order = frame["week"].tolist()
    y = alt.Y("week:N", sort=order, axis=alt.Axis(title="week starting", ticks=False, labelPadding=9))
    axis = alt.Axis(title="faults in the week", tickCount=6, labelOverlap="greedy")
    base = alt.Chart(frame)
    lines = base.mark_rule(color=colours.main, strokeWidth=5, opacity=0.35).encode(
        y=y, x=alt.X("low:Q", axis=axis), x2="high:Q"
    )
    kinds = ("expected", "same week last year")
    # Side by side: in half a page the second line would push the first out of the picture.
    legend = alt.Legend(direction="horizontal", columns=2)
    long = frame.melt(["week", "low", "high"], ["expected", "same_week_last_year"], "kind", "faults")
    long["kind"] = long["kind"].str.replace("_", " ")
    dots = (
        alt.Chart(long[long["faults"].notna()])
        .mark_point(size=70, opacity=1, strokeWidth=1.8)
        .encode(
            y=y,
            x=alt.X("faults:Q", axis=axis, scale=alt.Scale(zero=True)),
            shape=alt.Shape("kind:N", scale=alt.Scale(domain=kinds, range=["circle", TICK]), title=None, legend=legend),
            fill=alt.Fill(
                "kind:N", scale=alt.Scale(domain=kinds, range=[colours.main, colours.paper]), title=None, legend=legend
            ),
            stroke=alt.Stroke(
                "kind:N", scale=alt.Scale(domain=kinds, range=[colours.main, colours.other]), title=None, legend=legend
            ),
            tooltip=[
                "week:N",
                "kind:N",
                alt.Tooltip("faults:Q", format=".0f"),
                alt.Tooltip("low:Q", format=".0f"),
                alt.Tooltip("high:Q", format=".0f"),
            ],
        )
    )
    text = "Faults expected in the next weeks: " + "; ".join(
        f"{week} {number(value, 0)} ({number(low, 0)} to {number(high, 0)})"
        for week, value, low, high in frame[["week", "expected", "low", "high"]].itertuples(index=False)
    )
    return finished(lines + dots, text + ".", colours, 170)
