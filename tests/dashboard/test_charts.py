"""Charts as specifications: labelled axes with units, a text alternative, no meaning by colour alone, never blank."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import pandas as pd
import pytest

from dashboard.charts.callbacks import callback_curve
from dashboard.charts.control import control_chart
from dashboard.charts.funnel import MOST_LABELS, technician_funnel
from dashboard.charts.margin import draft_margin
from dashboard.charts.missing import missing_fields
from dashboard.charts.picture import Picture
from dashboard.charts.ranges import ranges
from dashboard.charts.seasons import outlook, year
from dashboard.charts.steps import step_rates
from dashboard.charts.waste import waste_by_month
from dashboard.theme import DARK, LIGHT, Palette

WEEKS = pd.DataFrame(
    {
        "week_on": pd.date_range("2025-01-06", periods=12, freq="W-MON"),
        "n": 20,
        "count": 8,
        "share": [0.4] * 10 + [0.9, 0.4],
        "centre": 0.4,
        "lower": 0.2,
        "upper": 0.6,
        "is_signal": [False] * 10 + [True, False],
        "is_mature": [True] * 11 + [False],
    }
)
CURVE = pd.DataFrame(
    {"days": [0, 10, 30, 0, 20], "group": ["with_cause"] * 3 + ["without_cause"] * 2, "value": [0, 0.02, 0.05, 0, 0.2]}
)
BRANCHES = pd.DataFrame(
    {"branch": ["East", "West"], "n_swaps": [40, 50], "value": [0.4, None], "low": [0.3, None], "high": [0.5, None]}
)
PEOPLE = pd.DataFrame(
    {
        "technician_id": ["T1", "T2", "T3"],
        "shown_name": ["Ash", "Elm", "Fir"],
        "draft_fault_visits": [40, 60, 12],
        "observed_rate": [0.3, 0.7, 0.4],
        "expected_rate": [0.3, 0.3, 0.3],
        "value": [0.3, 0.65, 0.35],
        "low": [0.2, 0.5, 0.1],
        "high": [0.4, 0.8, 0.6],
        "is_flagged": [False, True, False],
        "is_new_starter": [False, False, True],
    }
)
FUNNEL = pd.DataFrame(
    {"n": [5, 60], "low_95": [0.0, 0.2], "high_95": [0.7, 0.4], "low_998": [0.0, 0.1], "high_998": [0.9, 0.5]}
)
MONTHS = [
    {
        "month": month,
        "n_faults": 5,
        "n_appliance_weeks": 900,
        "rate_per_1000": 1.0 + month / 10,
        "low": 0.5,
        "high": 2.5,
    }
    for month in range(1, 13)
]
FITTED = pd.DataFrame({"day_of_year": np.arange(1, 366, 7), "rate": 1.0, "low": 0.8, "high": 1.2})
AHEAD = pd.DataFrame(
    {
        "week_on": pd.date_range("2026-11-23", periods=4, freq="W-MON"),
        "expected": 30.0,
        "low": 20.0,
        "high": 40.0,
        "same_week_last_year": 28.0,
    }
)
MARGINS = pd.DataFrame(
    {
        "arrived_on": pd.to_datetime(["2025-01-01", "2025-12-01"]),
        "visit_id": ["V1", "V2"],
        "appliance": "A1",
        "draft_pa": [250.0, 220.0],
        "make_pa": 200.0,
        "margin_pa": [50.0, 20.0],
    }
)
COSTS = pd.DataFrame(
    {
        "month_on": pd.date_range("2026-01-01", periods=3, freq="MS"),
        "known": 100.0,
        "estimated": 300.0,
        "low": 200.0,
        "high": 400.0,
    }
)
STEPS = pd.DataFrame({"step": ["reading", "cause"], "rate": [0.5, 0.4], "own": [0.2, 0.6], "n": 100, "n_own": 20})

FIELDS = pd.DataFrame(
    {
        "title": ["Cause found", "Appliance id"],
        "share": [0.3, 0.1],
        "n_missing": [30, 10],
        "n_cases": 100,
        "gain": [0.2, None],
    }
)


def pictures(colours: Palette) -> dict[str, Picture | None]:
    return {
        "control": control_chart(WEEKS, "Swaps without a root cause", colours),
        "callbacks": callback_curve(CURVE, colours),
        "ranges": ranges(BRANCHES, "branch", "good switches", colours, reference=0.45, reference_name="company"),
        "funnel": technician_funnel(PEOPLE, FUNNEL, colours),
        "year": year(MONTHS, FITTED, colours),
        "outlook": outlook(AHEAD, colours),
        "margin": draft_margin(MARGINS, colours),
        "waste": waste_by_month(COSTS, "USD", colours),
        "steps": step_rates(STEPS, colours, "Ash"),
        "missing": missing_fields(FIELDS, colours),
    }


def encodings(spec: dict[str, Any]) -> Iterator[dict[str, Any]]:
    if "encoding" in spec:
        yield spec["encoding"]
    for part in spec.get("layer", []):
        yield from encodings(part)


@pytest.mark.parametrize("colours", [LIGHT, DARK], ids=lambda shades: shades.name)
def test_every_chart_has_titles_and_a_text_alternative(colours: Palette) -> None:
    for name, picture in pictures(colours).items():
        assert picture is not None, name
        spec = picture.chart.to_dict()
        assert len(picture.text) > 40 and picture.text.endswith("."), name
        assert "nan" not in picture.text and "None" not in picture.text, name
        titles = [
            channel["axis"]["title"]
            for encoding in encodings(spec)
            for axis in ("x", "y")
            if isinstance(channel := encoding.get(axis), dict) and (channel.get("axis") or {}).get("title")
        ]
        assert titles, name
        assert spec["config"]["background"] == colours.paper, name


def test_amounts_name_their_unit() -> None:
    spec = str({name: picture.chart.to_dict() for name, picture in pictures(LIGHT).items() if picture})
    for unit in (
        "in. w.c.",
        "USD",
        "per 1,000 appliances and week",
        "days after",
        "draft faults attended",
        "faults in the week",
    ):
        assert unit in spec, unit
    assert "above the make point, Pa" in str(draft_margin(MARGINS, LIGHT, "Pa").chart.to_dict())


def test_groups_differ_by_more_than_colour() -> None:
    drawn = pictures(LIGHT)
    for name in ("control", "funnel", "outlook"):
        shapes = [
            encoding["shape"]["scale"]["range"]
            for encoding in encodings(drawn[name].chart.to_dict())
            if "shape" in encoding
        ]
        assert len(set(shapes[0])) > 1, name
    assert any("strokeDash" in encoding for encoding in encodings(drawn["callbacks"].chart.to_dict()))
    # Known waste is filled, estimated waste only outlined.
    fill = next(e["fill"]["scale"]["range"] for e in encodings(drawn["waste"].chart.to_dict()) if "fill" in e)
    assert fill == [LIGHT.other, LIGHT.panel]


def test_nothing_to_draw_gives_no_chart() -> None:
    assert control_chart(WEEKS.assign(share=None), "x", LIGHT) is None
    assert control_chart(WEEKS.iloc[0:0], "x", LIGHT) is None
    assert callback_curve(CURVE.iloc[0:0], LIGHT) is None
    assert ranges(BRANCHES.assign(value=None), "branch", "x", LIGHT) is None
    assert technician_funnel(PEOPLE.iloc[0:0], FUNNEL, LIGHT) is None
    assert year([{**month, "rate_per_1000": None} for month in MONTHS], FITTED, LIGHT) is None
    assert outlook(AHEAD.iloc[0:0], LIGHT) is None
    assert draft_margin(MARGINS.assign(margin_pa=None), LIGHT) is None
    assert waste_by_month(COSTS.iloc[0:0], "USD", LIGHT) is None
    assert step_rates(STEPS.assign(rate=None), LIGHT) is None


def test_control_text_counts_signals_that_are_old_enough() -> None:
    picture = control_chart(WEEKS, "Swaps without a root cause", LIGHT)
    assert "1 week outside the limits" in picture.text


def test_groups_without_a_rate_are_left_out_of_the_ranges() -> None:
    text = ranges(BRANCHES, "branch", "good switches", LIGHT).text
    assert "East 40% (30% to 50%)" in text and "West" not in text


def test_labels_of_neighbours_do_not_lie_on_each_other() -> None:
    crowd = pd.concat([PEOPLE.iloc[[1]].assign(shown_name=f"N{place}") for place in range(5)], ignore_index=True)
    layer = technician_funnel(crowd, FUNNEL, LIGHT).chart.to_dict()
    rates = sorted(row["label_rate"] for rows in layer["datasets"].values() for row in rows if "label_rate" in row)
    assert np.diff(rates).min() > 0.02


def test_a_crowd_of_names_is_spread_within_the_picture() -> None:
    """Six names close together, on a narrow page too: kept apart in height, and none above the axis."""
    rates = [0.62, 0.64, 0.65, 0.68, 0.69, 0.6]
    crowd = pd.concat(
        [
            PEOPLE.iloc[[1]].assign(shown_name=f"N{place}", observed_rate=rate, draft_fault_visits=100 + 3 * place)
            for place, rate in enumerate(rates)
        ],
        ignore_index=True,
    )
    spec = technician_funnel(crowd, FUNNEL, LIGHT).chart.to_dict()
    top = next(e["y"]["scale"]["domain"][1] for e in encodings(spec) if "scale" in e.get("y", {}))
    places = {
        row["shown_name"]: row["label_rate"]
        for rows in spec["datasets"].values()
        for row in rows
        if "label_rate" in row
    }
    assert len(places) == 6 and np.diff(sorted(places.values())).min() > 0.05 * top
    assert max(places.values()) < top


def test_of_a_very_large_company_the_furthest_above_are_named() -> None:
    """Hundreds of names are no picture, and placing them must not take minutes."""
    crowd = pd.concat([PEOPLE.iloc[[1]]] * 900, ignore_index=True)
    rates = np.linspace(0.5, 0.9, len(crowd))
    crowd = crowd.assign(shown_name=[f"N{place}" for place in range(len(crowd))], observed_rate=rates)
    picture = technician_funnel(crowd, FUNNEL, LIGHT)
    spec = picture.chart.to_dict()
    named = {row["shown_name"] for rows in spec["datasets"].values() for row in rows if "label_rate" in row}
    assert named == {f"N{place}" for place in range(len(crowd) - MOST_LABELS, len(crowd))}
    assert f"The {MOST_LABELS} furthest above what is expected of them are named." in picture.text


def test_a_rate_nobody_knows_is_not_drawn() -> None:
    assert technician_funnel(PEOPLE.assign(observed_rate=np.nan), FUNNEL, LIGHT) is None


def test_technicians_whose_start_is_not_known_are_drawn_apart() -> None:
    spec = technician_funnel(PEOPLE.assign(is_start_known=[False, True, True]), FUNNEL, LIGHT).chart.to_dict()
    groups = next(e["shape"]["scale"]["domain"] for e in encodings(spec) if "shape" in e)
    assert groups == ["look here first", "new starter", "start not known"]


def test_bars_are_as_wide_as_the_page_allows() -> None:
    months = str(year(MONTHS, FITTED, LIGHT).chart.to_dict())
    assert "'x2': {'field': 'to'}" in months and "'size'" not in months
    assert "'band': 0.72" in str(waste_by_month(COSTS, "USD", LIGHT).chart.to_dict())


def test_the_margin_is_drawn_in_one_unit_against_the_rated_make_point() -> None:
    for unit, name in ((None, "in. w.c."), ("Pa", "Pa")):
        picture = draft_margin(MARGINS, LIGHT, unit)
        assert f"to {'20' if unit else '0.08'} {name}" in picture.text
    assert "must not close" not in str(picture.chart.to_dict())


def test_the_legend_of_the_outlook_is_one_line() -> None:
    """In half a page a second line of it would lie outside the picture."""
    legends = [
        channel["legend"]
        for encoding in encodings(outlook(AHEAD, LIGHT).chart.to_dict())
        for name, channel in encoding.items()
        if name in ("shape", "fill", "stroke")
    ]
    assert len(legends) == 3 and all(legend["columns"] == 2 for legend in legends)


def test_the_weeks_are_dated_by_the_days_they_start_on() -> None:
    drawn = control_chart(WEEKS, "x", LIGHT)
    assert drawn is not None
    ticks = drawn.chart.to_dict()["layer"][0]["encoding"]["x"]["axis"]["values"]
    days = {pd.Timestamp(year=day["year"], month=day["month"], day=day["date"]) for day in ticks}
    assert 2 <= len(days) <= 8 and days <= set(pd.to_datetime(WEEKS["week_on"]))
