"""The Records page's controls of a mapping: files by a pattern, more about one column, rows left out."""

from __future__ import annotations

from pathlib import Path

import mapped_export
import page_texts
import pytest
from mapped_export import boxes, drafted, labelled, rules, sent, shape
from streamlit.testing.v1 import AppTest


@pytest.fixture
def page(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> AppTest:
    return mapped_export.begun(tmp_path, monkeypatch)


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
    for name, last in (("jobs_1.csv", "Tech"), ("jobs_2.csv", "Technician")):
        (folder / name).write_text((tmp_path / "jobs.csv").read_text("utf-8").replace("Tech", last, 1), "utf-8")
    page.text_input(key="map_path").set_value(str(folder)).run()
    page.button(key="map_propose").click().run()
    boxes_of_files = [box for box in page.text_input if box.label == "Files it reads"]
    assert [box.value for box in boxes_of_files] == ["jobs_1.csv", "jobs_2.csv"]
    boxes_of_files[0].set_value("jobs_*.csv").run()
    assert "would also read jobs" in page.error[0].value


def test_months_of_one_export_given_together_are_read_by_one_pattern(page, tmp_path):
    folder = tmp_path / "months"
    folder.mkdir()
    for name in ("jobs_2025_01.csv", "jobs_2025_02.csv"):
        (folder / name).write_text((tmp_path / "jobs.csv").read_text("utf-8"), "utf-8")
    page.text_input(key="map_path").set_value(str(folder)).run()
    page.button(key="map_propose").click().run()
    assert [box.value for box in page.text_input if box.label == "Files it reads"] == ["jobs_*.csv"]
    assert len(page.session_state["map_draft"].mapping.sources) == 1


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
    assert "No rows where Location says L2 or test; rows where Tech says Lee or J. Ortiz." in page_texts.said(page)
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
