"""Every page on an empty home, on a single visit and on a small fleet: drawn, with an answer, without an error."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from page_texts import assert_drawn, opened, said
from streamlit.testing.v1 import AppTest

TITLES = {
    "this_week": "This week",
    "coaching": "Coaching",
    "parts_waste": "Parts waste",
    "seasons": "Seasons",
    "sites": "Sites",
    "bench": "Bench",
    "records": "Records",
    "missing": "What is missing",
    "corrections": "Corrections",
    "method": "Method",
}
HOMES = ("empty_home", "one_visit_home", "fleet_home")


@pytest.mark.parametrize("served_home", HOMES, indirect=True)
@pytest.mark.parametrize("name", TITLES)
def test_page_is_drawn_with_an_answer(name: str, served_home: Path) -> None:
    test = opened(name)
    assert_drawn(test)
    assert [title.value for title in test.title] == [TITLES[name]]
    answer = test.markdown[0].value
    assert len(answer) > 20 and answer.rstrip().endswith("."), answer
    for nothing in ("nan", "None(?! of)", "NaT", "inf"):
        found = re.search(rf".*\b{nothing}\b.*", said(test))
        assert not found, found[0]


@pytest.mark.parametrize("served_home", ["empty_home"], indirect=True)
@pytest.mark.parametrize(
    "name", ["this_week", "coaching", "parts_waste", "seasons", "sites", "bench", "records", "missing", "corrections"]
)
def test_empty_home_says_what_to_do(name: str, served_home: Path) -> None:
    text = said(opened(name))
    assert "No records yet" in text
    assert "Load your visit records" in text


@pytest.mark.parametrize("served_home", ["one_visit_home"], indirect=True)
def test_thin_records_give_no_made_up_figure(served_home: Path) -> None:
    assert "1 draft fault, 1 switch pulled" in said(opened("this_week"))
    seasons = said(opened("seasons"))
    assert "Not known" in seasons and "peak around" not in seasons
    assert "Look here first: " not in said(opened("coaching"))


@pytest.mark.parametrize("served_home", ["one_visit_home"], indirect=True)
def test_records_page_accounts_for_every_row(served_home: Path) -> None:
    text = said(opened("records"))
    assert "3 rows read from 2 files: 2 accepted, 1 held back, 0 exact duplicates." in text
    assert "visits.customer_name" in text
    assert "5014-09-15" in text


@pytest.mark.parametrize("served_home", ["one_visit_home"], indirect=True)
def test_health_checks_are_run_when_asked_for(served_home: Path) -> None:
    test = opened("records")
    assert "Nothing was found" not in said(test)
    test.session_state["health"] = True
    test.run()
    assert_drawn(test)
    assert "Nothing was found" in said(test) or "notice" in said(test)


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
def test_safety_and_fairness_stand_where_they_belong(served_home: Path) -> None:
    for name in ("this_week", "seasons", "sites"):
        assert "Never bypass, adjust or substitute a safety switch" in said(opened(name)), name
    assert "must not decide pay or discipline" in said(opened("coaching"))


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
def test_every_figure_shows_its_range_what_it_rests_on_and_its_visits(served_home: Path) -> None:
    for name in ("this_week", "coaching", "parts_waste", "seasons"):
        test = opened(name)
        cards = [element.proto.body for element in test.get("html") if 'class="gp-card' in element.proto.body]
        assert cards, name
        for card in cards:
            assert re.search(r"<p>(Between|Counted|Range|.{10,})", card), card
            assert 'class="gp-quiet"' in card, card
        assert [button for button in test.button if button.key.startswith("behind_")], name


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
def test_a_figure_opens_the_visits_behind_it(served_home: Path) -> None:
    test = opened("this_week")
    test.button(key="behind_without_cause").click().run()
    assert_drawn(test)
    table = test.dataframe[0].value
    assert len(table) > 5
    assert set(table["Root cause"]) <= {"no cause", "code only"}


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
def test_filters_stand_in_the_address_and_narrow_the_figures(served_home: Path) -> None:
    whole = opened("this_week")
    branch = whole.selectbox(key="branch").options[1]
    narrowed = opened("this_week", branch=branch)
    assert_drawn(narrowed)
    assert narrowed.selectbox(key="branch").value == branch
    pulled = r"Tested: [\d,]+ of ([\d,]+) pulled"
    n_whole, n_branch = (int(re.search(pulled, said(test))[1].replace(",", "")) for test in (whole, narrowed))
    assert 0 < n_branch < n_whole
    # The filter is kept from page to page.
    narrowed.switch_page("views/seasons.py").run()
    assert narrowed.selectbox(key="branch").value == branch


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
def test_filters_that_leave_nothing_are_met_with_a_sentence(served_home: Path) -> None:
    test = opened("this_week", period="Chosen dates", dates="2022-05-02,2022-05-02")
    for name in TITLES:
        if name != "this_week":
            test.switch_page(f"views/{name}.py").run()
        assert_drawn(test)


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
def test_technician_sheet_has_steps_comparison_and_three_visits(served_home: Path) -> None:
    test = opened("coaching")
    choice = test.selectbox(key="technician_choice")
    test.session_state["technician_choice"] = next(iter(_ids(test)))
    test.run()
    assert_drawn(test)
    text = said(test)
    assert "Against whom, and why that is fair" in text
    assert "what did the gauge say?" in text
    assert "Notes as written" in text
    assert choice.label == "Technician"


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
def test_code_names_hide_names_and_ids_everywhere_on_the_page(served_home: Path) -> None:
    plain = opened("coaching")
    names = set(plain.selectbox(key="technician_choice").options)
    hidden = opened("coaching", code_names="true")
    assert_drawn(hidden)
    assert not names & set(hidden.selectbox(key="technician_choice").options)
    page = said(hidden) + " ".join(str(table.value.to_dict()) for table in hidden.dataframe)
    assert not re.search(r"\(T\d{3}\)", page)


@pytest.mark.parametrize("served_home", ["empty_home"], indirect=True)
def test_files_are_checked_and_loaded_by_path(
    served_home: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("GOODPULL_HOME", str(tmp_path / "home"))
    file = tmp_path / "visits.csv"
    file.write_text("visit_id,site_id,technician_id,arrived_at,visit_kind\nV1,S1,T1,2026-01-05,no_heat\n", "utf-8")
    test = opened("records")
    test.text_input(key="load_path").set_value(str(file)).run()
    test.button(key="check_button_path").click().run()
    assert_drawn(test)
    assert "nothing was changed" in said(test)
    assert not (tmp_path / "home" / "current").exists()
    test.button(key="load_button_path").click().run()
    assert_drawn(test)
    assert "1 row read from 1 file: 1 accepted, 0 held back, 0 exact duplicates." in said(test)
    test.text_input(key="load_path").set_value(str(tmp_path / "missing.csv")).run()
    test.button(key="load_button_path").click().run()
    assert not test.exception
    assert "missing.csv" in " ".join(error.value for error in test.error) + said(test)


def test_reasons_are_told_without_file_and_line() -> None:
    from dashboard.views.records import what_must_be

    told = (
        "visits.csv line 14: arrived_at is 5014-09-15; must lie between 1990 and tomorrow. Row held back; see Records."
    )
    assert what_must_be(told) == "must lie between 1990 and tomorrow"
    assert what_must_be("a.csv line 2: holds control characters") == "holds control characters"


def _ids(test: AppTest) -> list[str]:
    from dashboard import figures_access

    return figures_access.whole().technicians.table.sort_values("swaps", ascending=False)["technician_id"].tolist()
