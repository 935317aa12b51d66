"""The same records as one wide sheet: visits, part lines and readings side by side, the visit repeated in every row."""

from __future__ import annotations

import csv
from datetime import datetime
from itertools import zip_longest
from pathlib import Path

from foreign_habits import Rows

HEADER = [
    "#", "Job No", "Site", "Unit", "Unit serial", "Tech", "Time in", "Time out", "Job type", "Complaint", "Root cause",
    "Job complete", "Tech notes", "Part no", "Part type", "Qty", "Price", "Core tag", "What was measured", "Reading", "UOM",
    "Operating condition", "Switch contacts", "Before or after",
]  # fmt: skip
KINDS = {"no_heat": "NO HEAT CALL", "maintenance": "PM"}
CLASSES = {"draft_switch": "SW PRESS RPLCD"}


def numbered(rows: Rows) -> Rows:
    """The rows with lines and readings counted from 1 within each visit, as a sheet without numbers counts them."""
    for table, number in (("part_lines", "line_no"), ("readings", "reading_no")):
        seen: dict[str, int] = {}
        for row in sorted(rows[table], key=lambda row: (row["visit_id"], int(row[number]))):
            seen[row["visit_id"]] = seen.get(row["visit_id"], 0) + 1
            row[number] = str(seen[row["visit_id"]])
    return rows


def wide_sheet(rows: Rows, folder: Path) -> list[Path]:
    """One CSV file; dates month first with AM and PM, a row number and a serial number that mean nothing here."""
    sheet: list[list[str]] = []
    for visit in rows["visits"]:
        own = [
            [row for row in rows[table] if row["visit_id"] == visit["visit_id"]] for table in ("part_lines", "readings")
        ]
        fixed = [
            visit["visit_id"], visit["site_id"], visit["appliance_id"], f"SN{abs(hash_of(visit['visit_id'])):08}",
            visit["technician_id"], _month_first(visit["arrived_at"]), _month_first(visit["left_at"]),
            KINDS.get(visit["visit_kind"], visit["visit_kind"]), visit["symptom"], visit["cause_code"],
            {"True": "Y", "False": "N"}.get(visit["is_declared_complete"], ""), visit["notes"],
        ]  # fmt: skip
        for line, reading in list(zip_longest(*own, fillvalue=None)) or [(None, None)]:
            parts = [""] * 5 if line is None else [
                line["part_number"], CLASSES.get(line["part_class"], line["part_class"]), line["quantity"], line["price"],
                line["removed_tag"]]  # fmt: skip
            read = [""] * 6 if reading is None else [
                reading[one] for one in ("quantity", "value", "unit", "condition", "contacts", "taken")]  # fmt: skip
            sheet.append([str(len(sheet) + 1), *fixed, *parts, *read])
    path = folder / "jobs.csv"
    with path.open("w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows([HEADER, *sheet])
    return [path]


def hash_of(text: str) -> int:
    """A number that looks like a serial's, the same in every run."""
    return sum(ord(letter) * 7919**n for n, letter in enumerate(text[-6:])) % 10**8


def _month_first(iso: str) -> str:
    return datetime.fromisoformat(iso).strftime("%m/%d/%Y %I:%M %p") if iso else ""
