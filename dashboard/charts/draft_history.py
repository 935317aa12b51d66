"""Every draft read at the switch of one appliance, over time, against its rated make point."""

from __future__ import annotations

import altair as alt
import pandas as pd

from dashboard.charts.picture import MARK, Picture, finished
from dashboard.theme import Palette
from dashboard.words import date, number, plural
from models.figures.sites import draft_unit

# When a reading was taken, as told, with the shape it is drawn in.
WHEN = {"before_repair": "before the repair", "after_repair": "after the repair"}
NOT_SAID = "not said when"
SHAPES = {WHEN["before_repair"]: "circle", WHEN["after_repair"]: "triangle-up", NOT_SAID: "square"}


def draft_history(
    readings: pd.DataFrame, make_points: list[float], colours: Palette, unit: str | None = None
) -> Picture | None:
    """A mark per reading, told apart by shape, and a line per make point; None when there is no reading.

    readings: arrived_on, visit_id, draft_pa, taken ('before_repair' | 'after_repair' | missing), contacts.
    make_points: pascal, each that the records name. unit: 'Pa' draws pascal, else in. w.c.
    """
    frame = readings[readings["draft_pa"].notna()].copy()
    if frame.empty:
        return None
    name, per, digits = draft_unit(unit)
    frame["arrived_on"] = pd.to_datetime(frame["arrived_on"])
    frame["draft"] = frame["draft_pa"].astype(float) / per
    frame["when"] = frame["taken"].map(WHEN).fillna(NOT_SAID)
    frame["contacts"] = frame["contacts"].fillna("not recorded")
    frame[MARK] = frame["visit_id"].astype(str)
    kinds = [kind for kind in SHAPES if (frame["when"] == kind).any()]
    rated = pd.DataFrame(
        {
            "at": [point / per for point in make_points],
            "name": [f"rated make point {number(point / per, digits)} {name}" for point in make_points],
        }
    )
    first, last = frame["arrived_on"].min(), frame["arrived_on"].max()
    room = max((last - first) * 0.03, pd.Timedelta(days=20))
    x = alt.X(
        "arrived_on:T",
        scale=alt.Scale(domain=[(first - room).isoformat(), (last + room).isoformat()], nice=False),
        axis=alt.Axis(
            title="date of the visit",
            format="%-d %b %Y",
            labelAngle=0,
            tickCount=6,
            labelOverlap=True,
            labelSeparation=14,
        ),
    )
    top = max(frame["draft"].max(), *rated["at"], 0.0) * 1.12
    scale = alt.Scale(domain=[min(frame["draft"].min() * 1.12, 0.0), top or 1.0], nice=False)
    y = alt.Y("draft:Q", axis=alt.Axis(title=f"draft at the switch, {name}"), scale=scale)
    fills = {"circle": colours.paper, "triangle-up": colours.main, "square": colours.paper}
    dots = (
        alt.Chart(frame)
        .mark_point(size=70, opacity=1, strokeWidth=1.8, stroke=colours.main)
        .encode(
            x=x,
            y=y,
            shape=alt.Shape(
                "when:N", scale=alt.Scale(domain=kinds, range=[SHAPES[kind] for kind in kinds]), title=None
            ),
            fill=alt.Fill(
                "when:N", scale=alt.Scale(domain=kinds, range=[fills[SHAPES[kind]] for kind in kinds]), title=None
            ),
            tooltip=[
                alt.Tooltip("arrived_on:T", title="date", format="%-d %b %Y"),
                alt.Tooltip("visit_id:N", title="visit"),
                alt.Tooltip("when:N", title="taken"),
                alt.Tooltip("contacts:N"),
                alt.Tooltip("draft:Q", title=f"draft, {name}", format=f".{digits}f"),
            ],
        )
    )
    rule = alt.Chart(rated).mark_rule(color=colours.alert, strokeDash=[6, 4]).encode(y=alt.Y("at:Q", scale=scale))
    label = (
        alt.Chart(rated)
        .mark_text(align="left", baseline="bottom", dy=-3, color=colours.ink)
        .encode(y=alt.Y("at:Q", scale=scale), x=alt.value(6), text="name:N")
    )
    counts = ", ".join(f"{plural(int((frame['when'] == kind).sum()), 'reading')} {kind}" for kind in kinds)
    low, high = (number(value, digits) for value in (frame["draft"].min(), frame["draft"].max()))
    reach = f"{low} {name}" if low == high else f"between {low} and {high} {name}"
    against = ", ".join(rated["name"]) if len(rated) else "the rated make point is not on record"
    span = f"on {date(first)}" if first == last else f"from {date(first)} to {date(last)}"
    text = f"Draft at the switch {span}: {counts}, {reach}; {against}".removesuffix(".") + "."
    below = [] if rated.empty else [rule, label]
    return finished(alt.layer(*below, dots), text, colours, 250, marks=len(below))
