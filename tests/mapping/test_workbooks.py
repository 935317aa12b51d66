"""Workbooks as people make them: titles above the header, several sheets, merged cells, dates as serial numbers."""

from __future__ import annotations

from datetime import datetime
from zipfile import ZIP_DEFLATED, ZipFile

import openpyxl
from foreign_company import LINES, READINGS, VISITS, rows_of

from pipelines.intake import workbook_size
from pipelines.loading import load
from pipelines.store import Store

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
    assert "has changed shape since the mapping 'workbook' was made" in file.error
    assert "lacks the sheet: 'Calls*' (perhaps 'Kalls' now)" in file.error


def test_a_workbook_that_lacks_one_of_its_sheets_stops_the_load(desk):
    """The other sheets, and other files, would come in without it, and nobody would know."""
    toml = (
        'name = "two"\nconfirmed = true\n[[source]]\nfile = "export*.xlsx"\nsheet = "Calls"\n[[source.table]]\ntable = "visits"\n'
        '[source.table.columns]\nvisit_id = "Call"\nsite_id = "Site"\ntechnician_id = { value = "T1" }\narrived_at = "In"\n'
        'visit_kind = { value = "no_heat" }\n[[source]]\nfile = "export*.xlsx"\nsheet = "Parts"\n[[source.table]]\n'
        'table = "part_lines"\n[source.table.columns]\nvisit_id = "Call"\nline_no = { number_within = ["Call"] }\nquantity = "Qty"\n'
    )
    for name, second in (("export_1.xlsx", "Items"), ("export_2.xlsx", "parts")):
        book = openpyxl.Workbook()
        book.active.title = "Calls"
        book.active.append(["Call", "Site", "In"])
        book.active.append([name, "S1", "2025-01-05"])
        lines = book.create_sheet(second)
        lines.append(["Call", "Qty"])
        lines.append([name, 1])
        book.save(desk.folder / name)
    paths = [desk.folder / "export_1.xlsx", desk.folder / "export_2.xlsx"]
    refused, *_ = desk.load(toml, *paths).files
    assert "lacks the sheet: 'Parts'" in refused.error and "does not know: 'Items'" in refused.error
    assert Store(desk.home).current() is None, "nothing of either workbook came in"
    files = desk.load(toml, paths[1]).files
    assert [file.n_accepted for file in files] == [1, 1] and not any(file.error for file in files)


def test_a_workbook_that_unpacks_to_more_than_memory_holds_is_refused_unread(desk, monkeypatch):
    monkeypatch.setattr(workbook_size, "LARGEST_UNPACKED", 1_000_000)
    with ZipFile(desk.folder / "bomb.xlsx", "w", ZIP_DEFLATED) as packed:
        packed.writestr("xl/worksheets/sheet1.xml", b"0" * 2_000_000)
    assert (desk.folder / "bomb.xlsx").stat().st_size < 10_000
    (file,) = desk.load(BOOK, desk.folder / "bomb.xlsx").files
    assert "unpacks to" in file.error and "as CSV" in file.error


_OPEN = (
    '<?xml version="1.0"?><office:document-content xmlns:office="urn:oasis:names:tc:opendocument:xmlns:office:1.0" '
    'xmlns:table="urn:oasis:names:tc:opendocument:xmlns:table:1.0" xmlns:text="urn:oasis:names:tc:opendocument:xmlns:text:1.0">'
    '<office:body><office:spreadsheet><table:table table:name="Calls">{rows}</table:table></office:spreadsheet></office:body>'
    "</office:document-content>"
)
_BLANK_END = '<table:table-row table:number-rows-repeated="1048000"><table:table-cell table:number-columns-repeated="1024"/></table:table-row>'


def _open_document(path, rows, again=""):
    """An OpenDocument workbook of one sheet. again: attributes of every row."""
    cells = "".join(
        f"<table:table-row{again}>"
        + "".join(
            f'<table:table-cell office:value-type="string"><text:p>{cell}</text:p></table:table-cell>' for cell in row
        )
        + "</table:table-row>"
        for row in rows
    )
    with ZipFile(path, "w", ZIP_DEFLATED) as packed:
        packed.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        packed.writestr("content.xml", _OPEN.format(rows=cells + _BLANK_END))
        packed.writestr(
            "META-INF/manifest.xml",
            '<?xml version="1.0"?><manifest:manifest xmlns:manifest="urn:oasis:names:tc:opendocument:xmlns:manifest:1.0"/>',
        )
    return path


def test_an_open_document_is_read_and_one_that_repeats_its_cells_without_end_is_refused(desk):
    header = ["visit_id", "site_id", "technician_id", "arrived_at", "visit_kind"]
    rows = [header, ["V1", "S1", "T1", "2025-01-05", "no_heat"]]
    (file,) = load(desk.home, [_open_document(desk.folder / "visits.ods", rows)]).files
    assert (file.n_accepted, file.error) == (1, None)
    bomb = _open_document(desk.folder / "visits_2.ods", rows, ' table:number-rows-repeated="9000000"')
    assert bomb.stat().st_size < 2000
    (file,) = load(desk.home, [bomb]).files
    assert "90,000,000 filled cells" in file.error and "as CSV" in file.error
