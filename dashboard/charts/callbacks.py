"""How the share that came back grows with the days after a swap."""

from __future__ import annotations

from collections.abc import Sequence

import altair as alt
import pandas as pd

from dashboard.charts.picture import MARK, Picture, finished, share_axis
from dashboard.theme import Palette
from dashboard.words import share
from pipelines.settings import Settings

GROUPS = {"without_cause": "without a root cause", "with_cause": "with a root cause"}
# Days after the job at which each line has a mark that opens what came back by then, where the settings name no others.
MARK_DAYS = Settings().callback_windows


def mark_of(group: str, days: int) -> str:
    """The name of a mark. group: a key of GROUPS; days: after the job."""
    return f"{group} {days}"


def callback_curve(
    curve: pd.DataFrame, colours: Palette, days: Sequence[int] = MARK_DAYS, last_day: int = 90
) -> Picture | None:
    """Two step lines with a mark at each of these days up to the last, told apart by dash and by a label at their end; None without a curve.

    curve: days, group ('with_cause' | 'without_cause'), value = share that came back by then.
    """
    frame = curve[(curve["days"] <= last_day) & curve["group"].isin(GROUPS) & curve["value"].notna()].copy()
    if frame.empty:
        return None
    dots = _dots(frame, [day for day in days if day <= last_day])
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
            title="days after the job was declared complete",
            values=sorted({0, *(day for day in days if day <= last_day), last_day}),
            labelOverlap="greedy",
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
    marked = (
        alt.Chart(dots)
        .mark_point(filled=True, size=46, opacity=1)
        .encode(
            x=x,
            y=y,
            color=colour,
            tooltip=[
                alt.Tooltip("group:N", title="swaps"),
                alt.Tooltip("days:Q", title="within days"),
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
    return finished(alt.layer(lines, labels, marked), text, colours, 270, marks=2)


def _dots(frame: pd.DataFrame, marked: Sequence[int]) -> pd.DataFrame:
    """Each group's share at these days: as it stood at the last change until then, nothing before the first."""
    lines = []
    for group, part in frame.sort_values("days").groupby("group"):
        for days in marked:
            before = part[part["days"] <= days]
            value = float(before["value"].iloc[-1]) if len(before) else 0.0
            lines.append({MARK: mark_of(str(group), days), "group": GROUPS[str(group)], "days": days, "value": value})
    return pd.DataFrame(lines, columns=[MARK, "group", "days", "value"])
