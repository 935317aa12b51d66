"""What swaps of good switches cost, by month."""

from __future__ import annotations

import altair as alt
import pandas as pd

from dashboard.charts.picture import MARK, Picture, finished
from dashboard.theme import Palette
from dashboard.words import money, plural

# The newest months that are drawn; the page says so where there are more.
MONTHS_SHOWN = 24
KINDS = ("known: the bench found it good", "estimated: no clear test")


def waste_by_month(
    by_month: pd.DataFrame, currency: str, colours: Palette, months_shown: int = MONTHS_SHOWN
) -> Picture | None:
    """Known and estimated waste stacked by month, with the range of the whole; None when there is no amount.

    by_month: month_on, known, estimated, low, high (range of the estimated part).
    """
    frame = by_month.tail(months_shown).copy()
    if frame.empty or frame[["known", "estimated"]].notna().sum().sum() == 0:
        return None
    frame["month_on"] = pd.to_datetime(frame["month_on"])
    for name in ("known", "estimated", "low", "high"):
        frame[name] = frame[name].astype(float)
    frame["from"], frame["to"] = frame["known"].fillna(0) + frame["low"], frame["known"].fillna(0) + frame["high"]
    long = frame.melt(["month_on"], ["known", "estimated"], "kind", "amount").dropna()
    long["place"] = long["kind"].map({"known": 0, "estimated": 1})
    long[MARK] = long["month_on"].dt.strftime("%Y-%m ") + long["kind"]
    long["kind"] = long["kind"].map(dict(zip(("known", "estimated"), KINDS, strict=True)))
    x = alt.X(
        "yearmonth(month_on):O",
        axis=alt.Axis(title="month", format="%b %y", labelAngle=0, labelOverlap=True, labelSeparation=8),
    )
    bars = (
        alt.Chart(long)
        .mark_bar(strokeWidth=1.2, width=alt.RelativeBandSize(band=0.72))
        .encode(
            x=x,
            y=alt.Y("amount:Q", axis=alt.Axis(title=f"cost of swaps of good switches, {currency}", format=",.0f")),
            order="place:Q",
            fill=alt.Fill("kind:N", scale=alt.Scale(domain=KINDS, range=[colours.other, colours.panel]), title=None),
            stroke=alt.Stroke(
                "kind:N", scale=alt.Scale(domain=KINDS, range=[colours.other, colours.other]), title=None
            ),
            tooltip=[
                alt.Tooltip("month_on:T", title="month", format="%B %Y"),
                alt.Tooltip("kind:N", title="waste"),
                alt.Tooltip("amount:Q", title=currency, format=",.0f"),
            ],
        )
    )
    ranged = frame.dropna(subset=["from", "to"])
    whiskers = alt.Chart(ranged).mark_rule(color=colours.ink, strokeWidth=1.4).encode(x=x, y="from:Q", y2="to:Q")
    text = (
        f"Cost of swaps of good switches over {plural(len(frame), 'month')}: "
        f"known {money(frame['known'].sum(), currency)}, "
        f"estimated {money(frame['estimated'].sum(), currency)}."
    )
    return finished(alt.layer(bars, whiskers), text, colours, 280, marks=0, is_nearest=False)
