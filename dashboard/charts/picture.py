"""A chart with its text alternative, drawn in our own look."""

from __future__ import annotations

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


def share_axis(title: str, **more: Any) -> alt.Axis:
    """An axis for proportions in [0, 1], labelled in percent."""
    return alt.Axis(title=title, format="%", tickCount=6, **more)
