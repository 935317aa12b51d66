"""The same rows as CSV, workbook, Parquet and JSON lines give the same records."""

from __future__ import annotations

import json
from datetime import date, datetime

import duckdb
import openpyxl
import pytest

from pipelines.contract.templates import write_templates
from pipelines.loading import load
from pipelines.store import Store

COLUMNS = ["bench_test_id", "removed_tag", "tested_at", "pressure_unit", "make_1", "is_leak_down_passed", "remark"]
ROWS = [
    ["B1", "T 1", datetime(2024, 1, 5, 8, 30), "Pa", 120.5, True, "plain"],
    ["B2", "T2", datetime(2024, 1, 6), "Pa", 7.0, False, 'quotes " and , comma'],
    ["B3", "T3", datetime(2024, 1, 7, 1, 2, 3), "mbar", None, None, "two\nlines"],
    ["B4", "T4", datetime(2024, 1, 8), "furlong", 1.0, True, "held back"],
]


def as_text(cell) -> str:
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "true" if cell else "false"
    return cell.isoformat() if isinstance(cell, datetime | date) else str(cell)


def write_csv(path):
    import csv

    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([COLUMNS, *([as_text(cell) for cell in row] for row in ROWS)])


def write_xlsx(path):
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.append(["Bench tests of the week"])
    sheet.append([])
    for row in [COLUMNS, *ROWS]:
        sheet.append(row)
    book.save(path)


def write_parquet(path):
    import pyarrow as pa
    import pyarrow.parquet

    table = pa.table({column: [row[i] for row in ROWS] for i, column in enumerate(COLUMNS)})
    pyarrow.parquet.write_table(table, path)


def write_jsonl(path):
    lines = []
    for row in ROWS:
        cells = (cell.isoformat() if isinstance(cell, datetime) else cell for cell in row)
        lines.append(
            json.dumps({column: cell for column, cell in zip(COLUMNS, cells, strict=True) if cell is not None})
        )
    path.write_text("\n".join(lines) + "\n", "utf-8")


WRITERS = {"csv": write_csv, "xlsx": write_xlsx, "parquet": write_parquet, "jsonl": write_jsonl}


@pytest.mark.parametrize("ending", list(WRITERS))
def test_every_kind_of_file_gives_the_same_records(desk, ending):
    path = desk.folder / f"bench_tests.{ending}"
    WRITERS[ending](path)
    (file,) = desk.load(path).files
    assert (file.error, file.n_rows, file.n_accepted, file.reasons) == (None, 4, 3, {"pressure_unit: not_a_unit": 1})
    assert desk.rows(
        """SELECT bench_test_id, removed_tag, tested_at, pressure_unit, make_1_pa, is_leak_down_passed, remark, row_no
           FROM delivered.bench_tests ORDER BY 1"""
    ) == [
        ("B1", "T 1", datetime(2024, 1, 5, 8, 30), "Pa", 120.5, True, "plain", 1),
        ("B2", "T2", datetime(2024, 1, 6), "Pa", 7.0, False, 'quotes " and , comma', 2),
        ("B3", "T3", datetime(2024, 1, 7, 1, 2, 3), "mbar", None, None, "two\nlines", 3),
    ]
    ((got, raw),) = desk.rows("SELECT got, raw FROM held_back")
    assert (got, json.loads(raw)["bench_test_id"]) == ("furlong", "B4")


def test_the_same_rows_in_another_kind_of_file_are_exact_duplicates(desk):
    for ending, write in WRITERS.items():
        path = desk.folder / f"bench_tests.{ending}"
        write(path)
        (file,) = desk.load(path).files
        expected = (3, 0) if ending == "csv" else (0, 3)
        assert (file.n_accepted, file.n_duplicates) == expected, ending


def test_a_workbook_of_several_sheets_loads_each_and_passes_over_the_lists_of_a_template(desk):
    book = openpyxl.Workbook()
    book.active.title = "Sites"
    book.active.append(["site_id", "region"])
    book.active.append(["S1", "north"])
    other = book.create_sheet("technicians")
    other.append(["technician_id", "started_on"])
    other.append([17, date(2020, 5, 1)])
    strange = book.create_sheet("code lists")
    strange.append(["column", "code", "meaning"])
    strange.append(["visit_kind", "no_heat", "call for no heat"])
    book.save(desk.folder / "company.xlsx")
    files = desk.load(desk.folder / "company.xlsx").files
    assert [(file.file_name, file.table_name, file.n_accepted, file.error) for file in files] == [
        ("company.xlsx [Sites]", "sites", 1, None),
        ("company.xlsx [technicians]", "technicians", 1, None),
        ("company.xlsx [code lists]", None, 0, None),
    ]
    assert "passed over" in files[2].messages[0]
    assert desk.rows("SELECT technician_id, started_on FROM delivered.technicians") == [("17", date(2020, 5, 1))]


def test_blank_templates_load_without_rows_or_errors(desk):
    for kind in ("csv", "xlsx"):
        for path in write_templates(desk.folder / kind, kind):
            for file in load(desk.home, [path]).files:
                assert (file.error, file.n_rows) == (None, 0), file


def test_pieces_and_dated_files_belong_to_the_table_they_are_named_after(desk, table, row):
    desk.write("visits-0001.csv", table(row(1)))
    desk.write("Visits 2024-11.csv", table(row(2)))
    desk.write("part_lines-0003.csv", "visit_id,line_no,quantity\nV1,1,1\n")
    desk.write("visit_crew.csv", "visit_id,technician_id\nV1,T1\n")
    desk.write("~$visits.csv", "locked")
    desk.write("readme.md", "not a record")
    files = desk.load(desk.folder).files
    assert sorted((file.table_name, file.n_accepted) for file in files) == [
        ("part_lines", 1),
        ("visit_crew", 1),
        ("visits", 1),
        ("visits", 1),
    ]


def test_a_file_of_another_name_is_read_as_the_table_its_columns_fit_and_says_so(desk, table, row):
    file = desk.load_text("export.csv", table(row(1)))
    assert (file.table_name, file.n_accepted) == ("visits", 1)
    assert "read as visits, the table whose columns it fits best." in file.messages


def test_json_lines_that_are_no_objects_are_held_back(desk):
    file = desk.load_text("sites.jsonl", '{"site_id": "S1"}\nnot json\n\n[1]\n{"site_id": "S2", "region": "é"}\n')
    assert (file.n_rows, file.n_accepted, file.n_held_back) == (4, 2, 2)
    assert [(line, code) for line, code, _ in desk.reasons()] == [(2, "unreadable"), (4, "unreadable")]


def test_parquet_with_times_in_a_zone_and_whole_numbers(desk):
    path = desk.folder / "visits.parquet"
    duckdb.sql(
        """SELECT 1 AS visit_id, 'S1' AS site_id, 7 AS technician_id, 'other' AS visit_kind,
               TIMESTAMPTZ '2024-07-01 08:00:00+02' AS arrived_at, true AS is_after_hours"""
    ).write_parquet(str(path))
    assert desk.load(path).files[0].n_accepted == 1
    assert desk.rows("SELECT visit_id, technician_id, arrived_at, is_after_hours FROM delivered.visits") == [
        ("1", "7", datetime(2024, 7, 1, 6), True)
    ]


def test_the_store_names_every_load(desk, table, row):
    path = desk.write("visits.csv", table(row(1), row(1), row(2, kind="x"), header=table().strip()))
    desk.load(path)
    assert desk.rows(
        'SELECT load_id, file_name, table_name, n_rows, n_accepted, n_revised, n_held_back, n_duplicates, delimiter, encoding FROM "load"'
    ) == [(1, "visits.csv", "visits", 3, 1, 0, 1, 1, ",", "utf-8")]
    assert Store(desk.home).current().name == "store-000001.duckdb"
