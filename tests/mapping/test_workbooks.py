"""Workbooks as people make them: titles above the header, several sheets, merged cells, dates as serial numbers."""

from __future__ import annotations

from datetime import datetime
from zipfile import ZIP_DEFLATED, ZipFile

import openpyxl
from foreign_company import LINES, READINGS, VISITS, rows_of

from pipelines.intake import sheets

BOOK = """
name = "workbook"
confirmed = true
[[source]]
file = "*.xlsx"
sheet = "Calls*"
[[source.table]]
table = "visits"
distinct = true
[source.table.columns]
visit_id = "Call"
site_id = "Site"
technician_id = "Tech"
arrived_at = { column = "In", formats = ["excel serial"] }
left_at = { column = "Out", formats = ["excel serial"] }
visit_kind = "Kind"
symptom = "Symptom"
cause_code = "Cause"
is_declared_complete = "Done"
notes = "Notes"
[[source]]
file = "*.xlsx"
sheet = "Parts"
[[source.table]]
table = "part_lines"
[source.table.columns]
visit_id = "Call"
line_no = "Line"
part_number = "Part"
part_class = "Class"
quantity = "Qty"
price = "Price"
removed_tag = "Tag"
[[source]]
file = "*.xlsx"
sheet = "Gauge"
[[source.table]]
table = "readings"
[source.table.columns]
visit_id = "Call"
reading_no = "No"
quantity = "What"
value = "Value"
unit = "Unit"
"""


def test_a_workbook_with_titles_merged_cells_and_serial_dates(desk, canonical):
    book = openpyxl.Workbook()
    calls = book.active
    calls.title = "Calls 2025"
    calls["A1"] = "Service calls, all branches"
    calls.merge_cells("A1:J1")
    calls["A2"] = "printed on 2025-12-24"
    calls.append([])
    calls.append(["Call", "Site", "Tech", "In", "Out", "Kind", "Symptom", "Cause", "Done", "Notes"])
    for n, visit in enumerate(rows_of(VISITS)):
        times = [datetime.fromisoformat(visit[k]) if visit[k] else None for k in ("arrived_at", "left_at")]
        if n % 2:
            times = [(t - datetime(1899, 12, 30)).total_seconds() / 86400 if t else None for t in times]
        calls.append([
            *(visit[k] for k in ("visit_id", "site_id", "technician_id")), *times,
            *(visit[k] or None for k in ("visit_kind", "symptom", "cause_code", "is_declared_complete", "notes")),
        ])  # fmt: skip
    parts = book.create_sheet("Parts")
    parts["B1"] = "Parts used"
    parts.append(["Call", "Line", "Part", "Class", "Qty", "Price", "Tag"])
    for line in rows_of(LINES):
        parts.append(
            [*list(line.values())[:4], int(line["quantity"]), float(line["price"]), line["removed_tag"] or None]
        )
    # The call of both lines of V1 stands in one merged cell.
    parts.merge_cells("A3:A4")
    gauge = book.create_sheet("Gauge")
    gauge.append(["Call", "No", "What", "Value", "Unit"])
    for row in rows_of(READINGS):
        gauge.append([row["visit_id"], int(row["reading_no"]), row["quantity"], float(row["value"]), row["unit"]])
    book.create_sheet("Help").append(["nothing", "to", "read"])
    book.save(desk.folder / "export.xlsx")
    report = desk.load(BOOK, desk.folder / "export.xlsx")
    assert not sum(file.n_held_back for file in report.files), report
    assert desk.records() == canonical()


def test_a_workbook_without_the_sheet_is_refused_and_its_sheets_are_named(desk):
    book = openpyxl.Workbook()
    book.active.title = "Kalls"
    book.active.append(["Call", "Site"])
    book.save(desk.folder / "export.xlsx")
    (file,) = desk.load(BOOK, desk.folder / "export.xlsx").files
    assert "has no sheet that the mapping 'workbook' reads" in file.error and "'Kalls'" in file.error


def test_a_workbook_that_unpacks_to_more_than_memory_holds_is_refused_unread(desk, monkeypatch):
    monkeypatch.setattr(sheets, "LARGEST_UNPACKED", 1_000_000)
    with ZipFile(desk.folder / "bomb.xlsx", "w", ZIP_DEFLATED) as packed:
        packed.writestr("xl/worksheets/sheet1.xml", b"0" * 2_000_000)
    assert (desk.folder / "bomb.xlsx").stat().st_size < 10_000
    (file,) = desk.load(BOOK, desk.folder / "bomb.xlsx").files
    assert "unpacks to" in file.error and "as CSV" in file.error
