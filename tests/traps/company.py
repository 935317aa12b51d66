"""A company's files, written row by row: what a test does not say is ordinary."""

from __future__ import annotations

import csv
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from models.figures.all import Figures
from models.figures.published import as_json
from models.figures.sidecar import figures_for
from pipelines.loading import load
from pipelines.settings import Settings
from pipelines.store import Store

START = datetime(2023, 1, 2, 9)
RATED_PA, TOLERANCE_PA = 200.0, 10.0


@dataclass
class Company:
    """Rows per table; `write` puts them into CSV files, `figures` loads them and works out every figure."""

    rows: dict[str, list[dict[str, Any]]] = field(default_factory=dict)

    def add(self, table: str, **row: Any) -> None:
        self.rows.setdefault(table, []).append(row)

    def visit(self, at: datetime, site: str = "s1", technician: str = "anna", **more: Any) -> str:
        """A call for no heat at the site's only furnace, declared complete an hour later; gives its id."""
        visit_id = more.pop("visit_id", f"v{len(self.rows.get('visits', [])):05d}")
        usual = {
            "visit_id": visit_id, "job_id": f"j{visit_id}", "site_id": site, "appliance_id": f"furnace of {site}",
            "technician_id": technician, "arrived_at": at.isoformat(), "left_at": (at + timedelta(hours=1)).isoformat(),
            "visit_kind": "no_heat", "symptom": "draft_not_proven", "cause_code": None, "is_declared_complete": "true",
            "waits_for_part": "false", "notes": None,
        }  # fmt: skip
        self.add("visits", **(usual | more))
        return visit_id

    def swap(self, at: datetime, site: str = "s1", technician: str = "anna", **more: Any) -> str:
        """A visit on which the draft switch was replaced; the old one bears the visit's id as its tag."""
        visit_id = self.visit(at, site, technician, **more)
        self.line(visit_id)
        return visit_id

    def line(self, visit_id: str) -> None:
        self.add(
            "part_lines", visit_id=visit_id, line_no=1, part_number="DS", part_class="draft_switch", quantity=1,
            line_status="fitted", unit_cost=40, currency="USD", removed_tag=f"tag {visit_id}",
        )  # fmt: skip

    def bench(self, visit_id: str, at: datetime, is_good: bool = True, **more: Any) -> None:
        """The removed switch on the bench: it makes at its rated point, or far below."""
        make = RATED_PA if is_good else RATED_PA - 60
        usual = {
            "bench_test_id": f"b{len(self.rows.get('bench_tests', [])):05d}", "removed_tag": f"tag {visit_id}",
            "visit_id": visit_id, "tested_at": at.isoformat(), "gauge_id": "G1", "pressure_unit": "Pa",
            "make_1": make, "make_2": make + 0.5, "make_3": make - 0.5, "rated_make_pressure": RATED_PA,
            "make_tolerance": TOLERANCE_PA, "is_leak_down_passed": "true", "contact_ohms": 0.1,
            "has_water_inside": "false", "is_diaphragm_torn": "false", "handling": "as_removed", "selection": "chosen",
            "selection_probability": None,
        }  # fmt: skip
        self.add("bench_tests", **(usual | more))

    def write(self, folder: Path, backwards: bool = False) -> Path:
        """The files of the company. Sites, furnaces, technicians, the part and the gauge follow from its visits."""
        folder.mkdir(parents=True, exist_ok=True)
        visits = self.rows.get("visits", [])
        sites = sorted({row["site_id"] for row in visits})
        tables = dict(self.rows) | {
            "sites": [{"site_id": site, "region": "north"} for site in sites],
            "appliances": [
                {"appliance_id": f"furnace of {site}", "site_id": site, "appliance_kind": "furnace",
                 "is_condensing": "true", "installed_on": "2015-01-01"} for site in sites
            ],
            "technicians": [
                {"technician_id": name, "branch": "east", "started_on": "2010-01-01"}
                for name in sorted({row["technician_id"] for row in visits})
            ],
            "gauges": [{"gauge_id": "G1", "full_scale": 500, "resolution": 1, "unit": "Pa",
                        "accuracy_percent_full_scale": 0.5}],
            "parts": [{"part_number": "DS", "part_class": "draft_switch", "unit_cost": 40, "currency": "USD"}],
        }  # fmt: skip
        for table, rows in tables.items():
            if rows:
                with (folder / f"{table}.csv").open("w", newline="", encoding="utf-8") as file:
                    writer = csv.DictWriter(file, rows[0])
                    writer.writeheader()
                    writer.writerows(reversed(rows) if backwards else rows)
        return folder

    def figures(self, folder: Path) -> Figures:
        """Written, loaded without a row held back, worked out."""
        report = load(folder / "home", [self.write(folder / "records")])
        assert not sum(file.n_held_back for file in report.files), report
        return figures_for(Store(folder / "home"), Settings())


def published(figures: Figures) -> dict[str, Any]:
    return as_json(figures, "store")


def week(number: int, day: int = 0, hour: int = 0) -> datetime:
    """A time in a whole week after the start."""
    return START + timedelta(weeks=number, days=day, hours=hour)
