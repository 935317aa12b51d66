"""Whoever doubts a number is two clicks from its visits: every figure card and every chart opens what is behind it."""

from __future__ import annotations

import ast
import re
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from page_texts import APP, assert_drawn, opened, said

from dashboard import appliance_history, figure_card, figures_access, marks, roles, store_access, technician_sheet
from dashboard.charts.callbacks import GROUPS, MARK_DAYS, callback_curve, mark_of
from dashboard.charts.missing import missing_fields
from dashboard.charts.picture import MARK
from dashboard.theme import LIGHT
from dashboard.views.seasons import two_weeks
from models.figures.scope import Scope

FOLDER = APP.parent
EVERYTHING = Scope()
# What is drawn without visits behind it, and why there can be none.
WITHOUT_VISITS = {("views/seasons.py", "outlook"): "the next four weeks have not been yet"}
# Cards that are not made by figure_card: each has its button drawn beside it.
OWN_CARDS = {"technician_sheet.py": 2}


def calls(name: str) -> list[tuple[str, ast.Call]]:
    """Every call of this name on the pages, with the file it stands in."""
    found = []
    for path in sorted([*FOLDER.glob("*.py"), *FOLDER.glob("views/*.py")]):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Call) and ast.unparse(node.func) == name:
                found.append((str(path.relative_to(FOLDER)), node))
    return found


def test_every_card_is_told_what_stands_behind_it() -> None:
    cards = calls("figure_card.show")
    assert len(cards) > 12
    without = [
        (path, node.lineno) for path, node in cards if "behind" not in {keyword.arg for keyword in node.keywords}
    ]
    assert without == []
    for path, n in OWN_CARDS.items():
        assert sum(one == path for one, _ in calls("_pair")) == n
        assert sum(one == path for one, _ in calls("figure_card.opens")) == n
    drawn = {
        str(path.relative_to(FOLDER)) for path in FOLDER.rglob("*.py") if 'class="gp-card"' in path.read_text("utf-8")
    }
    assert drawn == {"figure_card.py", *OWN_CARDS}


def test_every_chart_is_drawn_with_its_marks() -> None:
    plain = [
        (path, ast.unparse(node.args[0]))
        for path, node in calls("page.draw")
        # What cannot be drawn has no mark.
        if ast.unparse(node.args[0]) != "None"
    ]
    named = [(path, name) for path, told in plain for (file, name) in WITHOUT_VISITS if path == file and name in told]
    assert len(plain) == len(named) == len(WITHOUT_VISITS), plain
    assert len(calls("chart_drill.draw")) + len(calls("chart_drill.chart")) >= 9


def visits(mark: marks.Mark) -> pd.DataFrame:
    return mark.opens.args[0](None)


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
def test_what_came_back_by_a_day_is_what_the_curve_counts(served_home: Path) -> None:
    returns = figures_access.callbacks(EVERYTHING)
    found = {mark.key: mark for mark in marks.came_back(returns, EVERYTHING)}
    assert set(found) == {mark_of(group, days) for group in GROUPS for days in MARK_DAYS}
    for group, test in (("with_cause", "s.has_root_cause"), ("without_cause", "NOT s.has_root_cause")):
        for days in MARK_DAYS:
            n = store_access.row(
                "SELECT count(*) AS n FROM callback c JOIN swap_case s USING (swap_id) "
                f"WHERE c.callback_days <= {days} AND {test}"
            )["n"]
            assert len(visits(found[mark_of(group, days)])) == n > 0
    picture = callback_curve(returns.curve, LIGHT)
    assert picture is not None and picture.marks is not None
    dots = picture.chart.layer[picture.marks].data
    assert set(dots[MARK]) == set(found)
    for _, part in dots.groupby("group"):
        assert part.sort_values("days")["value"].is_monotonic_increasing


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
def test_a_step_opens_the_swaps_without_it(served_home: Path) -> None:
    people = figures_access.technicians(EVERYTHING)
    table = people.table.assign(shown_name="x")
    person = table.sort_values("swaps").iloc[-1]
    frame = technician_sheet.step_frame(person, table)
    found = marks.steps(frame, person["technician_id"], EVERYTHING)
    assert [mark.key for mark in found] == frame["step"].tolist()
    for row, mark in zip(frame.itertuples(), found, strict=True):
        assert len(visits(mark)) == round((1 - row.own) * row.n_own)
    assert any(len(visits(mark)) for mark in found)


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
def test_a_step_card_of_the_company_opens_the_swaps_without_the_step(
    served_home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    opens: dict[str, figures_access.Counted] = {}
    told: dict[str, str] = {}
    drawn = figure_card.show

    def noted(label: str, *given: Any, behind: figures_access.Counted, rests_on: str, **more: Any) -> None:
        opens[given[2]], told[given[2]] = behind, rests_on
        drawn(label, *given, behind=behind, rests_on=rests_on, **more)

    monkeypatch.setattr(figure_card, "show", noted)
    names = list(technician_sheet.STEPS)[:4]
    # In the last 90 days one swap is of a draft fault that was first attended before them.
    for period in ("All records", "Last 90 days"):
        test = opened("coaching", period=period)
        assert_drawn(test)
        with roles.whoever_has_the_files():
            for name in names:
                n_done, n = map(int, re.findall(r"\d+", told[f"step_{name}"]))
                assert opens[f"step_{name}"].n() == len(opens[f"step_{name}"](None)) == n - n_done < n
    labels = [one.label for one in test.button if (one.key or "").startswith("behind_step_")]
    assert labels == ["Show the swaps without it"] * len(names)


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
def test_a_field_that_is_missing_opens_the_visits_without_it(served_home: Path) -> None:
    fields = figures_access.missing(EVERYTHING).fields.assign(title=lambda rows: rows["field"], share=0.5)
    found = {mark.key: mark for mark in marks.missing(fields, EVERYTHING)}
    assert set(found) == set(fields.loc[fields["n_missing"] > 0, "field"]) and found
    for row in fields[fields["n_missing"] > 0].itertuples():
        assert len(visits(found[row.title])) == row.n_missing
    picture = missing_fields(fields, LIGHT)
    assert picture is not None and picture.marks == 0


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
def test_the_ratio_of_two_weeks_opens_the_visits_of_the_two_weeks(served_home: Path) -> None:
    season = figures_access.seasons(EVERYTHING)["condensate"]
    behind = two_weeks(season, EVERYTHING)
    both = behind(None)
    days = season.curve.set_index("day_of_year")["rate"]
    weeks = {(int(day) - 1) // 7 for day in (days.idxmax(), days.idxmin())}
    middle = (pd.to_datetime(both["visit_on"]).dt.to_period("W").dt.start_time + pd.Timedelta(days=3)).dt.day_of_year
    assert len(both) and set((middle - 1) // 7) <= weeks
    assert both["visit_on"].is_monotonic_decreasing and len(behind(1)) == 1


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
def test_the_bench_programme_opens_the_switches_tested(served_home: Path) -> None:
    programme = figures_access.bench_programme(EVERYTHING)
    assert len(figures_access.visits_behind(EVERYTHING, "bench_tested", None)) == programme.n_tested
    assert len(figures_access.visits_behind(EVERYTHING, "tested_and_credited", None)) == programme.claims["n_paid"]


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
def test_a_reading_of_the_history_opens_its_visit(served_home: Path) -> None:
    running = pd.DataFrame(
        {
            "arrived_on": pd.to_datetime(["2025-01-05", "2025-01-05", "2025-03-01"]),
            "visit_id": ["V1", "V1", "V2"],
            "draft_pa": [200.0, 250.0, 180.0],
        }
    )
    asked: list[tuple[str, str]] = []
    found = appliance_history.readings(running, "Pa", lambda visit_id, key: asked.append((visit_id, key)))
    assert [mark.key for mark in found] == ["V2", "V1"], "the newest first, a visit once"
    assert found[1].label == "5 Jan 2025: 200 Pa, 250 Pa"
    found[0].opens("k")
    assert asked == [("V2", "k")]


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
def test_the_new_lists_are_drawn_on_their_pages(served_home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with roles.whoever_has_the_files():
        person = figures_access.technicians(EVERYTHING).table.sort_values("swaps").iloc[-1]["technician_id"]
    test = opened("coaching")
    test.session_state["technician_choice"] = person
    test.run()
    assert_drawn(test)
    box = test.selectbox(key="mark_of_steps")
    box.set_value(next(iter(technician_sheet.STEPS.values()))).run()
    assert_drawn(test)
    assert "Their swaps without this step" in said(test)
    for key in ("behind_own_share", "behind_own_swaps_per_fault"):
        test.button(key=key).click().run()
        assert_drawn(test)
    test = opened("missing")
    box = test.selectbox(key="mark_of_missing")
    box.set_value(next(one for one in marks.missing(_titled(), EVERYTHING)).key).run()
    assert_drawn(test)
    assert "Visits without: " in said(test)
    test = opened("this_week")
    test.session_state["callback_curve"] = True
    test.run()
    test.selectbox(key="mark_of_curve").set_value(mark_of("without_cause", 30)).run()
    assert_drawn(test)
    assert "that came back within 30 days" in said(test)


def _titled() -> pd.DataFrame:
    from dashboard import missing_parts

    fields = figures_access.missing(EVERYTHING).fields
    return fields.assign(title=[missing_parts.FIELDS[name].title for name in fields["field"]])
