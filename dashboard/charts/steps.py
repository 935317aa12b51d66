"""Steps of the diagnosis: how often each was done, by one person and by the others."""

from __future__ import annotations

import json

import altair as alt
import pandas as pd

from dashboard.charts.picture import LOWERED, MARK, ROW_HEIGHT, Picture, finished, named_rows, names_above
from dashboard.theme import Palette


def step_rates(steps: pd.DataFrame, colours: Palette, name: str | None = None) -> Picture | None:
    """A bar per step for the company, and a mark for one person where given; None when no step has a rate.

    steps: step, rate (company, 0..1), own (the person's rate, may be missing), n, n_own.
    """
    frame = steps[steps["rate"].notna()].copy()
    if frame.empty:
        return None
    frame[MARK] = frame["step"]
    y = named_rows("step", frame["step"].tolist())
    x = alt.X(
        "rate:Q",
        scale=alt.Scale(domain=[0, 1]),
        axis=alt.Axis(title="share of swaps with the step done", format="%", values=[0, 0.25, 0.5, 0.75, 1]),
    )
    base = alt.Chart(frame)
    bars = base.mark_bar(
        color=colours.main, fillOpacity=0.28, stroke=colours.main, strokeWidth=1, size=14, yOffset=LOWERED
    ).encode(
        x=x,
        y=y,
        tooltip=[
            "step:N",
            alt.Tooltip("rate:Q", title="company", format=".0%"),
            alt.Tooltip("n:Q", title="swaps", format=","),
        ],
    )
    labels = base.mark_text(align="left", dx=5, dy=LOWERED, color=colours.quiet).encode(
        x=x, y=y, text=alt.Text("rate:Q", format=".0%")
    )
    text = "Share of swaps with the step done: " + "; ".join(
        f"{step} {rate:.0%}" for step, rate in frame[["step", "rate"]].itertuples(index=False)
    )
    # What the axis takes, and the legend.
    height = ROW_HEIGHT * len(frame) + 60
    if name is None or "own" not in frame or frame["own"].isna().all():
        layers = alt.layer(bars, labels, names_above(base, "step", y, colours))
        return finished(layers, text + ".", colours, height, marks=0, is_nearest=False)
    own = alt.Chart(frame[frame["own"].notna()])
    kinds = ["all technicians", name]

    def scaled(*values: str) -> alt.Scale:
        return alt.Scale(domain=kinds, range=list(values))

    marks = (
        own.transform_calculate(who=json.dumps(name))
        .mark_point(size=95, opacity=1, yOffset=LOWERED)
        .encode(
            x=alt.X("own:Q"),
            y=y,
            # The legend shows both as they are drawn: a bar and a diamond.
            shape=alt.Shape("who:N", scale=scaled("square", "diamond"), title=None),
            fill=alt.Fill("who:N", scale=scaled(colours.main, colours.other), title=None),
            stroke=alt.Stroke("who:N", scale=scaled(colours.main, colours.other), title=None),
            tooltip=[
                "step:N",
                alt.Tooltip("own:Q", title=name, format=".0%"),
                alt.Tooltip("n_own:Q", title="swaps", format=","),
            ],
        )
    )
    text += f". {name}: " + "; ".join(
        f"{step} {rate:.0%}" for step, rate in frame.dropna(subset=["own"])[["step", "own"]].itertuples(index=False)
    )
    layers = alt.layer(bars, marks, names_above(base, "step", y, colours))
    return finished(layers, text + ".", colours, height + 45, marks=1)
