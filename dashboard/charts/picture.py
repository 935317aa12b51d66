"""A chart with its text alternative, drawn in our own look."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import altair as alt

from dashboard.theme import Palette, chart_config


@dataclass(frozen=True)
class Picture:
    """chart: ready to draw. text: what it shows, for readers who do not see it.

    marks: which of the chart's layers holds the marks that open their visits, each named in its column MARK; None = none.
    is_nearest: whether a click beside a small mark counts for the nearest one.
    """

    chart: Any
    text: str
    marks: int | None = None
    is_nearest: bool = True


# The column that names a mark.
MARK = "mark"
# Asked of the place the chart stands in: its own width changes with what is written beside its axis. A file has no such
# place and is wide.
IS_NARROW = "(width > 0 && containerSize()[0] < 480)"
# How far bars and marks move down from the middle of their row where its name stands above them, in pixels.
LOWERED = alt.expr(f"{IS_NARROW} ? 7 : 0")
ROW_HEIGHT = 38


def finished(
    chart: Any,
    text: str,
    colours: Palette,
    height: int | None = 300,
    marks: int | None = None,
    is_nearest: bool = True,
) -> Picture:
    """The chart in our look. height: in pixels, or None for charts that set their own. marks, is_nearest: see Picture."""
    if height is not None:
        chart = chart.properties(height=height)
    return Picture(
        chart.properties(width="container", padding={"left": 4, "right": 12, "top": 6, "bottom": 4}).configure(
            **chart_config(colours)
        ),
        text,
        marks,
        is_nearest,
    )


def named_rows(column: str, order: Sequence[str], limit: int = 260) -> alt.Y:
    """One row a name, the names beside it; where the page is narrow they are left to `names_above`."""
    axis = alt.Axis(
        title=None, ticks=False, labelPadding=9, labelLimit=limit, labelExpr=f"{IS_NARROW} ? '' : datum.label"
    )
    return alt.Y(f"{column}:N", sort=list(order), axis=axis)


def names_above(base: alt.Chart, column: str, y: alt.Y, colours: Palette) -> alt.Chart:
    """The names above their rows where the page is narrow, so that the picture keeps its width. To be drawn last.

    base: of the same rows. What is in the rows is moved down by LOWERED, and they are ROW_HEIGHT high.
    """
    return (
        base.transform_calculate(name_above=f"{IS_NARROW} ? datum['{column}'] : ''")
        .mark_text(align="left", baseline="bottom", dy=-4, color=colours.quiet)
        .encode(x=alt.value(3), y=y, text="name_above:N")
    )


def share_axis(title: str, **more: Any) -> alt.Axis:
    """An axis for proportions in [0, 1], labelled in percent."""
    return alt.Axis(title=title, format="%", tickCount=6, **more)
