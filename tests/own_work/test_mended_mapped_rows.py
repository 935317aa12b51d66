"""A row of a foreign export that is mended is read as its file was: in the mapping's time zone, with its unit."""

from __future__ import annotations

from dataclasses import replace

from pipelines import loading
from pipelines.mapping.mapping_file import mapping_of
from pipelines.own_entries import held_rows, mend_rows
from pipelines.own_work import OwnWork
from pipelines.settings import Settings
from pipelines.store import Store

MAPPING = """
name = "Berlin"
confirmed = true
time_zone = "Europe/Berlin"
default_pressure_unit = "Pa"
[[source]]
file = "jobs*.csv"
[[source.table]]
table = "visits"
[source.table.columns]
visit_id = "Job"
site_id = "Site"
technician_id = "Tech"
arrived_at = "Came"
visit_kind = "Kind"
[[source.table]]
table = "readings"
[source.table.columns]
visit_id = "Job"
reading_no = { value = "1" }
quantity = { value = "draft_at_switch" }
value = "Draft"
"""
ROWS = "Job,Site,Tech,Came,Kind,Draft\nJ1,S1,T1,2025-01-10 08:00,no_heat,120\nJ2,S1,T1,2025-01-10 8h,no_heat,12o\n"


def _query(home, query):
    con = Store(home).open_reader()
    try:
        return con.execute(query).fetchall()
    finally:
        con.close()


def mend(home, settings, *what):
    con = Store(home).open_reader()
    try:
        return mend_rows(con, OwnWork(home), settings, *what)
    finally:
        con.close()


def test_a_mended_row_keeps_the_time_zone_and_the_unit_of_its_mapping(tmp_path):
    export, home = tmp_path / "jobs.csv", tmp_path / "home"
    export.write_text(ROWS)
    loading.load(home, [export], Settings(), mapping=mapping_of(MAPPING))
    con = Store(home).open_reader()
    try:
        rows = {row.table: row for row in held_rows(con)}
    finally:
        con.close()
    mend(home, Settings(), [rows["visits"]], {"arrived_at": "2025-01-10 08:00"}, "typing error", "chief")
    mend(home, Settings(), [rows["readings"]], {"value": "120"}, "typing error", "chief")
    # The company's own settings may change before the mended rows are taken in.
    loading.load(home, [], replace(Settings(), time_zone="America/New_York", default_pressure_unit="kPa"))
    assert _query(home, "SELECT visit_id, strftime(arrived_at, '%H:%M') FROM delivered.visits ORDER BY 1") == [
        ("J1", "07:00"), ("J2", "07:00")
    ]  # fmt: skip
    assert _query(home, "SELECT visit_id, value_pa, unit FROM delivered.readings ORDER BY 1") == [
        ("J1", 120.0, "Pa"), ("J2", 120.0, "Pa")
    ]  # fmt: skip
    assert _query(home, "SELECT count(*) FROM held_back_open") == [(0,)]


def test_a_row_mended_before_its_reading_was_kept_is_read_as_the_company_reads(tmp_path):
    export, home = tmp_path / "jobs.csv", tmp_path / "home"
    export.write_text(ROWS)
    loading.load(home, [export], Settings(), mapping=mapping_of(MAPPING))
    con = Store(home).open_reader()
    try:
        (row,) = held_rows(con, "table_name = 'visits'")
    finally:
        con.close()
    mend(home, Settings(), [replace(row, read_with="")], {"arrived_at": "2025-01-10 08:00"}, "x", "chief")
    loading.load(home, [], Settings())
    assert _query(home, "SELECT strftime(arrived_at, '%H:%M') FROM delivered.visits WHERE visit_id = 'J2'") == [
        ("08:00",)
    ]
