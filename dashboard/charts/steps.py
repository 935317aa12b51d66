"""Steps of the diagnosis: how often each was done, by one person and by the others."""

from __future__ import annotations

import altair as alt
import pandas as pd

from dashboard.charts.picture import MARK, Picture, finished
from dashboard.theme import Palette


def step_rates(steps: pd.DataFrame, colours: Palette, name: str | None = None) -> Picture | None:
    """A bar per step for the company, and a mark for one person where given; None when no step has a rate.

    steps: step, rate (company, 0..1), own (the person's rate, may be missing), n, n_own.
    """
    frame = steps[steps["rate"].notna()].copy()
    if frame.empty:
        return None
    frame[MARK] = frame["step"]
    order = frame["step"].tolist()
    y = alt.Y("step:N", sort=order, axis=alt.Axis(title=None, labelLimit=260, ticks=False))
    x = alt.X(
        "rate:Q",
        scale=alt.Scale(domain=[0, 1]),
        axis=alt.Axis(title="share of swaps with the step done", format="%", values=[0, 0.25, 0.5, 0.75, 1]),
    )
    base = alt.Chart(frame)
    bars = base.mark_bar(color=colours.main, opacity=0.28, size=16).encode(
        x=x,
        y=y,
        tooltip=[
            "step:N",
            alt.Tooltip("rate:Q", title="company", format=".0%"),
            alt.Tooltip("n:Q", title="swaps", format=","),
        ],
    )
    labels = base.mark_text(align="left", dx=5, color=colours.quiet).encode(
        x=x, y=y, text=alt.Text("rate:Q", format=".0%")
    )
    text = "Share of swaps with the step done: " + "; ".join(
        f"{step} {rate:.0%}" for step, rate in frame[["step", "rate"]].itertuples(index=False)
    )
    if name is None or "own" not in frame or frame["own"].isna().all():
        return finished(bars + labels, text + ".", colours, 34 * len(frame) + 62, marks=0, is_nearest=False)
    own = alt.Chart(frame[frame["own"].notna()])
    kinds = [f"{name}", "all technicians (bar)"]
    marks = (
        own.transform_calculate(who=f"'{kinds[0].replace(chr(39), '’')}'")
        .mark_point(shape="diamond", size=95, filled=True, opacity=1, color=colours.other)
        .encode(
            x=alt.X("own:Q"),
            y=y,
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
    return finished(bars + marks, text + ".", colours, 34 * len(frame) + 62, marks=1)
