"""Figures side by side, each with its range; in the order given, never ranked."""

from __future__ import annotations

import altair as alt
import pandas as pd

from dashboard.charts.picture import LOWERED, MARK, ROW_HEIGHT, Picture, finished, named_rows, names_above
from dashboard.theme import Palette
from dashboard.words import plural


def ranges(
    frame: pd.DataFrame,
    label: str,
    title: str,
    colours: Palette,
    *,
    format: str = ".0%",
    reference: float | None = None,
    reference_name: str = "",
    n: str = "n_swaps",
    n_title: str = "swaps",
) -> Picture | None:
    """A dot and its range per row; None when no row has a value.

    frame: columns `label`, value, low, high and `n`. reference: a rule to compare with, such as the company's.
    """
    known = frame[frame["value"].notna()].copy()
    if known.empty:
        return None
    known[label] = known[label].astype(object).where(known[label].notna(), "not recorded")
    known[MARK] = known[label].astype(str)
    known["shown"] = known[label].astype(str).str.slice(0, 40)
    known = known.astype({"value": float, "low": float, "high": float})
    top = float(known[["value", "high"]].max().max())
    end = 1.0 if format.endswith("%") and top > 0.6 else top * 1.08 or 1.0
    y = named_rows("shown", known["shown"].tolist(), 220)
    x = alt.X(
        "value:Q",
        scale=alt.Scale(domain=[min(0.0, float(known["low"].min())), end]),
        axis=alt.Axis(title=title, format=format, tickCount=8),
    )
    base = alt.Chart(known)
    lines = base.mark_rule(color=colours.main, strokeWidth=3, opacity=0.45, yOffset=LOWERED).encode(
        y=y, x=alt.X("low:Q"), x2="high:Q"
    )
    dots = base.mark_point(color=colours.main, filled=True, size=60, opacity=1, yOffset=LOWERED).encode(
        y=y,
        x=x,
        tooltip=[
            alt.Tooltip(f"{label}:N"),
            alt.Tooltip("value:Q", title=title, format=format),
            alt.Tooltip("low:Q", title="range from", format=format),
            alt.Tooltip("high:Q", title="range to", format=format),
            alt.Tooltip(f"{n}:Q", title=n_title, format=","),
        ],
    )
    layers = [lines, dots]
    text = f"{title}, with its range, for {plural(len(known), 'row')}: " + "; ".join(
        f"{name} {value:{format}} ({low:{format}} to {high:{format}})"
        for name, value, low, high in known[["shown", "value", "low", "high"]].head(12).itertuples(index=False)
    )
    if reference is not None:
        rule = alt.Chart(pd.DataFrame({"at": [reference], "name": [f"{reference_name} {reference:{format}}"]}))
        layers.append(rule.mark_rule(color=colours.quiet, strokeDash=[5, 4]).encode(x="at:Q"))
        layers.append(
            rule.mark_text(align="left", dx=5, baseline="bottom", color=colours.quiet).encode(
                x="at:Q", y=alt.value(0), text="name:N"
            )
        )
        text += f". {reference_name} {reference:{format}}"
    layers.append(names_above(base, "shown", y, colours))
    return finished(alt.layer(*layers), text + ".", colours, ROW_HEIGHT * len(known) + 70, marks=1)
