"""Technicians against how many draft faults they attended, with the limits chance alone would draw."""

from __future__ import annotations

import altair as alt
import pandas as pd

from dashboard.charts.picture import Picture, finished, share_axis
from dashboard.theme import Palette
from dashboard.words import plural

GROUPS = ("as expected", "look here first", "new starter", "start not known")


def technician_funnel(table: pd.DataFrame, funnel: pd.DataFrame, colours: Palette) -> Picture | None:
    """One mark per technician; None when nobody attended a draft fault.

    table: shown_name, draft_fault_visits, observed_rate (not known: not drawn), expected_rate, value, low, high,
    is_flagged, is_new_starter, is_start_known (all known if the column is missing).
    funnel: n, low_95, high_95, low_998, high_998.
    """
    people = table[table["observed_rate"].notna() & (table["draft_fault_visits"] > 0)].copy()
    if people.empty:
        return None
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
    top = min(1.0, max(float(people["observed_rate"].max()) * 1.1, 0.2))
    x = alt.X(
        "draft_fault_visits:Q",
        axis=alt.Axis(title="draft faults attended", tickCount=8),
        scale=alt.Scale(domain=[0, most * 1.03], nice=False),
    )
    scale = alt.Scale(domain=[0, top], nice=False, clamp=True)
    y = alt.Y("observed_rate:Q", scale=scale, axis=share_axis("good switches pulled per draft fault"))
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
    names = (
        alt.Chart(_label_places(people[people["group"] == GROUPS[1]], most, top))
        .mark_text(align="left", dx=8, color=colours.ink)
        .encode(x=x, y=alt.Y("label_rate:Q", scale=scale), text="shown_name:N")
    )
    layers = [marks, names] if limits.empty else [outer, inner, marks, names]
    text = (
        f"{plural(len(people), 'technician')} by draft faults attended and good switches pulled per draft fault. "
        f"{plural(int((people['group'] == GROUPS[1]).sum()), 'technician')} marked look here first, "
        f"{plural(int((people['group'] == GROUPS[2]).sum()), 'new starter')}. "
        "The bands hold 95% and 99.8% of what chance alone would draw."
    )
    return finished(alt.layer(*layers), text, colours, 330)


def _label_places(people: pd.DataFrame, most: float, top: float) -> pd.DataFrame:
    """Where each name is written: at its mark, moved up where it would lie on another name."""
    placed: list[tuple[float, float]] = []
    rates = []
    ordered = people.sort_values(["observed_rate", "draft_fault_visits"])
    for n, rate in zip(
        ordered["draft_fault_visits"].astype(float), ordered["observed_rate"].astype(float), strict=True
    ):
        place = rate
        while any(abs(n - other) < 0.16 * most and abs(place - at) < 0.05 * top for other, at in placed):
            place += 0.052 * top
        placed.append((n, place))
        rates.append(place)
    return ordered.assign(label_rate=rates)
