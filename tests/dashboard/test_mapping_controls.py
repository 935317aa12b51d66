"""The Records page's controls of a mapping: nobody has to write it as text. What they make is tried and loaded."""

from __future__ import annotations

import csv
from pathlib import Path

import page_texts
import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest

from dashboard import mapping_rules
from pipelines.mapping.declared import ColumnRule, Mapping
from pipelines.mapping.mapping_file import mapping_of
from pipelines.mapping.samples import Sample
from pipelines.mapping.writing import toml_of
from pipelines.store import Store

SEEMS = "Seems to be there too; take away what is wrong"
HEADER = ["WO #", "Location", "Tech", "Day", "Hour", "Call Type", "Part/Class", "Draft start", "Draft run"]
ROWS = [
    ["W1", "L1", "J. Ortiz", "31/01/2025", "08:00", "no_heat", "PS-1 / draft_switch", "150 Pa", "210 Pa"],
    ["W2", "L2", "Ortiz J", "13/02/2025", "09:30", "maintenance", "", "", "190 Pa"],
    ["W3", "L1", "Lee", "02/03/2025", "10:15", "no_heat", "H-2 / hose", "", ""],
]


@pytest.fixture
def page(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> AppTest:
    """The page of an empty home, the columns of the export read."""
    export = tmp_path / "jobs.csv"
    with export.open("w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows([HEADER, *ROWS])
    (tmp_path / "home").mkdir()
    monkeypatch.setenv("GOODPULL_HOME", str(tmp_path / "home"))
    st.cache_data.clear()
    st.cache_resource.clear()
    page = page_texts.opened("records")
    page.text_input(key="map_path").set_value(str(export)).run()
    page.button(key="map_propose").click().run()
    page_texts.assert_drawn(page)
    return page


def drafted(page: AppTest) -> Mapping:
    """The mapping as it stands; it reads back from its text to itself."""
    mapping = page.session_state["map_draft"].mapping
    assert mapping_of(toml_of(mapping)) == mapping
    return mapping


def rules(page: AppTest, table: str) -> dict[str, ColumnRule]:
    found = [made for source in drafted(page).sources for made in source.tables if made.table_name == table]
    return dict(found[-1].columns)


def labelled(elements, label: str):
    (found,) = [one for one in elements if one.label == label]
    return found


def boxes(page: AppTest) -> str:
    """What the keys of the boxes of the only file begin with."""
    return f"map_{page.session_state['map_draft'].round}_0"


def shape(page: AppTest, table: str, field: str) -> None:
    n = [made.table_name for made in page.session_state["map_draft"].mapping.sources[0].tables].index(table)
    page.selectbox(key=f"{boxes(page)}_{n}_shape_of").set_value(field).run()


def sent(page: AppTest, label: str) -> None:
    labelled(page.button, label).click().run()
    page_texts.assert_drawn(page)


def make_part_lines(page: AppTest) -> None:
    labelled(page.selectbox, "Make another table of jobs.csv").set_value("part_lines").run()
    questions = asked(page)
    for field, option in (("visit_id", "WO #"), ("line_no", "– counted within each visit –"),
                          ("quantity", "– “1” in every row –")):  # fmt: skip
        questions[f"part_lines.{field}"].set_value(option)
    page.run()
    for box in page.multiselect:
        if box.label == SEEMS:
            box.set_value([])
    page.run()
    sent(page, "Make this table")
    assert set(rules(page, "part_lines")) == {"visit_id", "line_no", "quantity"}


def test_columns_are_joined_and_the_form_of_their_dates_chosen(page):
    shape(page, "visits", "arrived_at")
    labelled(page.multiselect, "visits.arrived_at: made of, in this order").set_value(["Day", "Hour"])
    labelled(page.multiselect, "visits.arrived_at: dates are written like").set_value(["%d/%m/%Y %H:%M"])
    sent(page, "Use for visits.arrived_at")
    made = rules(page, "visits")["arrived_at"]
    assert (made.columns, made.join, made.formats) == (("Day", "Hour"), " ", ("%d/%m/%Y %H:%M",))


def test_forms_of_dates_are_chosen_for_the_whole_export(page):
    labelled(page.multiselect, "Dates are written like").set_value(["%m/%d/%Y", "excel serial"]).run()
    page_texts.assert_drawn(page)
    assert drafted(page).date_formats == ("%m/%d/%Y", "excel serial")


def test_a_column_is_split_into_two(page):
    make_part_lines(page)
    for field, piece in (("part_number", 1), ("part_class", -1)):
        shape(page, "part_lines", field)
        labelled(page.multiselect, f"part_lines.{field}: made of, in this order").set_value(["Part/Class"])
        labelled(page.text_input, f"part_lines.{field}: split at (blank: the whole cell)").set_value("/")
        labelled(page.selectbox, f"part_lines.{field}: piece taken, where it is split").set_value(piece)
        sent(page, f"Use for part_lines.{field}")
    made = rules(page, "part_lines")
    assert [(made[one].columns, made[one].split, made[one].part) for one in ("part_number", "part_class")] == [
        (("Part/Class",), "/", 1), (("Part/Class",), "/", -1),
    ]  # fmt: skip


def asked(page: AppTest) -> dict:
    """The questions about a table to be made, by table and column."""
    return {box.label.split(" comes")[0]: box for box in page.selectbox if " comes from: " in box.label}


def test_another_table_asks_for_what_it_needs_and_fills_nothing_in_silently(page):
    before = drafted(page)
    labelled(page.selectbox, "Make another table of jobs.csv").set_value("bench_tests").run()
    assert drafted(page) == before
    answers = {
        "bench_tests.bench_test_id": "– the number of the row –",
        "bench_tests.tested_at": "Day",
        "bench_tests.pressure_unit": "– “Pa” in every row –",
        "bench_tests.visit_id": "WO #",
    }
    assert list(asked(page)) == [*list(answers)[:3], "bench_tests.removed_tag", "bench_tests.visit_id"]
    assert (
        asked(page)["bench_tests.bench_test_id"].value is None
        and asked(page)["bench_tests.pressure_unit"].value is None
    )
    for field in ("removed_tag", "visit_id"):
        asked(page)[f"bench_tests.{field}"].set_value("– not filled –")
    page.run()
    for question, answer in answers.items():
        assert labelled(page.button, "Make this table").disabled, question
        asked(page)[question].set_value(answer).run()
    sent(page, "Make this table")
    made = rules(page, "bench_tests")
    assert made["bench_test_id"] == ColumnRule(is_row_number=True, prefix="row ")
    assert (made["visit_id"].columns, made["pressure_unit"].value) == (("WO #",), "Pa")


def test_other_spellings_are_kept_and_taken_away(page):
    box = labelled(page.selectbox, "As it stands in the export")
    assert {"J. Ortiz", "Ortiz J", "Lee"} <= set(box.options)
    box.set_value("Ortiz J")
    labelled(page.text_input, "Stands for").set_value("J. Ortiz")
    sent(page, "Keep this spelling")
    assert drafted(page).technician_aliases == (("ortiz j", "J. Ortiz"),)
    sent(page, "Take away")
    assert drafted(page).technician_aliases == ()
    labelled(page.selectbox, "Spellings of").set_value("sites").run()
    labelled(page.selectbox, "As it stands in the export").set_value("L1")
    labelled(page.text_input, "Stands for").set_value("L-100")
    sent(page, "Keep this spelling")
    assert drafted(page).site_aliases == (("l1", "L-100"),)


def test_spellings_that_go_round_are_told_and_nothing_changes(page):
    for spelling, target in (("J. Ortiz", "Lee"), ("Lee", "J. Ortiz")):
        labelled(page.selectbox, "As it stands in the export").set_value(spelling)
        labelled(page.text_input, "Stands for").set_value(target)
        labelled(page.button, "Keep this spelling").click().run()
    assert "goes round in a circle" in page.error[0].value
    assert drafted(page).technician_aliases == (("j. ortiz", "Lee"),)


def test_a_column_for_each_reading_becomes_readings_and_all_of_it_loads(page, tmp_path):
    # The proposal takes one of the columns for readings already, and the other for an appliance.
    n = [made.table_name for made in drafted(page).sources[0].tables].index("readings")
    page.button(key=f"{boxes(page)}_{n}_out").click().run()
    (appliance,) = [box for box in page.selectbox if box.label.startswith("appliance_id: ")]
    appliance.set_value("– not filled –").run()
    make_part_lines(page)
    shape(page, "visits", "arrived_at")
    labelled(page.multiselect, "visits.arrived_at: made of, in this order").set_value(["Day", "Hour"])
    labelled(page.multiselect, "visits.arrived_at: dates are written like").set_value(["%d/%m/%Y %H:%M"])
    sent(page, "Use for visits.arrived_at")
    for field, piece in (("part_number", 1), ("part_class", 2)):
        shape(page, "part_lines", field)
        labelled(page.multiselect, f"part_lines.{field}: made of, in this order").set_value(["Part/Class"])
        labelled(page.text_input, f"part_lines.{field}: split at (blank: the whole cell)").set_value("/")
        labelled(page.selectbox, f"part_lines.{field}: piece taken, where it is split").set_value(piece)
        sent(page, f"Use for part_lines.{field}")
    n = [made.table_name for made in drafted(page).sources[0].tables].index("part_lines")
    page.selectbox(key=f"{boxes(page)}_{n}_rows").set_value("Part/Class").run()
    labelled(page.selectbox, "As it stands in the export").set_value("Ortiz J")
    labelled(page.text_input, "Stands for").set_value("J. Ortiz")
    sent(page, "Keep this spelling")
    for column, condition in (("Draft start", "start"), ("Draft run", "hot_running")):
        labelled(page.selectbox, "Column with the reading").set_value(column)
        labelled(page.selectbox, "What its gauge read").set_value("draft_at_switch")
        labelled(page.selectbox, "Operating condition").set_value(condition)
        sent(page, "Make readings of this column")
    sent(page, "Show 20 rows in, 20 rows out")
    labelled(page.checkbox, "I looked through every line and at the rows above").check().run()
    sent(page, "Confirm and load")
    con = Store(tmp_path / "home").open_reader()
    try:
        visits = con.execute(
            "SELECT visit_id, technician_id, strftime(arrived_at, '%Y-%m-%d %H:%M') FROM delivered.visits ORDER BY 1"
        ).fetchall()
        lines = con.execute(
            "SELECT visit_id, line_no, part_number, part_class FROM delivered.part_lines ORDER BY 1, 2"
        ).fetchall()
        readings = con.execute(
            "SELECT visit_id, reading_no, quantity, condition, value_pa FROM reading ORDER BY 1, 2"
        ).fetchall()
    finally:
        con.close()
    assert visits == [
        ("W1", "J. Ortiz", "2025-01-31 08:00"), ("W2", "J. Ortiz", "2025-02-13 09:30"), ("W3", "Lee", "2025-03-02 10:15"),
    ]  # fmt: skip
    assert lines == [("W1", 1, "PS-1", "draft_switch"), ("W3", 1, "H-2", "hose")]
    assert readings == [
        ("W1", 1, "draft_at_switch", "start", 150), ("W1", 2, "draft_at_switch", "hot_running", 210),
        ("W2", 2, "draft_at_switch", "hot_running", 190),
    ]  # fmt: skip


def test_columns_of_readings_stay_clear_of_counted_ones(page):
    labelled(page.selectbox, "Make another table of jobs.csv").set_value("readings").run()
    questions = asked(page)
    questions["readings.visit_id"].set_value("WO #")
    questions["readings.reading_no"].set_value("– counted within each visit –")
    questions["readings.quantity"].set_value("– “draft_at_port” in every row –")
    questions["readings.value"].set_value("Draft start")
    page.run()
    sent(page, "Make this table")
    assert rules(page, "readings")["reading_no"].number_within == ("WO #",)
    for wanted in ("1001", "1002"):
        labelled(page.selectbox, "Column with the reading").set_value("Draft run")
        labelled(page.selectbox, "What its gauge read").set_value("draft_at_switch")
        sent(page, "Make readings of this column")
        assert rules(page, "readings")["reading_no"].value == wanted


def test_a_form_without_its_answers_is_told_and_changes_nothing(page):
    before = drafted(page)
    labelled(page.button, "Make readings of this column").click().run()
    assert [error.value for error in page.error] == ["Choose the column, what was read, and what names the visit."]
    labelled(page.button, "Keep this spelling").click().run()
    assert [error.value for error in page.error] == ["Give the spelling and what it stands for."]
    assert drafted(page) == before


def test_the_first_cells_of_a_column_stand_beside_its_choice() -> None:
    rows = [("A1", "01.02.2025", "9:05", "x" * 40), ("A1", "", "7:30", None), (None, "03.02.2025", None, None)]
    sample = Sample("jobs.csv", None, ["Job", "Day", "Time", "Note"], rows)
    told = mapping_rules.stands_there
    assert told(ColumnRule(columns=("job",)), sample) == "such as A1"
    assert told(ColumnRule(columns=("Day", "Time")), sample) == "such as 01.02.2025 + 9:05 · 7:30 · 03.02.2025"
    assert told(ColumnRule(columns=("Note",)), sample) == f"such as {'x' * 27}…"
    assert told(ColumnRule(value="1"), sample) == "" and told(ColumnRule(columns=("gone",)), sample) == ""
    blank = Sample("jobs.csv", None, ["Job"], [(" ",), (None,)])
    assert told(ColumnRule(columns=("Job",)), blank) == "blank in the first 2 rows"


def test_the_files_a_mapping_reads_are_told_by_a_pattern(page, tmp_path):
    box = labelled(page.text_input, "Files it reads")
    assert box.value == "jobs.csv"
    box.set_value("visits*.csv").run()
    (error,) = page.error
    assert "does not fit jobs" in error.value and drafted(page).sources[0].file == "jobs.csv"
    labelled(page.text_input, "Files it reads").set_value("jobs*.csv").run()
    page_texts.assert_drawn(page)
    assert drafted(page).sources[0].file == "jobs*.csv"


def test_a_dated_name_is_proposed_as_a_pattern_and_next_months_file_is_at_hand(page, tmp_path):
    body = (tmp_path / "jobs.csv").read_text("utf-8")
    for name in ("jobs_2025_01.csv", "jobs_2025_02.csv"):
        (tmp_path / name).write_text(body, "utf-8")
    page.text_input(key="map_path").set_value(str(tmp_path / "jobs_2025_01.csv")).run()
    page.button(key="map_propose").click().run()
    page_texts.assert_drawn(page)
    assert labelled(page.text_input, "Files it reads").value == "jobs_*.csv"
    page.text_input(key="map_path").set_value(str(tmp_path / "jobs_2025_02.csv")).run()
    page.button(key="map_try").click().run()
    page_texts.assert_drawn(page)
    assert "jobs_2025_02.csv → visits" in page_texts.said(page)


def test_each_file_of_several_has_a_pattern_of_its_own(page, tmp_path):
    folder = tmp_path / "several"
    folder.mkdir()
    for name in ("jobs_1.csv", "jobs_2.csv"):
        (folder / name).write_text((tmp_path / "jobs.csv").read_text("utf-8"), "utf-8")
    page.text_input(key="map_path").set_value(str(folder)).run()
    page.button(key="map_propose").click().run()
    boxes_of_files = [box for box in page.text_input if box.label == "Files it reads"]
    assert [box.value for box in boxes_of_files] == ["jobs_1.csv", "jobs_2.csv"]
    boxes_of_files[0].set_value("jobs_*.csv").run()
    assert "would also read jobs" in page.error[0].value


def more_about(page: AppTest, table: str, field: str) -> None:
    n = [made.table_name for made in page.session_state["map_draft"].mapping.sources[0].tables].index(table)
    page.selectbox(key=f"{boxes(page)}_{n}_more_of").set_value(field).run()


def test_what_fills_blank_cells_what_means_blank_and_what_stands_before_is_chosen(page):
    more_about(page, "visits", "technician_id")
    labelled(page.text_input, "visits.technician_id: what stands for a blank cell").set_value("nobody")
    labelled(page.multiselect, "visits.technician_id: cells that mean nothing entered").set_value(["Lee"])
    labelled(page.text_input, "visits.technician_id: put before every filled cell").set_value("T ").run()
    page_texts.assert_drawn(page)
    made = rules(page, "visits")["technician_id"]
    assert (made.default, made.blank, made.prefix) == ("nobody", ("Lee",), "T ")
    said = page_texts.said(page)
    assert "“Lee” means blank; “T ” put before; “nobody” where blank" in said
    labelled(page.text_input, "visits.technician_id: what stands for a blank cell").set_value("").run()
    assert rules(page, "visits")["technician_id"].default is None


def test_a_blank_code_becomes_one_of_the_codes(page):
    more_about(page, "visits", "visit_kind")
    box = labelled(page.selectbox, "visits.visit_kind: what stands for a blank cell")
    assert {"no_heat", "maintenance"} <= set(box.options)
    box.set_value("maintenance").run()
    assert rules(page, "visits")["visit_kind"].default == "maintenance"
    labelled(page.selectbox, "visits.visit_kind: what stands for a blank cell").set_value("– stays blank –").run()
    assert rules(page, "visits")["visit_kind"].default is None


def test_a_part_of_a_cell_is_taken_and_shown(page):
    label = "visits.visit_id: part taken of each cell (blank: the whole cell)"
    more_about(page, "visits", "visit_id")
    labelled(page.text_input, label).set_value(r"W([12])").run()
    page_texts.assert_drawn(page)
    assert rules(page, "visits")["visit_id"].pattern == "W([12])"
    assert "“W1” gives “1”; “W2” gives “2”; “W3” gives nothing" in page_texts.said(page)
    for wrong, said in (
        ("W(1", "no regular expression"),
        ("W1", "has 0 groups"),
        ("(?=W)(1)", "no regular expression"),
    ):
        labelled(page.text_input, label).set_value(wrong).run()
        (error,) = page.error
        assert said in error.value and "Write it like" in error.value
        assert rules(page, "visits")["visit_id"].pattern == "W([12])"
    labelled(page.text_input, label).set_value("").run()
    assert rules(page, "visits")["visit_id"].pattern is None


def test_a_split_column_takes_no_other_part(page):
    more_about(page, "visits", "visit_id")
    labelled(page.text_input, "visits.visit_id: part taken of each cell (blank: the whole cell)").set_value("(W)").run()
    shape(page, "visits", "visit_id")
    labelled(page.text_input, "visits.visit_id: split at (blank: the whole cell)").set_value("-")
    sent(page, "Use for visits.visit_id")
    made = rules(page, "visits")["visit_id"]
    assert (made.split, made.pattern) == ("-", None)
    assert not [box for box in page.text_input if "part taken of each cell" in box.label]
    assert "Its cells are split" in page_texts.said(page)


def leave_out(page: AppTest, column: str, spellings: list[str], how: str = "leave out these rows") -> None:
    """Choose rows of the first table."""
    (box, *_) = [box for box in page.selectbox if box.label == "Choose rows by what stands in"]
    box.set_value(column).run()
    labelled(page.selectbox, "What is done").set_value(how)
    labelled(page.multiselect, f"Where {column} says").set_value(spellings)
    sent(page, "Use for the rows of visits")


def conditions(page: AppTest) -> list[tuple]:
    return [(one.column, one.is_in, one.is_not_in, one.is_filled) for one in drafted(page).sources[0].tables[0].rows]


def test_rows_are_left_out_and_kept_by_what_stands_in_a_column(page):
    assert drafted(page).sources[0].tables[0].table_name == "visits"
    before = conditions(page)
    leave_out(page, "Location", ["L2", "test"])
    leave_out(page, "Tech", ["Lee", "J. Ortiz"], "keep only these rows")
    chosen = [("Location", (), ("L2", "test"), False), ("Tech", ("Lee", "J. Ortiz"), (), False)]
    assert conditions(page) == [*before, *chosen]
    assert "No rows with Location one of L2, test; rows with Tech one of Lee, J. Ortiz." in page_texts.said(page)
    # Where a column must be filled besides, the conditions stay.
    page.selectbox(key=f"{boxes(page)}_0_rows").set_value("WO #").run()
    assert conditions(page) == [("WO #", (), (), True), *chosen]
    labelled(page.multiselect, "Leave out rows where Location says").set_value(["L2"]).run()
    labelled(page.multiselect, "Keep only rows where Tech says").set_value([]).run()
    assert conditions(page) == [("WO #", (), (), True), ("Location", (), ("L2",), False)]


def test_rows_left_out_are_not_made(page):
    leave_out(page, "Location", ["l2"])
    sent(page, "Show 20 rows in, 20 rows out")
    assert "1 left out by the mapping's conditions" in page_texts.said(page)


def test_no_spelling_chosen_is_told_and_changes_nothing(page):
    before = conditions(page)
    (box, *_) = [box for box in page.selectbox if box.label == "Choose rows by what stands in"]
    box.set_value("Tech").run()
    labelled(page.button, "Use for the rows of visits").click().run()
    assert [error.value for error in page.error] == ["Choose or type at least one spelling."]
    assert conditions(page) == before
