"""An invented fleet's records as three companies would export them, and the same records in canonical form."""

from __future__ import annotations

import csv
from datetime import datetime
from pathlib import Path

import openpyxl

from pipelines.store import Store

COLUMNS = {
    "visits": (
        "visit_id, site_id, appliance_id, technician_id, strftime(arrived_at, '%Y-%m-%dT%H:%M') AS arrived_at, "
        "strftime(left_at, '%Y-%m-%dT%H:%M') AS left_at, visit_kind, symptom, cause_code, is_declared_complete, notes"
    ),
    "part_lines": "visit_id, line_no, part_number, part_class, CAST(quantity AS INTEGER) AS quantity, price, removed_tag",
    "readings": "visit_id, reading_no, quantity, value, unit, condition, contacts, taken",
}
Rows = dict[str, list[dict[str, str]]]


def accepted_rows(home: Path) -> Rows:
    """Visits, part lines and readings in force in a home, as text."""
    con = Store(home).open_reader()
    try:
        con.execute("SET TimeZone = 'UTC'")
        found: Rows = {}
        for table, columns in COLUMNS.items():
            cursor = con.execute(f"SELECT {columns} FROM delivered.{table} ORDER BY ALL")
            names = [column[0] for column in cursor.description]
            found[table] = [
                {name: "" if cell is None else str(cell) for name, cell in zip(names, row, strict=True)}
                for row in cursor.fetchall()
            ]
        return found
    finally:
        con.close()


def canonical(rows: Rows, folder: Path) -> list[Path]:
    """The files of the contract."""
    return [
        _written(folder / f"{table}.csv", list(some[0]), [list(row.values()) for row in some])
        for table, some in rows.items()
    ]


def coded_files(rows: Rows, folder: Path) -> list[Path]:
    """Three files; kinds of visit and of part under codes of the company's own."""
    kinds = {"no_heat": "NH", "other_fault": "FLT", "maintenance": "PM"}
    classes = {"draft_switch": "SW PRESS RPLCD", "gas_switch": "SW GAS RPLCD", "hose": "TUBING"}
    visits = [
        [v["visit_id"], v["site_id"], v["appliance_id"], v["technician_id"], v["arrived_at"], v["left_at"],
         kinds.get(v["visit_kind"], v["visit_kind"].replace("_", " ").upper()), v["symptom"], v["cause_code"],
         {"True": "Y", "False": "N"}.get(v["is_declared_complete"], ""), v["notes"]]
        for v in rows["visits"]
    ]  # fmt: skip
    lines = [
        [v["visit_id"], v["line_no"], v["part_number"], classes.get(v["part_class"], v["part_class"]), v["quantity"],
         v["price"], v["removed_tag"]]
        for v in rows["part_lines"]
    ]  # fmt: skip
    readings = [list(v.values()) for v in rows["readings"]]
    header = ["Ticket No", "Location", "Equipment ID", "Lead Tech", "Start Time", "End Time", "Call Type", "Complaint",
              "Cause Code", "Job Complete", "Work Performed"]  # fmt: skip
    items = ["Ticket No", "Line", "SKU", "Part Type", "Qty", "Amount", "Core Tag"]
    measured = ["Ticket No", "Reading No", "Quantity", "Reading", "UOM", "Condition", "Contacts", "Before or After"]
    return [
        _written(folder / "tickets.csv", header, visits),
        _written(folder / "items.csv", items, lines),
        _written(folder / "measured.csv", measured, readings),
    ]


def workbook(rows: Rows, folder: Path) -> list[Path]:
    """One workbook: a merged title above each header, dates as serials, the ticket merged over its lines."""
    book = openpyxl.Workbook()
    book.remove(book.active)
    visits = [
        [v["visit_id"], v["site_id"], v["appliance_id"], v["technician_id"], _moment(v["arrived_at"]),
         _moment(v["left_at"]), *(v[k] or None for k in ("visit_kind", "symptom", "cause_code")),
         v["is_declared_complete"] or None, v["notes"] or None]
        for v in rows["visits"]
    ]  # fmt: skip
    header = ["Work order", "Site", "Unit ID", "Technician", "Arrival", "Departure", "Visit type", "Complaint", "Cause",
              "Completed", "Comments"]  # fmt: skip
    _sheet(book, "Calls", "Service calls, all branches", header, visits)
    lines = [[*list(v.values())[:4], int(v["quantity"]), float(v["price"]) if v["price"] else None, v["removed_tag"]]
             for v in rows["part_lines"]]  # fmt: skip
    items = ["Work order", "Item no", "Part no", "Part type", "Quantity", "Price", "Tag"]
    sheet = _sheet(book, "Parts", "Parts used", items, lines)
    _merge_repeated(sheet, first=4)
    readings = [[*list(v.values())[:3], float(v["value"]), *list(v.values())[4:]] for v in rows["readings"]]
    measured = ["Work order", "Reading no", "Quantity", "Reading", "Unit", "Condition", "Contacts", "Taken"]
    _sheet(book, "Readings", "Readings", measured, readings)
    path = folder / "service calls.xlsx"
    book.save(path)
    return [path]


def european_files(rows: Rows, folder: Path) -> list[Path]:
    """German headers, day first, decimal comma, semicolons."""
    visits = [
        [v["visit_id"], v["site_id"], v["appliance_id"], v["technician_id"], _day_first(v["arrived_at"]),
         _day_first(v["left_at"]), v["visit_kind"], v["symptom"], v["cause_code"],
         {"True": "ja", "False": "nein"}.get(v["is_declared_complete"], ""), v["notes"]]
        for v in rows["visits"]
    ]  # fmt: skip
    lines = [[*list(v.values())[:5], v["price"].replace(".", ","), v["removed_tag"]] for v in rows["part_lines"]]
    readings = [[*list(v.values())[:3], v["value"].replace(".", ","), *list(v.values())[4:]] for v in rows["readings"]]
    header = ["Einsatz", "Objekt", "Anlage", "Monteur", "Beginn", "Ende", "Einsatzart", "Störung", "Ursache", "Erledigt",
              "Bemerkung"]  # fmt: skip
    items = ["Einsatz", "Position", "Artikelnummer", "Teileart", "Menge", "Preis", "Anhänger"]
    measured = ["Einsatz", "Messung Nr", "Quantity", "Messwert", "Einheit", "Betriebszustand", "Kontakt", "Taken"]
    return [
        _written(folder / "Einsätze.csv", header, visits, ";"),
        _written(folder / "Teile.csv", items, lines, ";"),
        _written(folder / "Messungen.csv", measured, readings, ";"),
    ]


def _written(path: Path, header: list[str], rows: list[list[str]], delimiter: str = ",") -> Path:
    with path.open("w", newline="", encoding="utf-8") as file:
        csv.writer(file, delimiter=delimiter).writerows([header, *rows])
    return path


def _sheet(book: openpyxl.Workbook, name: str, title: str, header: list[str], rows: list[list]):
    sheet = book.create_sheet(name)
    sheet.append([title])
    sheet.merge_cells(start_row=1, start_column=1, end_row=1, end_column=len(header))
    sheet.append([])
    for row in [header, *rows]:
        sheet.append([None if cell == "" else cell for cell in row])
    return sheet


def _merge_repeated(sheet, first: int) -> None:
    """Merge the first column where the same key stands in rows below one another."""
    start = first
    for row in range(first + 1, sheet.max_row + 2):
        if row > sheet.max_row or sheet.cell(row, 1).value != sheet.cell(start, 1).value:
            if row - start > 1:
                sheet.merge_cells(start_row=start, start_column=1, end_row=row - 1, end_column=1)
            start = row


def _moment(iso: str) -> datetime | None:
    return datetime.fromisoformat(iso) if iso else None


def _day_first(iso: str) -> str:
    return datetime.fromisoformat(iso).strftime("%d.%m.%Y %H:%M") if iso else ""
