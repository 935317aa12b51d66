"""Exports that are broken or mean harm, read through a mapping."""

from __future__ import annotations

import openpyxl
import pytest
from foreign_company import CALLS

from pipelines.mapping.declared import MappingError
from pipelines.mapping.queries import asked_of

HEADER = ["Call", "Site", "Tech", "In", "Kind"]
ROWS = [[str(n), f"S{n % 3}", "T1", "2025-01-05 08:00", "PM"] for n in range(1, 40)]


@pytest.mark.parametrize(
    "cell", ['=HYPERLINK("http://x.invalid","y")', "+1+1", "@SUM(A1)", "<script>alert(1)</script>"]
)
def test_formulas_and_markup_in_a_mapped_cell_stay_the_text_they_are(desk, cell):
    desk.load(CALLS, desk.write("calls.csv", HEADER, [["1", cell, "T1", "2025-01-05 08:00", "PM"]]))
    assert desk.query("SELECT site_id FROM delivered.visits") == [(cell,)]


def test_a_file_whose_copy_was_stopped_midway_accounts_for_every_row(desk):
    path = desk.write("calls.csv", HEADER, ROWS)
    whole = path.read_bytes()
    path.write_bytes(whole[: whole.rindex(b",2025") - 2])
    (file,) = desk.load(CALLS, path).files
    assert file.error or (file.n_accepted, file.n_held_back) == (len(ROWS) - 1, 1)
    # The whole file, sent again, puts it right.
    path.write_bytes(whole)
    desk.load(CALLS, path)
    assert desk.query("SELECT count(*) FROM delivered.visits") == [(len(ROWS),)]


def test_a_workbook_whose_copy_was_stopped_midway_is_refused_in_words(desk):
    book = openpyxl.Workbook()
    for row in [HEADER, *ROWS]:
        book.active.append(row)
    path = desk.folder / "calls.xlsx"
    book.save(path)
    path.write_bytes(path.read_bytes()[:-2000])
    (file,) = desk.load(CALLS.replace("calls*.csv", "calls*.xlsx"), path).files
    assert file.error and file.n_rows == 0
    assert not (desk.home / "current").exists()


def test_queries_are_read_by_name_over_several_lines():
    asked = asked_of(" service=records ", "visits: SELECT a::text\n  FROM v\n\nlines:SELECT 1")
    assert asked.connection == "service=records"
    assert asked_of("postgresql://me@db:5432/x", "v: SELECT 1").connection == "postgresql://me@db:5432/x"
    assert [(one.name, one.query) for one in asked.sources] == [
        ("visits", "SELECT a::text\n  FROM v"),
        ("lines", "SELECT 1"),
    ]


def test_a_colon_in_a_remark_within_a_query_begins_no_other():
    asked = asked_of("service=records", "job-lines: SELECT a -- as asked: by week\n  , b FROM v -- not w: it is empty")
    assert [(one.name, one.query) for one in asked.sources] == [
        ("job-lines", "SELECT a -- as asked: by week\n  , b FROM v -- not w: it is empty")
    ]
    asked = asked_of("service=records", "v: SELECT a\nFROM v -- not w: it is empty")
    assert [one.name for one in asked.sources] == ["v"]


@pytest.mark.parametrize(
    ("connection", "queries", "said"),
    [
        ("service=x", "", "No query is named"),
        ("", "v: SELECT 1", "No connection is named"),
        ("service=x", "SELECT 1", "belongs to no query"),
        ("service=x", "v: SELECT 1\nv: SELECT 2", "stands twice"),
        ("host=x password=hush", "v: SELECT 1", "holds a password"),
        ("postgresql://me:hush@db/x", "v: SELECT 1", "holds a password"),
        ("postgresql://me:a/hush@db/x", "v: SELECT 1", "holds a password"),
    ],
)
def test_what_is_wrong_with_queries_is_told(connection, queries, said):
    with pytest.raises(MappingError, match=said) as refused:
        asked_of(connection, queries)
    assert "hush" not in str(refused.value)
