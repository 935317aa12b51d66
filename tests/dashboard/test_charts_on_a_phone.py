"""What keeps charts readable where the page is narrow: names apart from lines and marks, dates apart, rows of full width."""

from __future__ import annotations

import re
from itertools import pairwise

import numpy as np
import pandas as pd
import pytest
from test_charts import FUNNEL, PEOPLE, WEEKS, encodings, pictures

from dashboard.charts.control import control_chart
from dashboard.charts.funnel import LABEL_REACH, technician_funnel
from dashboard.charts.picture import Picture
from dashboard.printed import drawing, week
from dashboard.theme import LIGHT


def test_no_name_is_crossed_by_a_line_or_lies_on_a_mark() -> None:
    """On a phone a name takes up to LABEL_REACH of the axis."""
    rng = np.random.default_rng(5)
    for _ in range(8):
        n = 40
        crowd = pd.concat([PEOPLE.iloc[[0]]] * n, ignore_index=True).assign(
            shown_name=[f"N{place}" for place in range(n)],
            draft_fault_visits=rng.integers(80, 160, n),
            observed_rate=rng.uniform(0.1, 0.4, n),
        )
        crowd.loc[:6, "is_flagged"], crowd.loc[:6, "observed_rate"] = True, rng.uniform(0.42, 0.7, 7)
        spec = technician_funnel(crowd, FUNNEL, LIGHT).chart.to_dict()
        top = next(e["y"]["scale"]["domain"][1] for e in encodings(spec) if "scale" in e.get("y", {}))
        named = pd.DataFrame(
            next(rows for rows in spec["datasets"].values() if len(rows) == 7 and "label_rate" in rows[0])
        )
        most, letters = crowd["draft_fault_visits"].max(), 0.025 * top
        assert named["is_at_right"].all() and (named["label_rate"] >= named["observed_rate"]).all()
        for one in named.itertuples():
            start, end = one.draft_fault_visits - LABEL_REACH * most, one.draft_fault_visits
            others = named[named["shown_name"] != one.shown_name]
            beside = others[others["draft_fault_visits"].between(start, end, inclusive="left")]
            assert not beside["label_rate"].gt(one.label_rate).any(), "a line of another crosses it"
            below = crowd[crowd["draft_fault_visits"].between(start, end, inclusive="left")]
            assert not below["observed_rate"].sub(one.label_rate).abs().lt(letters).any(), "it lies on a mark"


def narrow_svg(picture: Picture) -> str:
    """The chart as a phone shows it."""
    return drawing.svg(picture, 340, is_phone=True)


AT_AXIS = r'role-axis-label"[^>]*>((?:<text[^>]*>[^<]*</text>)*)'


@pytest.mark.parametrize("name", ["ranges", "steps", "missing"])
def test_on_a_phone_names_stand_above_their_rows_and_leave_the_width_to_the_picture(name: str) -> None:
    picture = pictures(LIGHT)[name]
    assert picture is not None
    one = {"ranges": "East", "steps": "reading", "missing": "Cause found"}[name]
    wide, narrow = drawing.svg(picture, 900), narrow_svg(picture)
    for drawn in (wide, narrow):
        assert drawn.count(f">{one}</text>") == 1
    assert any(one in found for found in re.findall(AT_AXIS, wide))
    assert not any(one in found for found in re.findall(AT_AXIS, narrow))
    # Marks keep their place among the layers, whatever is drawn above them.
    assert picture.chart.to_dict()["layer"][picture.marks]["mark"]["type"] in ("bar", "point")


def test_the_web_page_of_a_pack_holds_the_form_for_a_phone_and_paper_does_not() -> None:
    page, on_paper = (
        week.chart(pictures(LIGHT)["steps"], "", "", font, week.WHOLE, 120) for font in (None, drawing.FONT)
    )
    assert not any("reading" in found for found in re.findall(AT_AXIS, page.narrow_svg)) and page.narrow_svg
    for drawn in (page.svg, on_paper.svg):
        assert any("reading" in found for found in re.findall(AT_AXIS, drawn))
    assert on_paper.narrow_svg == ""


def test_a_bar_and_a_diamond_are_shown_as_such_in_the_legend() -> None:
    for name in ("steps", "missing"):
        found = [e["shape"]["scale"]["range"] for e in encodings(pictures(LIGHT)[name].chart.to_dict()) if "shape" in e]
        assert found == [["square", "diamond"]], name


def test_dates_below_the_weeks_keep_apart_on_a_phone() -> None:
    many = pd.concat([WEEKS] * 9, ignore_index=True)
    many["week_on"] = pd.date_range("2024-07-08", periods=len(many), freq="W-MON")
    drawn = control_chart(many, "Swaps without a root cause", LIGHT)
    assert drawn is not None
    found = re.findall(
        r'text-anchor="(\w+)" transform="translate\(([\d.]+),[^>]*?opacity="1"[^>]*>(\d+ \w+ \d{4})<', narrow_svg(drawn)
    )
    assert len(found) >= 2
    widths = {"start": (0, 1), "middle": (-0.5, 0.5), "end": (-1, 0)}
    spans = [tuple(float(x) + side * 5.5 * len(day) for side in widths[anchor]) for anchor, x, day in found]
    assert all(second[0] - first[1] > 3 for first, second in pairwise(spans)), found


def test_a_week_outside_its_limits_is_never_drawn_small() -> None:
    size = next(e["size"] for e in encodings(control_chart(WEEKS, "x", LIGHT).chart.to_dict()) if "size" in e)
    assert size["condition"]["value"] >= 64 and "outside its limits" in str(size["condition"]["test"])
