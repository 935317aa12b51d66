"""A mark opens the visits that made it: as many as it counts, for whoever may see them, with the chart left as it was."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest
from page_texts import assert_drawn, opened, said

from dashboard import chart_drill, figures_access, lookups, marks, store_access
from dashboard.chart_drill import Mark
from dashboard.charts.control import control_chart
from dashboard.charts.funnel import technician_funnel
from dashboard.charts.margin import draft_margin
from dashboard.charts.picture import MARK
from dashboard.charts.seasons import year
from dashboard.charts.waste import waste_by_month
from dashboard.printed import drawing
from dashboard.theme import LIGHT
from models.figures.scope import Scope

pytestmark = pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
EVERYTHING = Scope()


def visits(mark: Mark) -> pd.DataFrame:
    """The visits behind a mark, all of them."""
    return mark.opens.args[0](None)


def by_key(found: list[Mark]) -> dict[str, Mark]:
    keyed = {mark.key: mark for mark in found}
    assert len(keyed) == len(found) > 0
    return keyed


@pytest.mark.parametrize("name", ["no_root_cause", "good_switch", "callback_30"])
def test_a_week_opens_as_many_swaps_as_it_counts(served_home: Path, name: str) -> None:
    weeks = figures_access.control(EVERYTHING)[name].weeks
    keyed = by_key(marks.weeks(name, weeks, EVERYTHING))
    counted = weeks.tail(104).dropna(subset=["share"])
    assert set(keyed) == {day.isoformat() for day in counted["week_on"]}
    for week in counted.tail(12).itertuples():
        behind = visits(keyed[week.week_on.isoformat()])
        assert len(behind) == week.n
        counts = {
            "no_root_cause": (~behind["tier"].isin(["measured", "described"])).sum(),
            "good_switch": behind["verdict"].eq("good").sum(),
            "callback_30": behind["callback_days"].le(30).sum(),
        }
        assert counts[name] == week.count


def test_a_bar_of_cost_opens_the_swaps_of_its_month(served_home: Path) -> None:
    waste = figures_access.waste(EVERYTHING)
    keyed = by_key(marks.months_of_cost(waste.by_month, waste.currency, EVERYTHING))
    for month in waste.by_month.tail(6).itertuples():
        first = pd.Timestamp(month.month_on)
        known, estimated = (keyed.get(f"{first:%Y-%m} {kind}") for kind in ("known", "estimated"))
        assert known is None or len(visits(known)) == month.n_good
        if known is not None and estimated is not None:
            faulty = figures_access.visits_behind(marks.in_month(EVERYTHING, first.date()), "bench_faulty", None)
            assert len(visits(known)) + len(visits(estimated)) + len(faulty) == month.n_swaps


def test_a_branch_and_a_technician_open_theirs(served_home: Path) -> None:
    rates = figures_access.good_switch_by(EVERYTHING, "branch")
    keyed = by_key(marks.groups("branch", rates["branch"], EVERYTHING))
    assert {name: len(visits(mark)) for name, mark in keyed.items()} == dict(
        zip(rates["branch"], rates["n_swaps"], strict=True)
    )
    people = figures_access.technicians(EVERYTHING).table.head(5)
    keyed = by_key(marks.groups("technician_id", people["technician_id"], EVERYTHING, "draft_faults"))
    for person in people.itertuples():
        assert len(visits(keyed[person.technician_id])) == person.draft_fault_visits


def test_the_months_of_a_season_open_its_faults(served_home: Path) -> None:
    season = figures_access.seasons(EVERYTHING)["condensate"]
    found = marks.months_of_year("condensate", "Condensate", season.by_month, 7, EVERYTHING)
    assert [mark.key for mark in found] == ["7", "8", "9", "10", "11", "12", "1", "2", "3", "4", "5", "6"]
    extra = sum(len(visits(mark)) for mark in found) - sum(month["n_faults"] for month in season.by_month)
    # The picture leaves out the first and the last week where the records cut them short; nothing else may differ.
    first, last = store_access.row("SELECT min(week_on) AS a, max(week_on) AS b FROM visit").values()
    cut = store_access.row(
        "SELECT sum(n_faults) AS n FROM fault_week WHERE family = 'condensate' AND week_on IN (?, ?)", [first, last]
    )["n"]
    assert 0 <= extra <= cut


def test_a_period_stays_in_force(served_home: Path) -> None:
    narrow = Scope(start_on=pd.Timestamp("2025-01-10").date(), end_on=pd.Timestamp("2025-02-20").date())
    january, march = (marks.in_month(narrow, pd.Timestamp(day).date()) for day in ("2025-01-01", "2025-02-01"))
    assert (str(january.start_on), str(january.end_on)) == ("2025-01-10", "2025-01-31")
    assert (str(march.start_on), str(march.end_on)) == ("2025-02-01", "2025-02-20")


@pytest.mark.parametrize("made", ["control", "margin", "season", "waste"])
def test_a_chart_to_click_is_a_copy_and_what_is_exported_stays_as_it_was(served_home: Path, made: str) -> None:
    pictures: dict[str, Callable[[], object]] = {
        "control": lambda: control_chart(figures_access.control(EVERYTHING)["no_root_cause"].weeks, "share", LIGHT),
        "margin": lambda: draft_margin(lookups.margins(a_site_with_readings()), LIGHT),
        "season": lambda: year(figures_access.seasons(EVERYTHING)["condensate"].by_month, pd.DataFrame(), LIGHT),
        "waste": lambda: waste_by_month(figures_access.waste(EVERYTHING).by_month, "USD", LIGHT),
    }
    picture = pictures[made]()
    before = drawing.spec(picture)
    chart = chart_drill.selectable(picture)
    assert drawing.spec(picture) == before
    assert chart_drill.PARAM not in before
    told = chart.to_dict()
    params = [layer.get("params", []) for layer in told["layer"]]
    named = [place for place, found in enumerate(params) if found]
    assert named == [picture.marks] or [one["name"] for one in told.get("params", [])] == [chart_drill.PARAM]
    rows = [row for data in told["datasets"].values() for row in data if MARK in row]
    assert rows
    # The compiler takes it, and knows the parameter.
    import vl_convert

    assert f'"{chart_drill.PARAM}_tuple"' in json.dumps(vl_convert.vegalite_to_vega(json.dumps(told, default=str)))


def a_site_with_readings() -> str:
    return store_access.row(
        "SELECT site_id, count(*) AS n FROM field_evidence WHERE margin_pa IS NOT NULL GROUP BY 1 ORDER BY 2 DESC, 1 LIMIT 1"
    )["site_id"]


def test_a_week_is_chosen_from_the_list_and_closed_again(served_home: Path) -> None:
    test = opened("this_week")
    box = test.selectbox(key="mark_of_control_no_root_cause")
    assert box.value is None
    day = figures_access.control(EVERYTHING)["no_root_cause"].weeks.dropna(subset=["share"])["week_on"].iloc[-1]
    box.set_value(day.isoformat()).run()
    assert_drawn(test)
    assert "Swaps in the week of" in said(test)
    n = figures_access.control(EVERYTHING)["no_root_cause"].weeks.set_index("week_on").loc[day, "n"]
    assert len(test.dataframe[0].value) == n
    test.button(key="close_mark_control_no_root_cause").click().run()
    assert_drawn(test)
    assert "Swaps in the week of" not in said(test)
    assert test.selectbox(key="mark_of_control_no_root_cause").value is None


def test_under_code_names_the_marks_of_people_have_none(served_home: Path) -> None:
    test = opened("coaching", code_names="true")
    assert_drawn(test)
    people = store_access.frame("SELECT technician_id, technician_name FROM technician")
    listed = " ".join(test.selectbox(key="mark_of_funnel").options)
    assert listed
    for person in people.itertuples():
        assert person.technician_id not in listed and person.technician_name not in listed


def test_the_funnel_is_told_no_id_and_names_its_marks_as_shown(served_home: Path) -> None:
    table = pd.DataFrame(
        {
            "technician_id": ["T1", "T2"],
            "technician_name": ["Somebody", "Another"],
            "reason": ["Somebody pulled more than expected.", ""],
            "shown_name": ["Ash", "Elm"],
            "draft_fault_visits": [40, 60],
            "observed_rate": [0.3, 0.7],
            "expected_rate": [0.3, 0.3],
            "value": [0.3, 0.65],
            "low": [0.2, 0.5],
            "high": [0.4, 0.8],
            "is_flagged": [False, True],
            "is_new_starter": [False, False],
        }
    )
    picture = technician_funnel(table, pd.DataFrame(columns=["n", "low_95", "high_95", "low_998", "high_998"]), LIGHT)
    told = json.dumps(chart_drill.selectable(picture).to_dict(), default=str)
    assert "T1" not in told and "technician_id" not in told and "Somebody" not in told
    assert {MARK: "Elm"}.items() <= next(
        row for data in json.loads(told)["datasets"].values() for row in data if row.get("shown_name") == "Elm"
    ).items()
    assert picture.chart.layer[picture.marks].mark.type == "point"
