"""A small random fleet straight into the accepted records: awkward on purpose, the same for the same seed."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import duckdb
import numpy as np

from pipelines.contract import codes
from pipelines.contract.ddl import create_delivered

START = datetime(2023, 6, 1)


def new_store() -> duckdb.DuckDBPyConnection:
    con = duckdb.connect(config={"threads": 1})
    create_delivered(con)
    return con


def put(con: duckdb.DuckDBPyConnection, table: str, rows: list[dict[str, Any]]) -> None:
    """Insert rows of equal keys."""
    names = ", ".join(rows[0])
    marks = ", ".join("?" for _ in rows[0])
    con.executemany(f"INSERT INTO delivered.{table} ({names}) VALUES ({marks})", [list(row.values()) for row in rows])


def base(con: duckdb.DuckDBPyConnection, rng: np.random.Generator, n_sites: int = 30) -> None:
    """Sites, appliances (some twins), technicians, parts, gauges, weather."""
    put(con, "sites", [_site(number) for number in range(n_sites)])
    put(con, "appliances", [_appliance(number, n_sites, rng) for number in range(int(n_sites * 1.3))])
    put(con, "technicians", [{"technician_id": f"T{n}", "branch": f"B{n % 2}"} for n in range(5)])
    put(con, "gauges", [{"gauge_id": "G0", "full_scale_pa": 500, "accuracy_percent_full_scale": 0.5}])
    parts = [("SW", "draft_switch", None), ("OLD", None, "SW"), ("FAN", "draft_fan", None), ("GAS", "gas_switch", None)]
    put(con, "parts", [{"part_number": n, "part_class": c, "superseded_by": s, "unit_cost": 40} for n, c, s in parts])
    days = [START + timedelta(days=day) for day in range(800)]
    put(con, "weather_days", [_weather(station, day) for station in ("W0", "W1") for day in days])


def visits(
    con: duckdb.DuckDBPyConnection,
    rng: np.random.Generator,
    first: int,
    number: int,
    day_from: int,
    day_to: int,
    sites: range,
) -> None:
    """Visits numbered from `first`, with their lines, readings, checks, tests, claims and corrections."""
    rows: dict[str, list[dict[str, Any]]] = {
        name: []
        for name in ("visits", "part_lines", "readings", "checks", "bench_tests", "warranty_claims", "corrections")
    }
    for offset in range(number):
        visit_id = f"V{first + offset:05d}"
        at = START + timedelta(minutes=int(rng.integers(day_from * 1440, day_to * 1440)))
        rows["visits"].append(_visit(visit_id, at, sites, first + offset, rng))
        tag = f"T-{int(rng.integers(first + offset + 1))}" if rng.random() < 0.7 else None
        for line_no in range(int(rng.integers(0, 3))):
            rows["part_lines"].append(_line(visit_id, line_no, tag, rng))
        for reading_no in range(int(rng.integers(0, 4))):
            rows["readings"].append(_reading(visit_id, reading_no, rng))
        for check in rng.choice(codes.CHECK_CODE.values(), int(rng.integers(0, 4)), replace=False):
            rows["checks"].append(
                {"visit_id": visit_id, "check_code": str(check), "outcome": _any(rng, "sound", "fault")}
            )
        if rng.random() < 0.4:
            rows["bench_tests"].append(_test(visit_id, tag, at, rng))
        if rng.random() < 0.1:
            rows["warranty_claims"].append({"claim_id": f"K{visit_id}", "visit_id": visit_id, "outcome": "paid"})
        if rng.random() < 0.15:
            rows["corrections"].append(_correction(visit_id, first + offset, rng))
    for table, made in rows.items():
        put(con, table, made)


def _any(rng: np.random.Generator, *values: Any) -> Any:
    return values[int(rng.integers(len(values)))]


def _site(number: int) -> dict[str, Any]:
    return {"site_id": f"S{number}", "region": f"R{number % 2}", "weather_station_id": f"W{number % 2}"}


def _appliance(number: int, n_sites: int, rng: np.random.Generator) -> dict[str, Any]:
    return {
        "appliance_id": f"A{number}",
        "site_id": f"S{number % n_sites}",
        "appliance_kind": _any(rng, "furnace", "boiler"),
        "is_condensing": _any(rng, True, False, None),
        "installed_on": _any(rng, "2020-01-01", "2023-09-01", None),
        "removed_on": _any(rng, None, None, None, "2024-03-01"),
        "rated_make_pressure_pa": _any(rng, 200, 220, None),
        "make_tolerance_pa": _any(rng, 10, None),
    }


def _weather(station: str, day: datetime) -> dict[str, Any]:
    mean = 10 - 12 * np.cos((day.timetuple().tm_yday - 20) / 365 * 2 * np.pi)
    return {"weather_station_id": station, "day_on": day, "min_temperature_c": mean - 4, "max_temperature_c": mean + 4}


def _visit(visit_id: str, at: datetime, sites: range, number: int, rng: np.random.Generator) -> dict[str, Any]:
    site = int(rng.choice(sites))
    return {
        "visit_id": visit_id,
        "job_id": _any(rng, None, f"J{site}-{int(rng.integers(6))}"),
        "site_id": f"S{site}",
        "appliance_id": _any(rng, None, f"A{site}", f"A{site}", f"A{site + 30}"),
        "technician_id": f"T{rng.integers(5)}",
        "arrived_at": at,
        "left_at": _any(rng, None, at + timedelta(minutes=50)),
        "visit_kind": _any(rng, "no_heat", "no_heat", *codes.VISIT_KIND.values()),
        "symptom": _any(rng, None, "draft_not_proven", "draft_not_proven", *codes.SYMPTOM.values()),
        "cause_code": _any(rng, None, *codes.CAUSE_CODE.values()),
        "is_declared_complete": _any(rng, True, True, False, None),
        "waits_for_part": _any(rng, None, False, True),
        "follows_visit_id": _any(rng, None, None, f"V{int(rng.integers(number + 1)):05d}"),
        "notes": _any(rng, None, "trap plugged", "no water in hose", "other furnace", "vent iced up"),
    }


def _line(visit_id: str, line_no: int, tag: str | None, rng: np.random.Generator) -> dict[str, Any]:
    return {
        "visit_id": visit_id,
        "line_no": line_no,
        "part_number": _any(rng, "SW", "SW", "OLD", "FAN", "GAS", None),
        "part_class": _any(rng, None, None, "draft_switch"),
        "quantity": _any(rng, 1, 1, 1, 2, -1),
        "line_status": _any(rng, None, None, *codes.LINE_STATUS.values()),
        "removed_tag": tag,
        "unit_cost": _any(rng, None, 42.0),
        "description": _any(rng, None, "switch", "recall"),
    }


def _reading(visit_id: str, reading_no: int, rng: np.random.Generator) -> dict[str, Any]:
    value = float(rng.integers(100, 300))
    return {
        "visit_id": visit_id,
        "reading_no": reading_no,
        "quantity": _any(rng, "draft_at_switch", "draft_at_port"),
        "value": value,
        "value_pa": _any(rng, value, value, None),
        "condition": _any(rng, None, *codes.CONDITION.values()),
        "contacts": _any(rng, None, "open", "closed"),
        "taken": _any(rng, None, "before_repair", "after_repair"),
        "gauge_id": _any(rng, None, "G0"),
    }


def _test(visit_id: str, tag: str | None, at: datetime, rng: np.random.Generator) -> dict[str, Any]:
    return {
        "bench_test_id": f"X{visit_id}",
        "removed_tag": tag,
        "visit_id": _any(rng, visit_id, None) if tag else visit_id,
        "tested_at": at + timedelta(days=int(rng.integers(1, 20))),
        "pressure_unit": "Pa",
        "gauge_id": _any(rng, None, "G0"),
        "make_1_pa": float(rng.integers(150, 260)),
        "make_2_pa": _any(rng, None, 205.0),
        "is_diaphragm_torn": _any(rng, None, False, True),
        "selection": _any(rng, None, "random"),
    }


def _correction(visit_id: str, number: int, rng: np.random.Generator) -> dict[str, Any]:
    field, value = _any(
        rng,
        ("cause_code", "hose_water"),
        ("callback_class", "callback"),
        ("owner", "T1"),
        ("part_class", "draft_switch"),
        ("bench_result", "good"),
        ("link", f"V{int(rng.integers(number + 1)):05d}"),
        ("link", "none"),
    )
    return {
        "correction_id": f"C{visit_id}",
        "visit_id": visit_id,
        "corrected_field": field,
        "new_value": value,
        "reason": "seen",
        "corrected_by": "chief",
        "corrected_at": datetime(2025, 1, 1),
    }
