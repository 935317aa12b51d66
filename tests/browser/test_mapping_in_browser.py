"""A foreign export mapped on the Records page in a real browser: proposed, put right, previewed, confirmed, loaded."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
import served_pages
from mapping_steps import choose
from test_pages_in_browser import assert_sound, opened

from pipelines.loading import load
from pipelines.mapping.mapping_file import read_mapping
from pipelines.store import Store

pytestmark = pytest.mark.browser

HEADER = [
    "WO #",
    "Location",
    "Tech",
    "Arrival Time",
    "Call Type",
    "Symptom",
    "Tech Notes",
    "Part No",
    "Part Type",
    "Qty",
]
ROWS = [
    [
        "W1",
        "L1",
        "Ortiz",
        "13/01/2025 08:00",
        "No Heat",
        "draft not proven",
        "trap full",
        "PS-1",
        "SW PRESS RPLCD",
        "1",
    ],
    ["W1", "L1", "Ortiz", "13/01/2025 08:00", "No Heat", "draft not proven", "trap full", "H-2", "Hose", "2"],
    ["W2", "L2", "Lee", "02/02/2025 09:30", "Tune-up", "", "", "", "", ""],
    ["W3", "L1", "Lee", "21/01/2025 10:15", "No Heat", "draft not proven", "", "PS-1", "SW PRESS RPLCD", "1"],
]
VISITS = """visit_id,site_id,technician_id,arrived_at,visit_kind,symptom,notes
W1,L1,Ortiz,2025-01-13T08:00,no_heat,draft_not_proven,trap full
W2,L2,Lee,2025-02-02T09:30,maintenance,,
W3,L1,Lee,2025-01-21T10:15,no_heat,draft_not_proven,
"""
LINES = """visit_id,line_no,part_number,part_class,quantity
W1,1,PS-1,draft_switch,1
W1,2,H-2,hose,2
W3,1,PS-1,draft_switch,1
"""


def _records(home: Path) -> list[list[tuple]]:
    con = Store(home).open_reader()
    try:
        queries = (
            "SELECT * EXCLUDE (load_id, row_no) FROM delivered.visits ORDER BY visit_id",
            "SELECT * EXCLUDE (load_id, row_no) FROM delivered.part_lines ORDER BY visit_id, line_no",
            "SELECT swap_id, site_id, technician_id, part_number FROM swap ORDER BY ALL",
        )
        return [con.execute(query).fetchall() for query in queries]
    finally:
        con.close()


def test_a_wide_sheet_gives_the_records_and_swaps_of_the_canonical_files(browser, tmp_path):
    export, home, plain = tmp_path / "jobs.csv", tmp_path / "home", tmp_path / "plain"
    with export.open("w", newline="") as file:
        csv.writer(file).writerows([HEADER, *ROWS])
    plain.mkdir()
    (plain / "visits.csv").write_text(VISITS)
    (plain / "part_lines.csv").write_text(LINES)
    load(tmp_path / "other", [plain])
    home.mkdir()
    with (
        served_pages.served(home) as address,
        opened(browser, served_pages.address_of(address, "records")) as (tab, seen),
    ):
        tab.locator("input[type=file]").nth(1).set_input_files(str(export))
        served_pages.settled(tab)
        tab.get_by_role("button", name="Read the columns").click()
        tab.get_by_role("button", name="Show 20 rows in, 20 rows out").wait_for(timeout=60_000)
        served_pages.settled(tab)
        tab.get_by_role("button", name="Show 20 rows in, 20 rows out").click()
        # Before the codes are translated, the rows with them are held back, and the preview says why.
        tab.get_by_text("part_class is SW PRESS RPLCD; must be one of draft_switch").wait_for(timeout=60_000)
        assert tab.get_by_text("3 rows = 1 accepted + 2 held back + 0 exact duplicates").count() == 1
        served_pages.settled(tab)
        choose(tab, "part_class: “sw press rplcd” means", "draft_switch")
        choose(tab, "visit_kind: “tune-up” means", "maintenance")
        assert tab.get_by_role("button", name="Confirm and load").count() == 0
        tab.get_by_role("button", name="Show 20 rows in, 20 rows out").click()
        tab.get_by_text("I looked through every line").wait_for(timeout=60_000)
        served_pages.settled(tab)
        assert tab.get_by_text("3 rows = 3 accepted + 0 held back + 0 exact duplicates").count() == 2
        confirm = tab.get_by_role("button", name="Confirm and load")
        assert confirm.is_disabled()
        tab.get_by_text("I looked through every line").click()
        served_pages.settled(tab)
        confirm.click()
        tab.get_by_text("What the load did").wait_for(timeout=60_000)
        served_pages.settled(tab)
        assert_sound(tab, seen)
    assert len(_records(home)[2]) == 2
    assert _records(home) == _records(tmp_path / "other")
    (kept,) = (home / "mappings").glob("*.toml")
    assert read_mapping(kept).is_confirmed and dict(read_mapping(kept).sources[0].tables[0].columns)["visit_kind"].codes
