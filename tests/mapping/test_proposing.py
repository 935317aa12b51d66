"""Proposals: right where names and values speak, doubtful and said so where they do not."""

from __future__ import annotations

from pathlib import Path

import duckdb
import openpyxl
import pytest

from pipelines import intake
from pipelines.contract.tables import TABLE_BY_NAME
from pipelines.mapping.declared import ColumnRule
from pipelines.mapping.mapping_file import mapping_of
from pipelines.mapping.proposing import propose
from pipelines.mapping.samples import samples_of
from pipelines.mapping.spellings import FLAGS, is_understood
from pipelines.mapping.value_signs import decimal_comma, formats_fitting
from pipelines.mapping.writing import toml_of

CLEANING = Path(intake.__file__).with_name("cleaning.sql")
HEADER = ["WO #", "Location", "Tech", "Arrival Time", "Call Type", "Tech Notes", "Part No", "Qty", "Customer Phone"]
ROWS = [
    ["W1", "L1", "Ortiz", "13/01/2025 08:00", "No Heat", "trap full", "PS-1", "1", "555"],
    ["W1", "L1", "Ortiz", "13/01/2025 08:00", "No Heat", "trap full", "H-2", "2", "555"],
    ["W2", "L2", "Lee", "02/02/2025 09:30", "Tune-up", "", "", "", "556"],
]


def proposal_of(path, tmp_path):
    scratch = tmp_path / "scratch"
    scratch.mkdir()
    return propose(list(samples_of(path, scratch)), "jobs")


def test_a_wide_sheet_is_recognised_as_visits_and_part_lines(desk, tmp_path):
    proposal = proposal_of(desk.write("jobs.csv", HEADER, ROWS), tmp_path)
    (source,) = proposal.mapping.sources
    tables = {table.table_name: dict(table.columns) for table in source.tables}
    assert set(tables) == {"visits", "part_lines"}
    visits, lines = tables["visits"], tables["part_lines"]
    wanted = {"visit_id": "WO #", "site_id": "Location", "technician_id": "Tech", "arrived_at": "Arrival Time",
              "visit_kind": "Call Type", "notes": "Tech Notes"}  # fmt: skip
    assert {field: visits[field].columns[0] for field in wanted} == wanted
    assert (lines["part_number"].columns, lines["quantity"].columns) == (("Part No",), ("Qty",))
    assert lines["line_no"] == ColumnRule(number_within=("WO #",))
    (by_name,) = [table for table in source.tables if table.table_name == "part_lines"]
    assert [(one.column, one.is_filled) for one in by_name.rows] == [("Part No", True)]
    assert [table.is_distinct for table in source.tables if table.table_name == "visits"] == [True]
    assert proposal.mapping.date_formats == ("%d/%m/%Y %H:%M",)
    assert not any("Phone" in column for table in source.tables for column in table.sources())


def test_a_part_without_a_number_is_still_a_line_of_the_sheet(desk, tmp_path):
    """What every part line holds tells the rows; a number the form begins with in every row tells nothing."""
    unnumbered = ["W2", "L2", "Lee", "02/02/2025 09:30", "Tune-up", "", "", "1", "556"]
    for quantity, told_by in (("", "Qty"), ("0", "Part No")):
        rows = [*ROWS[:-1], unnumbered, ["W3", "L2", "Lee", "03/02/2025 09:30", "Tune-up", "", "", quantity, "556"]]
        folder = tmp_path / told_by
        folder.mkdir()
        (source,) = proposal_of(desk.write("jobs.csv", HEADER, rows), folder).mapping.sources
        (lines,) = [table for table in source.tables if table.table_name == "part_lines"]
        assert [(one.column, one.is_filled) for one in lines.rows] == [(told_by, True)]


def test_every_line_says_how_sure_it_is_and_what_is_left_to_translate(desk, tmp_path):
    proposal = proposal_of(desk.write("jobs.csv", HEADER, ROWS), tmp_path)
    toml = toml_of(proposal.mapping, proposal.remarks)
    assert mapping_of(toml) == proposal.mapping and not mapping_of(toml).is_confirmed
    (line,) = [line for line in toml.splitlines() if line.startswith("visit_kind")]
    assert "still to translate: tune-up" in line
    assert all(0 < sure < 1 for sure in proposal.confidence.values())
    assert set(proposal.confidence) == {
        (0, table.table_name, field) for table in proposal.mapping.sources[0].tables for field, _ in table.columns
    }


def test_a_column_of_dates_is_never_proposed_for_an_identifier(desk, tmp_path):
    proposal = proposal_of(
        desk.write("x.csv", ["Tech", "Site", "Start"], [["2025-01-01", "a", "2025-01-01"]] * 3), tmp_path
    )
    for source in proposal.mapping.sources:
        for table in source.tables:
            for field, rule in table.columns:
                assert table.table.by_name[field].kind != "id" or rule.columns != ("Tech",)


def test_where_nothing_is_like_the_contract_no_table_is_proposed_and_that_is_said(desk, tmp_path):
    proposal = proposal_of(desk.write("x.csv", ["colour", "sound"], [["red", "loud"]]), tmp_path)
    assert proposal.mapping.sources == () and "no table could be proposed" in proposal.untold[0]


def test_the_header_of_a_sheet_is_found_below_its_title(desk, tmp_path):
    book = openpyxl.Workbook()
    book.active.append(["Service calls", None, "2025"])
    book.active.append([])
    for row in [HEADER, *ROWS]:
        book.active.append(row)
    book.save(desk.folder / "jobs.xlsx")
    (sample,) = samples_of(desk.folder / "jobs.xlsx", tmp_path)
    assert sample.columns == HEADER and len(sample.rows) == 3


@pytest.mark.parametrize(
    ("cells", "formats"),
    [
        (["01/02/2025", "13/02/2025"], ["%d/%m/%Y"]),
        (["01/02/2025", "02/13/2025"], ["%m/%d/%Y"]),
        (["1.2.2025 14:00", "3.2.2025"], ["%d.%m.%Y %H:%M", "%d.%m.%Y"]),
        (["2025-01-02", "17"], []),
    ],
)
def test_formats_of_dates_are_told_by_the_values(cells, formats):
    assert formats_fitting(cells) == formats


def test_the_decimal_mark_is_told_by_the_values():
    assert decimal_comma(["0,82", "1.234,50", "7"])
    assert not decimal_comma(["0.82", "1,234.50", "7,500"])


ITEMS = ["Ticket No", "Line", "SKU", "Part Type", "Qty"]


def test_a_file_of_part_lines_is_no_register_of_parts_and_leaves_no_row_out(desk, tmp_path):
    rows = [["W1", "1", "PS-1", "hose", "1"], ["W1", "2", "", "trap", "1"], ["W2", "1", "PS-1", "hose", "2"]]
    (source,) = proposal_of(desk.write("items.csv", ITEMS, rows), tmp_path).mapping.sources
    assert [(table.table_name, table.rows) for table in source.tables] == [("part_lines", ())]


def test_a_file_of_parts_alone_is_their_register(desk, tmp_path):
    (source,) = proposal_of(desk.write("x.csv", ["SKU", "Part Type"], [["PS-1", "hose"]]), tmp_path).mapping.sources
    assert [table.table_name for table in source.tables] == ["parts"]


def test_german_yes_and_no_are_proposed_and_other_words_left_to_a_person(desk, tmp_path):
    header = [*HEADER, "Erledigt"]
    rows = [[*row, said] for row, said in zip(ROWS, ["ja", "Nein", "fast"], strict=True)]
    proposal = proposal_of(desk.write("x.csv", header, rows), tmp_path)
    rule = dict(proposal.mapping.sources[0].tables[0].columns)["is_declared_complete"]
    assert (rule.columns, rule.codes) == (("Erledigt",), (("ja", "yes"), ("nein", "no")))
    assert "still to translate: fast" in proposal.remarks[0, "visits", "is_declared_complete"]


@pytest.mark.parametrize("said", [*sorted(FLAGS), "ja", "ok", "nope", "closed", ""])
def test_a_flag_is_called_understood_where_a_load_takes_it(said):
    con = duckdb.connect()
    con.execute(CLEANING.read_text("utf-8"))
    taken = con.execute("SELECT flag_of(?) IS NOT NULL", [said]).fetchone()[0]
    assert is_understood(TABLE_BY_NAME["visits"].by_name["is_declared_complete"], said) == taken
