"""What is missing: how often each field is, and how far a range would shrink with it."""

from __future__ import annotations

import altair as alt
import pandas as pd

from dashboard.charts.picture import MARK, Picture, finished
from dashboard.theme import Palette


def missing_fields(fields: pd.DataFrame, colours: Palette) -> Picture | None:
    """A bar per field and a mark where a range would shrink; None without a case.

    fields: title, share (missing, 0..1), n_missing, n_cases, gain (0..1 or NaN), in the order they are drawn.
    """
    frame = fields[fields["n_cases"] > 0].copy()
    if frame.empty:
        return None
    frame[MARK] = frame["title"]
    y = alt.Y("title:N", sort=frame["title"].tolist(), axis=alt.Axis(title=None, labelLimit=260, ticks=False))
    x = alt.X("share:Q", scale=alt.Scale(domain=[0, 1]), axis=alt.Axis(title="share", format="%", tickCount=6))
    base = alt.Chart(frame)
    tooltip = [
        alt.Tooltip("title:N", title="field"),
        alt.Tooltip("share:Q", title="missing", format=".1%"),
        alt.Tooltip("n_missing:Q", title="missing on", format=","),
        alt.Tooltip("n_cases:Q", title="of", format=","),
        alt.Tooltip("gain:Q", title="a range would shrink by", format=".1%"),
    ]
    kinds = ["missing (bar)", "a range would shrink by (diamond)"]
    # Marks that are not there would stand in the legend, and be a picture without a name to who hears the page.
    is_any_drawn = frame["gain"].notna().any()
    scale = alt.Scale(domain=kinds if is_any_drawn else kinds[:1], range=[colours.main, colours.other])
    bars = (
        base.transform_calculate(what=f"'{kinds[0]}'")
        .mark_bar(opacity=0.45, size=15)
        .encode(
            x=x, y=y, color=alt.Color("what:N", scale=scale, legend=alt.Legend(symbolType="square")), tooltip=tooltip
        )
    )
    marks = (
        base.transform_filter("isValid(datum.gain)")
        .transform_calculate(what=f"'{kinds[1]}'")
        .mark_point(shape="diamond", size=95, filled=True, opacity=1)
        .encode(x=alt.X("gain:Q"), y=y, color=alt.Color("what:N", scale=scale), tooltip=tooltip)
    )
    text = "Per field the share missing, and by how much the range it would narrow most would shrink: " + "; ".join(
        f"{row.title} {row.share:.0%} missing, "
        + (f"{row.gain:.0%}" if row.gain == row.gain else "shrinking not known")
        for row in frame.itertuples()
    )
    layers = bars + marks if is_any_drawn else alt.layer(bars)
    return finished(layers, text + ".", colours, 34 * len(frame) + 80, marks=0, is_nearest=False)
