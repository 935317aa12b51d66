"""The Records page's controls of a mapping: nobody has to write it as text. What they make is tried and loaded."""

from __future__ import annotations

from pathlib import Path

import mapped_export
import page_texts
import pytest
from mapped_export import boxes, drafted, labelled, rules, sent, shape
from streamlit.testing.v1 import AppTest

from dashboard import mapping_rules
from pipelines.mapping.declared import ColumnRule
from pipelines.mapping.samples import Sample
from pipelines.store import Store

SEEMS = "Seems to be there too; take away what is wrong"


@pytest.fixture
def page(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> AppTest:
    return mapped_export.begun(tmp_path, monkeypatch)


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
        "bench_tests.bench_test_id": mapping_rules.ROW_NUMBER,
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
