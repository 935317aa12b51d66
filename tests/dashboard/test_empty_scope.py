"""Where the filters leave no swap, each page says how to see more, and a button clears them; the log stays."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest
from page_texts import assert_drawn, opened, said

from dashboard import code_names, empty_scope, roles, week_parts
from dashboard.printed import web_page
from dashboard.printed.week import week_pack
from models.figures.scope import Scope
from pipelines.loading import load

WIDER = "Choose All under Branch."


@pytest.fixture(scope="module")
def three_branches(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """North pulled switches; south attended a draft fault and pulled none; west was only there for maintenance."""
    home = tmp_path_factory.mktemp("branches")
    files = {
        "visits": [
            "visit_id,site_id,technician_id,arrived_at,visit_kind,symptom,is_declared_complete",
            *(f"N{n},SN{n},TN,2026-01-0{n}T10:00:00Z,no_heat,draft_not_proven,yes" for n in range(1, 7)),
            "S1,SS1,TS,2026-01-05T10:00:00Z,no_heat,draft_not_proven,yes",
            "W1,SW1,TW,2026-01-05T10:00:00Z,maintenance,,yes",
        ],
        "part_lines": [
            "visit_id,line_no,part_class,quantity",
            *(f"N{n},1,draft_switch,1" for n in range(1, 7)),
            "W1,1,gasket,1",
        ],
        "technicians": ["technician_id,technician_name,branch", "TN,Nora,north", "TS,Sam,south", "TW,Wim,west"],
        "coaching_sessions": ["session_id,technician_id,held_on,coach_id,remark", "C1,TW,2026-01-05,Kim,gauge first"],
    }
    for name, lines in files.items():
        (home / f"{name}.csv").write_text("\n".join(lines) + "\n", "utf-8")
    load(home, [home / f"{name}.csv" for name in files])
    return home


def test_the_sentence_names_what_is_narrowed() -> None:
    day = dt.date(2026, 1, 1)
    assert empty_scope.wider(Scope()) == ""
    assert empty_scope.wider(Scope(start_on=day, branch="north")) == "Choose a longer period, or All under Branch."
    assert empty_scope.wider(Scope(end_on=day)) == "Choose a longer period."
    assert empty_scope.wider(Scope(region="r", appliance_kind="boiler")) == (
        "Choose All under Region, or All under Appliance."
    )


pytest_home = pytest.mark.parametrize("served_home", ["three_branches"], indirect=True)


@pytest_home
@pytest.mark.parametrize("branch", ["south", "west"])
@pytest.mark.parametrize("name", ["this_week", "coaching", "parts_waste", "missing"])
def test_a_page_without_a_swap_says_how_to_see_more_and_clears_its_filters(
    served_home: Path, name: str, branch: str
) -> None:
    test = opened(name, branch=branch)
    assert_drawn(test)
    assert WIDER in said(test)
    test.button(key="clear_filters").click().run()
    assert_drawn(test)
    assert test.selectbox(key="branch").value == "All" and test.query_params.get("branch") in (None, [], ["All"])
    assert WIDER not in said(test)
    assert [one for one in test.button if one.key == "clear_filters"] == []


@pytest_home
@pytest.mark.parametrize("name", ["this_week", "coaching", "parts_waste", "missing"])
def test_a_page_with_swaps_offers_no_way_out_of_its_filters(served_home: Path, name: str) -> None:
    test = opened(name, branch="north")
    assert_drawn(test)
    assert WIDER not in said(test) and not [one for one in test.button if one.key == "clear_filters"]


@pytest_home
def test_the_coaching_log_stays_where_nobody_can_be_compared(served_home: Path) -> None:
    test = opened("coaching", branch="west")
    assert "there is nothing to compare" in said(test)
    assert "Coaching log" in [one.value for one in test.header] and "gauge first" in said(test)
    assert "Wim (TW)" in said(test)
    test = opened("coaching", branch="west", code_names="true")
    assert "gauge first" in said(test) and "Wim" not in said(test)


@pytest_home
def test_what_is_missing_has_no_headings_without_a_case(served_home: Path) -> None:
    test = opened("missing", branch="west")
    assert_drawn(test)
    assert [one.value for one in test.header] == []
    assert "Print the close-out checklist above" not in said(test)
    assert len(opened("missing").header) > 5


@pytest_home
def test_nobody_is_told_to_load_records_because_of_a_filter(served_home: Path) -> None:
    load_them = "Load records that tell which switches were pulled"
    for branch in ("south", "west"):
        assert load_them not in said(opened("this_week", branch=branch))
        with roles.whoever_has_the_files():
            document = week_pack(Scope(branch=branch), code_names.naming(False), None)
        assert load_them not in web_page.web_page(document).decode() and WIDER in web_page.web_page(document).decode()
    facts = {"n_swaps": 0}
    with roles.whoever_has_the_files():
        assert all(load_them not in step for step in week_parts.steps(Scope(branch="west"), facts))


@pytest.mark.parametrize("served_home", ["unclassed_home"], indirect=True)
def test_records_without_a_switch_still_ask_for_them(served_home: Path) -> None:
    test = opened("this_week")
    assert "Load records that tell which switches were pulled" in said(test)
    assert not [one for one in test.button if one.key == "clear_filters"]
