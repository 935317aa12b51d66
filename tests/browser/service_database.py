"""The same records as tables of a company's own PostgreSQL schema, with types and names of its own."""

from __future__ import annotations

import csv
import io

import psycopg
from foreign_habits import Rows

TABLES = {
    "visits": ("svc.service_call", "call_no text, location_id text, unit_id text, tech_no text, arrival timestamp, "
               "departure timestamp, call_type text, complaint text, cause_code text, completed boolean, work_performed text"),
    "part_lines": ("svc.call_item", "call_no text, item_no integer, part_no text, part_type text, qty integer, "
                   "amount numeric, core_tag text"),
    "readings": ("svc.call_reading", "call_no text, reading_no integer, quantity text, reading double precision, uom text, "
                 "condition text, contacts text, taken text"),
}  # fmt: skip
QUERIES = """calls: SELECT * FROM svc.service_call ORDER BY call_no
items: SELECT *
FROM svc.call_item
gauged: SELECT * FROM svc.call_reading"""
_KINDS = {"no_heat": "NH", "other_fault": "FLT"}


def filled(rows: Rows, connection: str, password: str) -> None:
    """Make the schema and fill it."""
    with psycopg.connect(connection, password=password, autocommit=True) as con:
        con.execute("DROP SCHEMA IF EXISTS svc CASCADE")
        con.execute("CREATE SCHEMA svc")
        for table, (name, columns) in TABLES.items():
            con.execute(f"CREATE TABLE {name} ({columns})")
            text = io.StringIO()
            for row in rows[table]:
                coded = {**row, "visit_kind": _KINDS.get(row.get("visit_kind", ""), row.get("visit_kind", ""))}
                csv.writer(text).writerow([coded[column] for column in row])
            with con.cursor().copy(f"COPY {name} FROM STDIN (FORMAT csv)") as copy:
                copy.write(text.getvalue())
