"""Open data nobody here wrote, mapped on the Records page: the rows of the mappings written by hand, and their arithmetic."""

from __future__ import annotations

from pathlib import Path

import mapping_steps
import pytest
import served_pages
from looking import assert_sound
from mapping_steps import choose, records_page

from pipelines.loading import load
from pipelines.mapping.mapping_file import mapping_of
from pipelines.store import Store

pytestmark = pytest.mark.browser

TESTS = Path(__file__).parents[1]
BOSTON = TESTS / "data" / "boston_heat_complaints.csv"
EXCAVATORS = TESTS / "data" / "excavators_raw.csv"
FILL = "Fill another column of the contract"
SAME = "– the same in every row –"
ROW_NUMBER = "– the file and the number of the row –"


def _rows(home: Path) -> list[list[tuple]]:
    con = Store(home).open_reader()
    try:
        return [
            con.execute(f"SELECT * EXCLUDE (load_id, row_no) FROM delivered.{table} ORDER BY ALL").fetchall()
            for table in ("visits", "part_lines")
        ]
    finally:
        con.close()


def _by_hand(tmp_path: Path, toml: str, source: Path) -> list[list[tuple]]:
    home = tmp_path / "by_hand"
    load(home, [source], mapping=mapping_of(toml))
    return _rows(home)


def test_the_boston_complaints_and_then_their_kept_mapping(browser, tmp_path):
    home = tmp_path / "home"
    home.mkdir()
    with records_page(browser, home) as (tab, seen):
        mapping_steps.upload(tab, [BOSTON])
        mapping_steps.read_columns(tab)
        choose(tab, "technician_id (required)", "pwd_district")
        choose(tab, "visit_kind: “heat - excessive insufficient” means", "no_heat")
        choose(tab, "visit_kind: every other spelling means", "other_fault")
        choose(tab, FILL, "symptom")
        choose(tab, "symptom: ", SAME)
        choose(tab, "symptom in every row", "no_heat_other")
        choose(tab, FILL, "is_declared_complete")
        choose(tab, "is_declared_complete: ", "CASE_STATUS")
        choose(tab, "is_declared_complete: “closed” means", "yes")
        choose(tab, "is_declared_complete: every other spelling means", "no")
        mapping_steps.write(tab, "Time zone", "America/New_York")
        # A few complaints name no district.
        mapping_steps.say_more(tab, "visits", "technician_id", "what stands for a blank cell", "none")
        mapping_steps.preview(tab)
        assert tab.get_by_text("7,644 rows = 7,644 accepted + 0 held back + 0 exact duplicates").count() == 1
        mapping_steps.confirm(tab)
        assert_sound(tab, seen)
    by_hand = (TESTS / "real_input" / "boston.toml").read_text("utf-8").replace(', prefix = "C"', "")
    assert _rows(home) == _by_hand(tmp_path, by_hand, BOSTON)
    # Next month: the mapping that reads the file is taken again by itself, and reads the new file as it stands.
    later = tmp_path / "boston_heat_complaints_later.csv"
    lines = BOSTON.read_text("utf-8").splitlines()
    later.write_text("\n".join([lines[0], lines[1].replace("101002327892", "101009999999")]) + "\n", "utf-8")
    with records_page(browser, home) as (tab, seen):
        mapping_steps.upload(tab, [BOSTON])
        mapping_steps.read_columns(tab)
        mapping_steps.write(tab, "Files it reads", "boston_heat_complaints*.csv")
        mapping_steps.upload(tab, [later])
        mapping_steps.preview(tab)
        assert tab.get_by_text("1 row = 1 accepted + 0 held back + 0 exact duplicates").count() == 1
        mapping_steps.confirm(tab)
        assert_sound(tab, seen)
    assert len(_rows(home)[0]) == 7_645


def test_a_text_that_is_no_mapping_is_told_and_the_draft_stays(browser, tmp_path):
    home = tmp_path / "home"
    home.mkdir()
    with records_page(browser, home) as (tab, _):
        mapping_steps.upload(tab, [BOSTON])
        mapping_steps.read_columns(tab)
        mapping_steps.use_text(tab, ("[source.table.columns]", '[source.table.columns]\nnothing = "TYPE"'))
        assert tab.get_by_text("nothing is no column of visits").count() == 1
        assert tab.get_by_role("button", name=mapping_steps.TRY).count() == 1


def test_the_excavator_orders_and_their_costs(browser, tmp_path):
    home = tmp_path / "home"
    home.mkdir()
    with records_page(browser, home) as (tab, seen):
        mapping_steps.upload(tab, [EXCAVATORS])
        mapping_steps.read_columns(tab)
        choose(tab, "visit_kind: “pm01” means", "other_fault")
        choose(tab, "visit_kind: “pm02” means", "maintenance")
        choose(tab, "visit_kind: every other spelling means", "other")
        choose(tab, FILL, "appliance_id")
        choose(tab, "appliance_id: ", "Asset")
        choose(tab, FILL, "notes")
        choose(tab, "notes: ", "OriginalShorttext")
        choose(tab, "Make another table of", "part_lines")
        choose(tab, "part_lines.visit_id comes from", ROW_NUMBER)
        choose(tab, "part_lines.line_no comes from", "– “1” in every row –")
        choose(tab, "part_lines.quantity comes from", "– “1” in every row –")
        tab.get_by_role("button", name="Make this table").click()
        served_pages.settled(tab)
        # Proposed for "Cost", which is what the whole order cost.
        tab.get_by_role("combobox", name="unit_cost: ").first.wait_for(timeout=60_000)
        choose(tab, "unit_cost: ", "– not filled –")
        choose(tab, FILL, "price")
        choose(tab, "price: ", "Cost")
        choose(tab, FILL, "part_class")
        choose(tab, "part_class: ", SAME)
        choose(tab, "part_class in every row", "other")
        mapping_steps.preview(tab)
        assert tab.get_by_text("5,485 rows = 5,485 accepted + 0 held back + 0 exact duplicates").count() == 1
        # A shifted cell, and a cost above the contract's limit.
        assert tab.get_by_text("5,485 rows = 5,483 accepted + 2 held back + 0 exact duplicates").count() == 1
        mapping_steps.confirm(tab)
        served_pages.settled(tab)
        assert_sound(tab, seen)
    by_hand = (TESTS / "real_input" / "excavators.toml").read_text("utf-8")
    by_hand = by_hand.replace('prefix = "W"', 'prefix = "row "').replace(
        '{ value = "none" }', '{ value = "not recorded" }'
    )
    assert _rows(home) == _by_hand(tmp_path, by_hand, EXCAVATORS)
