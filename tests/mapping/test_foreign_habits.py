"""Exports in the habits of invented companies give, through a mapping, the records of the canonical files."""

from __future__ import annotations

from datetime import datetime

from foreign_company import LINES, READINGS, VISITS, rows_of

from pipelines.settings import Settings

KINDS = {"no_heat": "NO HEAT", "maintenance": "PM", "other_fault": "OTHER FLT"}
CLASSES = {"draft_switch": "SW PRESS RPLCD", "hose": "TUBING", "gas_switch": "SW GAS"}
CODES = """
[codes.kinds]
"NO HEAT" = "no_heat"
"PM" = "maintenance"
"Other flt" = "other_fault"
[codes.classes]
"SW PRESS RPLCD" = "draft_switch"
"TUBING" = "hose"
"SW GAS" = "gas_switch"
"""

WIDE = (
    """
name = "wide sheet"
confirmed = true
blank = ["--"]
"""
    + CODES
    + """
[aliases.parts]
"PS100" = "PS-0100"
"PS-0100" = "PS-100"
[aliases.technicians]
"J. Ortiz" = "T1"
"Ortiz J" = "T1"

[[source]]
file = "jobs*.csv"
[[source.table]]
table = "visits"
distinct = true
[source.table.columns]
visit_id = { column = "Job No", pattern = "^(V\\\\d+)" }
site_id = "Site"
technician_id = "Tech"
arrived_at = { columns = ["Day", "Time in"], join = " ", formats = ["%m/%d/%Y %I:%M %p"] }
left_at = { column = "Out", formats = ["%m/%d/%Y %I:%M %p"] }
visit_kind = { column = "Type", codes = "kinds" }
symptom = "Symptom"
cause_code = "Cause"
is_declared_complete = { column = "Status", codes = { "CLOSED" = "yes" }, otherwise = "no" }
notes = "Notes"

[[source.table]]
table = "part_lines"
rows = [{ column = "Part", filled = true }]
[source.table.columns]
visit_id = { column = "Job No", pattern = "^(V\\\\d+)" }
line_no = { number_within = ["Job No"] }
part_number = "Part"
part_class = { column = "Part type", codes = "classes" }
quantity = { column = "Qty", default = "1" }
price = "Price"
removed_tag = "Tag"

[[source.table]]
table = "readings"
distinct = true
rows = [{ column = "Draft 1", filled = true }]
[source.table.columns]
visit_id = { column = "Job No", pattern = "^(V\\\\d+)" }
reading_no = { value = "1" }
quantity = { value = "draft_at_switch" }
value = { column = "Draft 1", split = " ", part = 1 }
unit = { value = "in. w.c." }

[[source.table]]
table = "readings"
distinct = true
rows = [{ column = "Draft 2", filled = true }]
[source.table.columns]
visit_id = { column = "Job No", pattern = "^(V\\\\d+)" }
reading_no = { value = "2" }
quantity = { value = "draft_at_switch" }
value = "Draft 2"
unit = { value = "in. w.c." }
"""
)


def american(iso: str) -> str:
    return datetime.fromisoformat(iso).strftime("%m/%d/%Y %I:%M %p") if iso else "--"


def wide_rows() -> list[list]:
    rows = []
    technicians = {"T1": ["J. Ortiz", "Ortiz  J", "j. ortiz"], "T2": ["T2"] * 3, "T3": ["T3"] * 3}
    for n, visit in enumerate(rows_of(VISITS)):
        key = visit["visit_id"]
        lines = [line for line in rows_of(LINES) if line["visit_id"] == key] or [{}]
        drafts = [row["value"] for row in rows_of(READINGS) if row["visit_id"] == key]
        day, time = american(visit["arrived_at"]).split(" ", 1)
        for line in lines:
            part = {"PS-100": ["PS100", "ps-0100", "PS-100"][n % 3]}.get(
                line.get("part_number"), line.get("part_number")
            )
            rows.append([
                f"{key} / {visit['site_id']}", visit["site_id"], technicians[visit["technician_id"]][n % 3], day, time,
                american(visit["left_at"]), KINDS[visit["visit_kind"]].title(), visit["symptom"], visit["cause_code"],
                "closed" if visit["is_declared_complete"] == "yes" else "open", visit["notes"], part or "",
                CLASSES.get(line.get("part_class"), ""), "" if line.get("quantity") == "1" else line.get("quantity", ""),
                f"{float(line['price']):,.2f}" if line else "", line.get("removed_tag", ""),
                f"{drafts[0]} inches" if drafts else "--", drafts[1] if drafts[1:] else "--",
            ])  # fmt: skip
    return rows


WIDE_HEADER = [
    "Job No",
    "Site",
    "Tech",
    "Day",
    "Time in",
    "Out",
    "Type",
    "Symptom",
    "Cause",
    "Status",
    "Notes",
    "Part",
    "Part type",
    "Qty",
    "Price",
    "Tag",
    "Draft 1",
    "Draft 2",
]


def test_a_wide_sheet_gives_visits_lines_and_readings(desk, canonical):
    report = desk.load(WIDE, desk.write("jobs.csv", WIDE_HEADER, wide_rows()))
    assert not sum(file.n_held_back for file in report.files), report
    assert desk.records() == canonical()


EUROPEAN = """
name = "day first, decimal comma"
confirmed = true
time_zone = "Europe/Berlin"
decimal_mark = ","
date_formats = ["%d.%m.%Y %H:%M"]

[[source]]
file = "Einsatz*.csv"
[[source.table]]
table = "visits"
[source.table.columns]
visit_id = "Einsatz"
site_id = "Objekt"
technician_id = "Monteur"
arrived_at = "Beginn"
left_at = "Ende"
visit_kind = "Art"
symptom = "Störung"
cause_code = "Ursache"
is_declared_complete = { column = "erledigt", codes = { "JA" = "yes", "Nein" = "no" } }
notes = "Bemerkung"

[[source]]
file = "Teile*.csv"
[[source.table]]
table = "part_lines"
[source.table.columns]
visit_id = "Einsatz"
line_no = "Pos"
part_number = "Artikel"
part_class = "Art"
quantity = "Menge"
price = "Betrag"
removed_tag = "Anhänger"

[[source]]
file = "Messung*.csv"
[[source.table]]
table = "readings"
[source.table.columns]
visit_id = "Einsatz"
reading_no = "Nr"
quantity = { value = "draft_at_switch" }
value = "Wert"
unit = { value = "in. w.c." }
"""


def german(number: str) -> str:
    return f"{float(number):,.2f}".translate(str.maketrans(",.", ".,"))


def test_day_first_dates_and_decimal_commas(desk, canonical):
    def at(iso):
        return datetime.fromisoformat(iso).strftime("%d.%m.%Y %H:%M") if iso else ""

    visits = [
        [*(v[k] for k in ("visit_id", "site_id", "technician_id")), at(v["arrived_at"]), at(v["left_at"]),
         *(v[k] for k in ("visit_kind", "symptom", "cause_code")), "ja" if v["is_declared_complete"] == "yes" else "NEIN",
         v["notes"]]
        for v in rows_of(VISITS)
    ]  # fmt: skip
    lines = [
        [*list(v.values())[:4], german(v["quantity"]), german(v["price"]), v["removed_tag"]] for v in rows_of(LINES)
    ]
    readings = [[v["visit_id"], v["reading_no"], german(v["value"])] for v in rows_of(READINGS)]
    header = ["Einsatz", "Objekt", "Monteur", "Beginn", "Ende", "Art", "Störung", "Ursache", "erledigt", "Bemerkung"]
    paths = [
        desk.write("Einsatz 2025.csv", header, visits, ";"),
        desk.write("Teile 2025.csv", ["Einsatz", "Pos", "Artikel", "Art", "Menge", "Betrag", "Anhänger"], lines, ";"),
        desk.write("Messung 2025.csv", ["Einsatz", "Nr", "Wert"], readings, ";"),
    ]
    report = desk.load(EUROPEAN, *paths)
    assert not sum(file.n_held_back for file in report.files), report
    assert desk.records() == canonical(settings=Settings(time_zone="Europe/Berlin"))


def test_what_a_rule_cannot_read_is_held_back_with_its_line_and_as_it_stands(desk):
    rows = wide_rows()
    rows[0][6] = "no haet"
    rows[2][3] = "13/45/2025"
    report = desk.load(WIDE, desk.write("jobs.csv", WIDE_HEADER, rows))
    visits = report.files[0]
    assert (visits.n_accepted, visits.n_held_back) == (3, 2)
    got = desk.query("SELECT line_no, column_name, got FROM held_back WHERE table_name = 'visits' ORDER BY 1")
    assert got == [(2, "visit_kind", "no haet"), (4, "arrived_at", "13/45/2025 02:05 PM")]


def test_personal_columns_are_dropped_and_named_but_for_those_the_mapping_reads(desk):
    header = [*WIDE_HEADER, "Customer name", "Phone"]
    rows = [[*row, "A. Person", "555"] for row in wide_rows()]
    toml = WIDE.replace('site_id = "Site"', 'site_id = "Site"\nappliance_id = { column = "Phone" }')
    report = desk.load(toml, desk.write("jobs.csv", header, rows))
    assert report.files[0].dropped_columns == ("Customer name",)


def test_a_ragged_row_of_a_mapped_file_is_held_back_once(desk):
    path = desk.write("jobs.csv", WIDE_HEADER, wide_rows())
    path.write_text(path.read_text("utf-8") + "V9 / S9,S9\n", "utf-8")
    report = desk.load(WIDE, path)
    assert [file.n_held_back for file in report.files] == [1, 0, 0, 0]
    ((reason,),) = desk.query("SELECT reason FROM held_back")
    assert f"the header has {len(WIDE_HEADER)} fields" in reason
