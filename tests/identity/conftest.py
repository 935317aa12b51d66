"""A home of forty sites and few technicians, and pairs found in rows given as text."""

from __future__ import annotations

import duckdb
import pytest

from pipelines.build import run_macros
from pipelines.contract.ddl import create_delivered
from pipelines.given_relations import write_given
from pipelines.identity_pairs import Pair, find_pairs
from pipelines.settings import Settings


def put(con: duckdb.DuckDBPyConnection, table: str, text: str) -> None:
    """Rows of a table: a header line, then a line a row, cells divided by `|`, empty for nothing."""
    lines = [[cell.strip() or None for cell in line.split("|")] for line in text.strip().splitlines()]
    marks = ", ".join("?" for _ in lines[0])
    con.executemany(f"INSERT INTO delivered.{table} ({', '.join(lines[0])}) VALUES ({marks})", lines[1:])


def visit_rows(*rows: tuple[str, str, str, str]) -> str:
    """Visits to a site by a technician to an appliance at a time, half an hour each."""
    made = ["visit_id | site_id | technician_id | appliance_id | arrived_at | visit_kind"]
    made += [f"V{n} | {site} | {who} | {what} | {at} | no_heat" for n, (site, who, what, at) in enumerate(rows)]
    return "\n".join(made)


def ready(con: duckdb.DuckDBPyConnection) -> None:
    """What the rule reads besides records: the settings, and functions of the facts."""
    run_macros(con)
    write_given(con, Settings())


@pytest.fixture
def pairs_of():
    """The pairs found in given tables, by the two ids."""

    def found(subject: str, **tables: str) -> dict[tuple[str, str], Pair]:
        con = duckdb.connect(config={"threads": 1})
        create_delivered(con)
        for table, text in tables.items():
            put(con, table, text)
        ready(con)
        return {(pair.one.record_id, pair.other.record_id): pair for pair in find_pairs(con, subject)}

    return found
