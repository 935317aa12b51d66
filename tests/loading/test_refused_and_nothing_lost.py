"""Input that cannot be taken, or means harm: said in words (what, where, got, allowed, what next), and nothing is lost."""

from __future__ import annotations

import struct
from zipfile import ZIP_DEFLATED, ZipFile

import openpyxl
import pandas as pd
import pytest

from dashboard.exports import csv_bytes, xlsx_bytes
from pipelines.mapping.mapping_file import mapping_of
from pipelines.store import Store

HEADER = ["visit_id", "site_id", "technician_id", "arrived_at", "visit_kind"]
TOML = """
name = "calls"
confirmed = true
[[source]]
file = "calls*.csv"
[[source.table]]
table = "visits"
[source.table.columns]
visit_id = "Call"
site_id = "Site"
technician_id = "Tech"
arrived_at = "In"
visit_kind = { value = "other" }
"""


def workbook(desk, name: str):
    book = openpyxl.Workbook()
    book.active.title = "visits"
    book.active.append(HEADER)
    book.active.append(["V9", "S1", "T1", "2024-01-05T08:00:00", "no_heat"])
    return book, desk.folder / name


def spread_wide(desk):
    """A few kB, one of its cells in the farthest corner: read whole, it would take 17 thousand million cells."""
    book, path = workbook(desk, "wide.xlsx")
    book.active["XFD1048576"] = "x"
    book.save(path)
    return path, ("1,048,576 rows and 16,384 columns", "64,000,000 cells at most", "export it as CSV")


def lies_about_its_size(desk):
    """Unpacks to more than its directory says."""
    book, path = workbook(desk, "lying.xlsx")
    book.save(path)
    with ZipFile(path) as whole:
        parts = {entry.filename: whole.read(entry) for entry in whole.infolist()}
    sheet = "xl/worksheets/sheet1.xml"
    cells = b'<row><c t="inlineStr"><is><t>aaaaaaaa</t></is></c></row>' * 200_000
    parts[sheet] = parts[sheet].replace(b"</sheetData>", cells + b"</sheetData>")
    with ZipFile(path, "w", ZIP_DEFLATED) as packed:
        for name, body in parts.items():
            packed.writestr(name, body)
    path.write_bytes(path.read_bytes().replace(struct.pack("<L", len(parts[sheet])), struct.pack("<L", 5000)))
    return path, ("is no workbook that can be read", "Save it again as .xlsx, or as CSV")


def unpacks_to_much(desk):
    """2 GB of nothing in 2 MB, as the standard compression packs it."""
    path = desk.folder / "bomb.xlsx"
    with (
        ZipFile(path, "w", ZIP_DEFLATED) as packed,
        packed.open("xl/worksheets/sheet1.xml", "w", force_zip64=True) as sheet,
    ):
        for _ in range(128):
            sheet.write(bytes(1 << 24))
    assert path.stat().st_size < 3_000_000
    return path, ("unpacks to 2.1 GB", "0.6 GB at most", "Export it as CSV")


def markup_is_broken(desk):
    book, path = workbook(desk, "broken.xlsx")
    book.save(path)
    with ZipFile(path) as whole:
        parts = {entry.filename: whole.read(entry) for entry in whole.infolist()}
    with ZipFile(path, "w") as packed:
        for name, body in parts.items():
            packed.writestr(name, body.replace(b"</sheetData>", b"<<<") if "sheet1" in name else body)
    return path, ("is no workbook that can be read", "Save it again")


def stopped_midway(desk):
    book, path = workbook(desk, "cut.xlsx")
    book.save(path)
    path.write_bytes(path.read_bytes()[:-1500])
    return path, ("is no workbook that can be read", "Save it again")


@pytest.mark.parametrize(
    "spoil",
    [spread_wide, lies_about_its_size, unpacks_to_much, markup_is_broken, stopped_midway],
    ids=lambda f: f.__name__,
)
def test_a_workbook_that_means_harm_is_refused_and_what_was_there_stays(desk, table, row, spoil):
    desk.load_text("visits.csv", table(row(1)))
    before, records = Store(desk.home).current(), desk.rows("FROM delivered.visits")
    path, told = spoil(desk)
    report = desk.load(path)
    (file,) = report.files
    assert file.file_name.startswith(path.name) and (file.n_rows, report.is_changed) == (0, False)
    assert [words for words in told if words not in file.error] == []
    assert "nothing was loaded from it" in file.error
    assert Store(desk.home).current() == before and desk.rows("FROM delivered.visits") == records
    assert not list(desk.home.glob("*.tmp*")) and not list(desk.home.glob(".landing-*"))
    assert desk.load_text("visits_2.csv", table(row(2))).n_accepted == 1


def test_a_sheet_that_is_long_but_holds_its_rows_is_read(desk):
    book, path = workbook(desk, "visits.xlsx")
    for n in range(3000):
        book.active.append([f"V{n}", "S1", "T1", "2024-01-05T08:00:00", "no_heat"])
    book.save(path)
    assert desk.load(path).files[0].n_held_back == 0


def test_a_mapping_that_names_columns_that_are_not_there_tells_both_sides_and_changes_nothing(desk):
    good = desk.write("calls_1.csv", "Call,Site,Tech,In\n1,S1,T,2025-01-01\n")
    mapping = mapping_of(TOML)
    desk.load(good, mapping=mapping)
    before = Store(desk.home).current()
    report = desk.load(desk.write("calls_2.csv", "Call,Place,Tech,In\n2,S1,T,2025-01-01\n"), mapping=mapping)
    (file,) = report.files
    assert "the file lacks: 'Site'" in file.error and "The file has: 'Call', 'Place', 'Tech', 'In'" in file.error
    assert "Put the columns of the mapping right" in file.error and not report.is_changed
    assert Store(desk.home).current() == before
    desk.load(desk.write("calls_3.csv", "Call,Site,Tech,In\n2,S1,T,2025-01-01\n"), mapping=mapping)
    assert desk.rows("SELECT count(*) FROM delivered.visits") == [(2,)]


@pytest.mark.parametrize("text", ["=1+1", "-12", "+44 20", "@SUM(A1)", "＝1", "'quoted' by hand"])
def test_an_export_of_ours_that_comes_back_is_what_it_was(desk, text):
    """A spreadsheet runs nothing of it, and an identifier is the same when the file is loaded again."""
    frame = pd.DataFrame([[text, text, "T1", "2024-01-05T08:00:00", "no_heat", text]], columns=[*HEADER, "notes"])
    desk.load_text("visits.csv", frame.to_csv(index=False))
    records = desk.rows("SELECT visit_id, site_id, notes FROM delivered.visits")
    assert records == [(text, text, text)]
    exported = csv_bytes(frame)
    assert text[0] == "'" or f"'{text}".encode() in exported
    assert (back := desk.load_text("visits_back.csv", exported)).n_duplicates == 1, back
    desk.write("visits_back.xlsx", xlsx_bytes(frame))
    assert desk.load(desk.folder / "visits_back.xlsx").files[0].n_duplicates == 1


def test_a_reading_with_a_minus_sign_comes_back_as_a_number(desk):
    frame = pd.DataFrame([["V1", "1", "draft_at_switch", "-0.82", "inH2O"]], columns=["visit_id", "reading_no", "quantity", "value", "unit"])  # fmt: skip
    file = desk.load_text("readings.csv", csv_bytes(frame))
    assert (file.n_accepted, desk.rows("SELECT value, sign FROM delivered.readings")) == (1, [(-0.82, -1)])
