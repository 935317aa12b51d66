"""What is missing: how often each field is, and how far a range would shrink with it."""

from __future__ import annotations

import altair as alt
import pandas as pd

from dashboard.charts.picture import LOWERED, MARK, ROW_HEIGHT, Picture, finished, named_rows, names_above
from dashboard.theme import Palette


def missing_fields(fields: pd.DataFrame, colours: Palette) -> Picture | None:
    """A bar per field and a mark where a range would shrink; None without a case.

    fields: title, share (missing, 0..1), n_missing, n_cases, gain (0..1 or NaN), in the order they are drawn.
    """
    frame = fields[fields["n_cases"] > 0].copy()
    if frame.empty:
        return None
    frame[MARK] = frame["title"]
    # With both drawn, the legend says what each is a share of.
    title = "share of cases without the field" if frame["gain"].isna().all() else "share"
    y = named_rows("title", frame["title"].tolist())
    x = alt.X("share:Q", scale=alt.Scale(domain=[0, 1]), axis=alt.Axis(title=title, format="%", tickCount=6))
    base = alt.Chart(frame)
    tooltip = [
        alt.Tooltip("title:N", title="field"),
        alt.Tooltip("share:Q", title="missing", format=".1%"),
        alt.Tooltip("n_missing:Q", title="missing on", format=","),
        alt.Tooltip("n_cases:Q", title="of", format=","),
        alt.Tooltip("gain:Q", title="a range would shrink by", format=".1%"),
    ]
    # Marks that are not there would stand in the legend, and be a picture without a name to who hears the page.
    is_any_drawn = frame["gain"].notna().any()
    bars = base.mark_bar(
        color=colours.main, fillOpacity=0.45, stroke=colours.main, strokeWidth=1, size=13, yOffset=LOWERED
    ).encode(x=x, y=y, tooltip=tooltip)
    kinds = ["missing", "a range would shrink by"]

    def scaled(*values: str) -> alt.Scale:
        return alt.Scale(domain=kinds, range=list(values))

    marks = (
        base.transform_filter("isValid(datum.gain)")
        .transform_calculate(what=f"'{kinds[1]}'")
        .mark_point(size=95, opacity=1, yOffset=LOWERED)
        .encode(
            x=alt.X("gain:Q"),
            y=y,
            # The legend shows both as they are drawn: a bar and a diamond.
            shape=alt.Shape("what:N", scale=scaled("square", "diamond"), title=None),
            fill=alt.Fill("what:N", scale=scaled(colours.main, colours.other), title=None),
            stroke=alt.Stroke("what:N", scale=scaled(colours.main, colours.other), title=None),
            tooltip=tooltip,
        )
    )
    text = "Per field the share missing, and by how much the range it would narrow most would shrink: " + "; ".join(
        f"{row.title} {row.share:.0%} missing, "
        + (f"{row.gain:.0%}" if row.gain == row.gain else "shrinking not known")
        for row in frame.itertuples()
    )
    names = names_above(base, "title", y, colours)
    layers = alt.layer(bars, marks, names) if is_any_drawn else alt.layer(bars, names)
    return finished(layers, text + ".", colours, ROW_HEIGHT * len(frame) + 105, marks=0, is_nearest=False)
