"""Given a few rows of records, expect rows of a relation.

Rows are written as text: a header line, then a line a row, cells divided by `|`, an empty cell for nothing.
"""

from __future__ import annotations

from typing import Any

import duckdb
import pytest

from pipelines.build import BuildReport, build, health
from pipelines.contract.ddl import create_delivered
from pipelines.settings import Settings

# Two sites: one with a single furnace, one with twin boilers. The switches make at 200 Pa, give or take 10.
BASE = {
    "sites": """
        site_id | region | weather_station_id
        one     | north  | W1
        twin    | south  | W2""",
    "appliances": """
        appliance_id | site_id | appliance_kind | is_condensing | installed_on | rated_make_pressure_pa
        F1           | one     | furnace        | true          | 2020-01-01   | 200
        B1           | twin    | boiler         | true          | 2020-01-01   | 200
        B2           | twin    | boiler         | false         | 2020-01-01   | 200""",
    "technicians": """
        technician_id | branch
        anna          | east
        ben           | west""",
    "parts": """
        part_number | part_class   | unit_cost | currency | superseded_by
        SW          | draft_switch | 40        | USD      |
        OLD         |              | 35        | USD      | SW
        FAN         | draft_fan    | 300       | USD      |
        GAS         | gas_switch   | 30        | USD      |
        HOSE        | hose         | 5         | USD      |""",
    "gauges": """
        gauge_id | full_scale_pa | resolution_pa | accuracy_percent_full_scale
        G1       | 500           | 1             | 0.5""",
}


def rows_of(text: str) -> list[dict[str, str | None]]:
    """Rows of a text table, empty cells as None."""
    lines = [line.strip() for line in text.strip().splitlines() if line.strip()]
    header = [cell.strip() for cell in lines[0].split("|")]
    rows = [[cell.strip() or None for cell in line.split("|")] for line in lines[1:]]
    assert all(len(row) == len(header) for row in rows), text
    return [dict(zip(header, row, strict=True)) for row in rows]


class Records:
    """An in-memory store to put records in, build, and ask."""

    def __init__(self, settings: Settings | None = None) -> None:
        self.con = duckdb.connect(config={"threads": 1})
        self.settings = settings or Settings()
        create_delivered(self.con)
        for table, text in BASE.items():
            self.given(**{table: text})
        self.con.execute("UPDATE delivered.appliances SET make_tolerance_pa = 10")

    def given(self, **tables: str) -> Records:
        """Add rows to delivered tables."""
        for table, text in tables.items():
            for row in rows_of(text):
                names = ", ".join(row)
                marks = ", ".join("?" for _ in row)
                self.con.execute(f"INSERT INTO delivered.{table} ({names}) VALUES ({marks})", list(row.values()))
        return self

    def visits(self, text: str) -> Records:
        """Visits; what a test does not say: one furnace, anna, a call for no heat, declared complete."""
        usual = {"site_id": "one", "appliance_id": "F1", "technician_id": "anna", "visit_kind": "no_heat"}
        usual["is_declared_complete"] = "true"
        for row in rows_of(text):
            filled = usual | row
            names = ", ".join(filled)
            marks = ", ".join("?" for _ in filled)
            self.con.execute(f"INSERT INTO delivered.visits ({names}) VALUES ({marks})", list(filled.values()))
        return self

    def lines(self, text: str) -> Records:
        """Part lines; what a test does not say: one switch SW on line 1."""
        for row in rows_of(text):
            filled = {"line_no": "1", "part_number": "SW", "quantity": "1"} | row
            names = ", ".join(filled)
            marks = ", ".join("?" for _ in filled)
            self.con.execute(f"INSERT INTO delivered.part_lines ({names}) VALUES ({marks})", list(filled.values()))
        return self

    def correct(
        self, visit_id: str, field: str, value: str | None, at: str = "2025-06-01", why: str = "seen"
    ) -> Records:
        """One correction."""
        number = self.con.execute("SELECT count(*) FROM delivered.corrections").fetchone()[0]
        self.con.execute(
            "INSERT INTO delivered.corrections (correction_id, visit_id, corrected_field, new_value, reason, "
            "corrected_by, corrected_at) VALUES (?, ?, ?, ?, ?, 'chief', ?)",
            [f"C{number:03d}", visit_id, field, value, why, at],
        )
        return self

    def build(self) -> BuildReport:
        return build(self.con, self.settings)

    def ask(self, query: str) -> list[tuple[Any, ...]]:
        """Build, then the answer to a query."""
        self.build()
        return self.con.execute(query).fetchall()

    def one(self, query: str) -> Any:
        """Build, then the single row of a query; of a single column, its value."""
        rows = self.ask(query)
        assert len(rows) == 1, rows
        return rows[0][0] if len(rows[0]) == 1 else rows[0]

    def found(self) -> dict[str, int]:
        """Build, then the checks that found something and how many rows."""
        self.build()
        return {finding.check: finding.n_rows for finding in health(self.con)}


@pytest.fixture
def records() -> Records:
    return Records()


@pytest.fixture
def records_with():
    """Records under other settings."""
    return lambda **changes: Records(Settings(**changes))
