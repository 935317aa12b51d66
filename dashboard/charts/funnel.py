"""Technicians against how many draft faults they attended, with the limits chance alone would draw."""

from __future__ import annotations

import altair as alt
import numpy as np
import pandas as pd

from dashboard.charts.picture import MARK, Picture, finished, share_axis
from dashboard.theme import Palette
from dashboard.words import plural, share

GROUPS = ("as expected", "look here first", "new starter", "start not known")
# What is drawn or told of a technician.
COLUMNS = (
    "shown_name", "draft_fault_visits", "observed_rate", "expected_rate", "low", "high", "is_flagged", "is_new_starter",
    "is_start_known",
)  # fmt: skip

HEIGHT = 330
# Room a name takes in height, and what the axis and legend take, in pixels.
LABEL_HEIGHT = 17
AXIS_HEIGHT = 80
# With more names than this the picture grows.
FEW_LABELS = 6
# How far a name reaches along the axis, as a share of it, on a phone.
LABEL_REACH = 0.45
# How far a mark reaches, likewise.
MARK_REACH = 0.03
# More names than these would be no picture; all are in the table below it.
MOST_LABELS = 24
# Names are written smaller where the page is narrow, so that none is cut off.
NAME_SIZE = alt.expr("width < 360 ? 10 : 12")
# Ground behind a name, so that what passes below it does not cross its letters.
HALO = 5


def technician_funnel(table: pd.DataFrame, funnel: pd.DataFrame, colours: Palette) -> Picture | None:
    """One mark per technician; None when nobody attended a draft fault.

    table: shown_name, draft_fault_visits, observed_rate (not known: not drawn), expected_rate, value, low, high,
    is_flagged, is_new_starter, is_start_known (all known if the column is missing).
    funnel: n, low_95, high_95, low_998, high_998.
    """
    people = table[table["observed_rate"].notna() & (table["draft_fault_visits"] > 0)].copy()
    if people.empty:
        return None
    # As the reader may see them: all of a chart's columns go to the browser, so under code names neither id nor name may
    # be among them.
    people = people[[name for name in COLUMNS if name in people]].assign(**{MARK: people["shown_name"]})
    people["group"] = GROUPS[0]
    if "is_start_known" in people:
        people.loc[~people["is_start_known"].fillna(False).astype(bool), "group"] = GROUPS[3]
    people.loc[people["is_flagged"].fillna(False).astype(bool), "group"] = GROUPS[1]
    people.loc[people["is_new_starter"].fillna(False).astype(bool), "group"] = GROUPS[2]
    groups = [name for name in GROUPS if (people["group"] == name).any()]
    look = {name: place for place, name in enumerate(GROUPS)}

    def scaled(values: tuple[str, ...]) -> alt.Scale:
        return alt.Scale(domain=groups, range=[values[look[name]] for name in groups])

    most = int(people["draft_fault_visits"].max())
    limits = funnel[funnel["n"] <= most * 1.03]
    flagged = people[people["group"] == GROUPS[1]]
    named = flagged.assign(excess=flagged["observed_rate"] - flagged["expected_rate"]).nlargest(MOST_LABELS, "excess")
    height = HEIGHT + LABEL_HEIGHT * max(0, len(named) - FEW_LABELS)
    lowest_top = max(float(people["observed_rate"].max()) * 1.1, 0.2)
    top, labels = _with_labels(named, people, most, lowest_top, height)
    x = alt.X(
        "draft_fault_visits:Q",
        axis=alt.Axis(title="draft faults attended", tickCount=8),
        scale=alt.Scale(domain=[0, most * 1.03], nice=False),
    )
    scale = alt.Scale(domain=[0, top], nice=False, clamp=True)
    y = alt.Y("observed_rate:Q", scale=scale, axis=_axis(top))
    band = alt.Chart(limits)
    outer = band.mark_area(color=colours.main, opacity=0.10).encode(
        x="n:Q", y=alt.Y("low_998:Q", scale=scale), y2="high_998:Q"
    )
    inner = band.mark_area(color=colours.main, opacity=0.13).encode(
        x="n:Q", y=alt.Y("low_95:Q", scale=scale), y2="high_95:Q"
    )
    marks = (
        alt.Chart(people)
        .mark_point(size=70, opacity=1, strokeWidth=1.8)
        .encode(
            x=x,
            y=y,
            shape=alt.Shape("group:N", scale=scaled(("circle", "diamond", "triangle-up", "square")), title=None),
            fill=alt.Fill(
                "group:N", scale=scaled((colours.main, colours.other, colours.paper, colours.paper)), title=None
            ),
            stroke=alt.Stroke(
                "group:N", scale=scaled((colours.main, colours.other, colours.aside, colours.main)), title=None
            ),
            tooltip=[
                alt.Tooltip("shown_name:N", title="technician"),
                alt.Tooltip("draft_fault_visits:Q", title="draft faults attended", format=","),
                alt.Tooltip("observed_rate:Q", title="good switches pulled per draft fault", format=".0%"),
                alt.Tooltip("expected_rate:Q", title="expected from the mix of calls", format=".0%"),
                alt.Tooltip("low:Q", title="range from", format=".0%"),
                alt.Tooltip("high:Q", title="range to", format=".0%"),
            ],
        )
    )
    at = alt.Y("label_rate:Q", scale=scale)
    pointers = alt.Chart(labels).mark_rule(color=colours.aside, strokeWidth=0.8).encode(x=x, y=y, y2="label_rate:Q")
    names = [
        alt.Chart(labels[labels["is_at_right"] == is_at_right])
        .mark_text(align="right" if is_at_right else "left", dx=-8 if is_at_right else 8, fontSize=NAME_SIZE, **drawn)
        .encode(x=x, y=at, text="shown_name:N")
        for is_at_right in (False, True)
        for drawn in ({"stroke": colours.paper, "strokeWidth": HALO, "color": colours.paper}, {"color": colours.ink})
    ]
    layers = [*([] if limits.empty else [outer, inner]), pointers, marks, *names]
    text = (
        f"{plural(len(people), 'technician')} by draft faults attended and good switches pulled per draft fault. "
        f"{plural(int((people['group'] == GROUPS[1]).sum()), 'technician')} marked look here first, "
        f"{plural(int((people['group'] == GROUPS[2]).sum()), 'new starter')}. "
        f"The bands hold 95% and {share(0.998)} of what chance alone would draw."
        + (
            f" The {MOST_LABELS} furthest above what is expected of them are named."
            if len(flagged) > MOST_LABELS
            else ""
        )
    )
    return finished(alt.layer(*layers), text, colours, height, marks=len(layers) - len(names) - 1)


def _axis(top: float) -> alt.Axis:
    """The axis of shares; a share ends at 100%, though room for names may reach beyond."""
    more = {"values": [0, 0.2, 0.4, 0.6, 0.8, 1.0]} if top > 1 else {}
    return share_axis("good switches pulled per draft fault", **more)


def _with_labels(
    flagged: pd.DataFrame, people: pd.DataFrame, most: float, top: float, height: int
) -> tuple[float, pd.DataFrame]:
    """The top of the axis, raised until the names that had to move up have room, and where each is written."""
    labels = _label_places(flagged, people, most, top * LABEL_HEIGHT / (height - AXIS_HEIGHT))
    for _ in range(40):
        wanted = float(labels["label_rate"].max()) * 1.02 if len(labels) else 0.0
        if wanted <= top:
            break
        top = wanted
        labels = _label_places(flagged, people, most, top * LABEL_HEIGHT / (height - AXIS_HEIGHT))
    return (top if len(flagged) else min(top, 1.0)), labels


def _label_places(flagged: pd.DataFrame, people: pd.DataFrame, most: float, step: float) -> pd.DataFrame:
    """Where each name is written: at its mark, moved up where it would lie on another name or on any mark.

    step: the height of a name on the axis. Adds label_rate and is_at_right: written to the left of its mark, unless there
    is no room. A thin line leads from mark to name. Names are placed from the left, each above those its line would
    otherwise cross; those written to the right stand on the other side of their lines and are placed from the right. Only a
    line to a name at the right may pass behind one at the left, which has a ground of its own.
    """
    at_all = people["draft_fault_visits"].to_numpy(float)
    rate_all = people["observed_rate"].to_numpy(float)
    reach = LABEL_REACH * most
    ordered = flagged.assign(is_at_right=flagged["draft_fault_visits"].astype(float) > reach)
    turned = ordered["draft_fault_visits"].astype(float).where(ordered["is_at_right"], -ordered["draft_fault_visits"])
    ordered = ordered.assign(turned=turned).sort_values(["is_at_right", "turned", "observed_rate"])
    placed: list[tuple[float, float, float]] = []
    rates = []
    for row in ordered.itertuples():
        n, rate = float(row.draft_fault_visits), float(row.observed_rate)
        start, end = (n - reach, n) if row.is_at_right else (n, n + reach)
        below = [at for first, last, at in placed if first < end and start < last]
        lowest = max(rate, *(at + step for at in below)) if below else rate
        is_other = (at_all != n) | (rate_all != rate)
        is_near = is_other & (at_all > start - MARK_REACH * most) & (at_all < end + MARK_REACH * most)
        place = _above_marks(lowest, np.sort(rate_all[is_near]), step)
        placed.append((start, end, place))
        rates.append(place)
    return ordered.drop(columns="turned").assign(label_rate=rates)


def _above_marks(place: float, rates: np.ndarray, step: float) -> float:
    """The lowest height from `place` up at which a name keeps clear of marks at these rates, which rise."""
    for rate in rates:
        if abs(place - rate) < 0.8 * step:
            place = float(rate) + 0.8 * step
    return place
