"""How the share that came back grows with the days after a swap."""

from __future__ import annotations

import altair as alt
import pandas as pd

from dashboard.charts.picture import Picture, finished, share_axis
from dashboard.theme import Palette
from dashboard.words import share

GROUPS = {"without_cause": "without a root cause", "with_cause": "with a root cause"}


def callback_curve(curve: pd.DataFrame, colours: Palette, last_day: int = 90) -> Picture | None:
    """Two step lines, told apart by dash and by a label at their end; None when neither group has a curve.

    curve: days, group ('with_cause' | 'without_cause'), value = share that came back by then.
    """
    frame = curve[(curve["days"] <= last_day) & curve["group"].isin(GROUPS) & curve["value"].notna()].copy()
    if frame.empty:
        return None
    frame["group"] = frame["group"].map(GROUPS)
    ends = frame.sort_values("days").groupby("group").tail(1).copy()
    ends["label"] = [f"{name}: {share(value)}" for name, value in zip(ends["group"], ends["value"], strict=True)]
    # Carry each line on to the end of the axis, as the share stands until something more comes back.
    frame = pd.concat([frame, ends.assign(days=last_day)[["days", "group", "value"]]]).sort_values(["group", "days"])
    domain = list(GROUPS.values())
    colour = alt.Color("group:N", scale=alt.Scale(domain=domain, range=[colours.other, colours.main]), legend=None)
    x = alt.X(
        "days:Q",
        scale=alt.Scale(domain=[0, last_day]),
        axis=alt.Axis(
            title="days after the job was declared complete", values=[0, 7, 14, 30, 60, 90], labelOverlap="greedy"
        ),
    )
    top = max(float(frame["value"].max()) * 1.18, 0.05)
    y = alt.Y("value:Q", scale=alt.Scale(domain=[0, min(top, 1)]), axis=share_axis("share that came back"))
    lines = (
        alt.Chart(frame)
        .mark_line(interpolate="step-after", strokeWidth=2.2)
        .encode(
            x=x,
            y=y,
            color=colour,
            strokeDash=alt.StrokeDash("group:N", scale=alt.Scale(domain=domain, range=[[1, 0], [6, 4]]), legend=None),
            tooltip=[
                alt.Tooltip("group:N", title="swaps"),
                alt.Tooltip("days:Q"),
                alt.Tooltip("value:Q", title="came back", format=".1%"),
            ],
        )
    )
    labels = (
        alt.Chart(ends.assign(days=last_day))
        .mark_text(align="right", dy=-9, dx=-2, fontWeight=600)
        .encode(x=x, y=y, text="label:N", color=colour)
    )
    text = f"Share that came back within {last_day} days of a swap: " + "; ".join(ends["label"]) + "."
    return finished(lines + labels, text, colours, 270)
