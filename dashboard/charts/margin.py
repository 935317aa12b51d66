"""Draft at the switch over the visits to one site, against the make point."""

from __future__ import annotations

import altair as alt
import pandas as pd

from dashboard.charts.picture import MARK, Picture, finished
from dashboard.theme import Palette
from dashboard.words import date, number, plural
from models.figures.sites import draft_unit


def draft_margin(readings: pd.DataFrame, colours: Palette, unit: str | None = None) -> Picture | None:
    """Draft margin per reading, one line per appliance; None when there is no reading with a known make point.

    readings: arrived_on, appliance, draft_pa, make_pa, margin_pa, visit_id. unit: 'Pa' draws pascal, else in. w.c.
    """
    frame = readings[readings["margin_pa"].notna()].copy()
    if frame.empty:
        return None
    frame["arrived_on"] = pd.to_datetime(frame["arrived_on"])
    frame[MARK] = frame["visit_id"].astype(str)
    name, per, digits = draft_unit(unit)
    frame["margin"] = frame["margin_pa"].astype(float) / per
    x = alt.X(
        "arrived_on:T",
        axis=alt.Axis(
            title="date of the visit", format="%b %Y", labelAngle=0, tickCount=6, labelOverlap=True, labelSeparation=14
        ),
    )
    y = alt.Y("margin:Q", axis=alt.Axis(title=f"draft above the make point, {name}"), scale=alt.Scale(zero=True))
    base = alt.Chart(frame)
    detail = alt.Shape("appliance:N", title=None, legend=None if frame["appliance"].nunique() == 1 else alt.Legend())
    line = base.mark_line(color=colours.main, strokeWidth=1.4, opacity=0.7).encode(x=x, y=y, detail="appliance:N")
    dots = base.mark_point(color=colours.main, filled=True, size=60, opacity=1).encode(
        x=x,
        y=y,
        shape=detail,
        tooltip=[
            alt.Tooltip("arrived_on:T", title="date", format="%-d %b %Y"),
            alt.Tooltip("visit_id:N", title="visit"),
            alt.Tooltip("appliance:N"),
            alt.Tooltip("margin:Q", title=f"above the make point, {name}", format=f".{digits}f"),
        ],
    )
    zero = alt.Chart(pd.DataFrame({"at": [0.0], "name": ["rated make point"]}))
    rule = zero.mark_rule(color=colours.alert, strokeDash=[6, 4]).encode(y="at:Q")
    words = zero.mark_text(align="left", dy=10, color=colours.quiet).encode(y="at:Q", x=alt.value(6), text="name:N")
    first, last = frame.iloc[0], frame.iloc[-1]
    text = (
        f"Draft above the make point over {plural(len(frame), 'reading')}, "
        f"from {number(first['margin'], digits)} {name} on {date(first['arrived_on'])} "
        f"to {number(last['margin'], digits)} {name} on {date(last['arrived_on'])}."
    )
    return finished(alt.layer(rule, words, line, dots), text, colours, 240, marks=3)
