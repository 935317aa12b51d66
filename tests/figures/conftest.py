"""Fact tables made directly, with rows of known truth: the figures are tested apart from records and loading."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date
from functools import partial
from typing import Any

import duckdb
import numpy as np
import pandas as pd
import pytest

from pipelines.build import build
from pipelines.contract.ddl import create_delivered
from pipelines.settings import Settings

FIRST_ON = pd.Timestamp(2021, 7, 5)


@pytest.fixture
def settings() -> Settings:
    return Settings()


@pytest.fixture
def store() -> Iterator[duckdb.DuckDBPyConnection]:
    """A store without any record: every fact is there, as an empty table."""
    con = duckdb.connect()
    create_delivered(con)
    build(con, Settings())
    # The view `callback` as a table, to put rows in.
    con.execute("CREATE TABLE held AS FROM callback; DROP VIEW callback; ALTER TABLE held RENAME TO callback")
    yield con
    con.close()


def _put(con: duckdb.DuckDBPyConnection, table: str, **columns: Any) -> None:
    """Add rows; columns not given are NULL. Scalars are repeated."""
    rows = pd.DataFrame(columns)
    con.register("rows_given", rows)
    con.execute(f"INSERT INTO {table} BY NAME SELECT * FROM rows_given")
    con.unregister("rows_given")


@pytest.fixture
def put(store: duckdb.DuckDBPyConnection) -> Callable[..., None]:
    """put(table, column=values, ...): rows straight into a table of the store."""
    return partial(_put, store)


@pytest.fixture
def put_swaps(store: duckdb.DuckDBPyConnection) -> Callable[..., None]:
    """put_swaps(column=values, ...): see add_swaps."""
    return partial(add_swaps, store)


def add_swaps(con: duckdb.DuckDBPyConnection, **columns: Any) -> None:
    """Swaps with their draft faults and follow-up; defaults fill what a test does not care about.

    callback_days, observed_days: of the follow-up; by default followed 400 days without a callback.
    """
    n = max((len(value) for value in columns.values() if isinstance(value, list | np.ndarray)), default=1)
    number = [f"{i:06d}" for i in range(n)]
    rows = pd.DataFrame({"swap_id": [f"v{i}#1" for i in number], "visit_id": [f"v{i}" for i in number]})
    rows["draft_fault_id"] = rows["visit_id"]
    defaults: dict[str, Any] = {
        "site_id": [f"s{i}" for i in number], "appliance_key": [f"a{i}" for i in number], "technician_id": "t1",
        "branch": "north", "region": "r1", "swapped_on": date(2024, 1, 10), "symptom": "draft_not_proven", "is_after_hours": False,
        "appliance_kind": "furnace", "is_condensing": True, "appliance_age_years": 9.0, "part_number": "p1", "unit_cost": 40.0,
        "currency": "USD", "evidence": "no_reading", "margin_pa": None, "tier": "none", "cause_code": None, "cause_group": None,
        "verdict": None, "selection": None, "selection_probability": None, "n_readings_before": 0, "n_checks_done": 0,
        "n_checks_fault": 0, "has_gauge_reading": False, "has_after_reading": False, "n_note_characters": 30, "n_minutes": 60.0,
        "claim_outcome": None, "claim_credited_amount": None, "callback_days": None, "possible_callback_days": None,
        "observed_days": 400, "heating_days_observed": None, "is_appliance_proven": True,
    }  # fmt: skip
    for name, value in {**defaults, **columns}.items():
        rows[name] = value
    rows["diagnosed_by"] = rows["technician_id"]
    rows["tier_at_close"] = columns.get("tier_at_close", rows["tier"])
    rows["has_root_cause"] = rows["tier"].isin(["measured", "described"])
    days = pd.to_datetime(rows["swapped_on"])
    rows["swapped_at"] = days + pd.Timedelta(hours=10)
    rows["week_on"] = (days - pd.to_timedelta(days.dt.day_of_week, unit="D")).dt.date
    rows["month"] = days.dt.month
    rows["season"] = days.dt.year - (days.dt.month < 7)
    rows["swapped_on"] = days.dt.date
    put_rows(con, "swap_case", rows)
    rows["arrived_at"], rows["arrived_on"], rows["starts_on"] = (
        rows["swapped_at"],
        rows["swapped_on"],
        rows["swapped_on"],
    )
    rows["n_swaps"], rows["has_swap"] = 1, True
    rows["possible_observed_days"] = rows["observed_days"]
    put_rows(con, "draft_fault", rows)
    put_rows(con, "root_cause", rows)
    put_rows(con, "field_evidence", rows)
    put_rows(con, "callback", rows)
    rows["visit_kind"] = "no_heat"
    put_rows(con, "visit", rows)


def put_rows(con: duckdb.DuckDBPyConnection, table: str, rows: pd.DataFrame) -> None:
    """Add the columns of the frame that the table has."""
    names = [row[0] for row in con.execute(f"DESCRIBE {table}").fetchall()]
    _put(con, table, **{name: rows[name] for name in names if name in rows})


@dataclass(frozen=True)
class Truth:
    """What the made-up fleet was drawn with."""

    good_rate: float
    callback_30_with: float
    callback_30_without: float
    weak: tuple[str, ...]
    peak_day: float
    peak_to_trough: float


def make_fleet(
    con: duckdb.DuckDBPyConnection,
    rng: np.random.Generator,
    n_technicians: int = 30,
    n_faults: int = 4000,
    n_weak: int = 3,
    n_weeks: int = 156,
    testing: float = 0.35,
) -> Truth:
    """A fleet drawn straight into the fact tables. Weak technicians swap on most draft faults, good switch or not.

    Testing depends on the evidence; callbacks are exponential with a rate per day of .012 without and .004 with a
    cause;
    condensate faults peak on day 20 with a ratio of 4.
    """
    ids = np.array([f"t{i:02d}" for i in range(n_technicians)], dtype=object)
    weak = np.arange(n_technicians) < n_weak
    who = rng.integers(0, n_technicians, n_faults)
    is_good = rng.random(n_faults) < np.where(rng.random(n_faults) < 0.5, 0.75, 0.55)
    reads = rng.random(n_faults) < np.where(weak[who], 0.15, 0.7)
    # Who reads the gauge leaves a good switch alone most of the time.
    swaps = rng.random(n_faults) < np.where(is_good, np.where(weak[who], 0.8, np.where(reads, 0.15, 0.45)), 0.9)
    n = int(swaps.sum())
    who, is_good, reads = who[swaps], is_good[swaps], reads[swaps]
    has_cause = rng.random(n) < np.where(reads, 0.7, 0.3)
    evidence = np.where(
        ~reads, "no_reading", np.where(rng.random(n) < 0.2, "unclear", np.where(is_good, "condemnation_not_supported", "switch_shown_faulty"))
    )  # fmt: skip
    tested = rng.random(n) < testing * np.where(reads, 1.3, 0.6)
    verdict = np.where(
        ~tested, None, np.where(rng.random(n) < 0.05, "inconclusive", np.where(is_good, "good", "faulty"))
    )
    back = np.floor(rng.exponential(1 / np.where(has_cause, 0.004, 0.012))) + 1
    day = np.sort(rng.integers(0, 7 * n_weeks, n))
    limit = np.minimum(7 * n_weeks - day, 400)
    came = back <= limit
    swapped_on = FIRST_ON + pd.to_timedelta(day, unit="D")
    add_swaps(
        con, technician_id=ids[who], swapped_on=swapped_on, evidence=evidence, verdict=verdict,
        tier=np.where(has_cause, "described", "none"), selection=np.where(tested, "chosen", None),
        callback_days=[int(b) if c else None for b, c in zip(back, came, strict=True)],
        possible_callback_days=[int(b) if c else None for b, c in zip(back, came, strict=True)],
        observed_days=np.minimum(back, limit).astype(int), has_gauge_reading=reads, n_readings_before=np.where(reads, 2, 0),
        margin_pa=np.where(evidence == "switch_shown_faulty", 40.0, np.where(reads, -40.0, np.nan)),
        site_id=np.array([f"s{i}" for i in rng.integers(0, n, n)]), branch=np.where(who % 2 == 0, "north", "south"),
    )  # fmt: skip
    others = np.flatnonzero(~swaps)
    put_plain_faults(con, rng, ids, n_weeks, rng.permutation(np.concatenate([np.full(k, i) for i, k in enumerate(
        np.bincount(rng.integers(0, n_technicians, others.size), minlength=n_technicians))])))  # fmt: skip
    _put(
        con,
        "delivered.technicians",
        technician_id=ids,
        technician_name=ids,
        branch="north",
        started_on=date(2015, 1, 1),
    )
    put_weeks(con, rng, n_weeks, peak_day=20.0, ratio=4.0)
    return Truth(
        float(is_good.mean()),
        1 - float(np.exp(-0.004 * 30)),
        1 - float(np.exp(-0.012 * 30)),
        tuple(ids[weak]),
        20.0,
        4.0,
    )


def put_plain_faults(
    con: duckdb.DuckDBPyConnection, rng: np.random.Generator, ids: np.ndarray, n_weeks: int, who: np.ndarray
) -> None:
    """Draft faults without a swap."""
    n = who.size
    day = FIRST_ON + pd.to_timedelta(rng.integers(0, 7 * n_weeks, n), unit="D")
    rows = pd.DataFrame(
        {"draft_fault_id": [f"f{i:06d}" for i in range(n)], "technician_id": ids[who], "arrived_on": day.date}
    )
    rows["visit_id"], rows["site_id"], rows["appliance_key"] = (
        rows["draft_fault_id"],
        "q" + rows["draft_fault_id"],
        "b" + rows["draft_fault_id"],
    )
    rows["arrived_at"], rows["month"] = day, day.month
    rows["branch"], rows["region"], rows["symptom"], rows["appliance_kind"] = (
        "north",
        "r1",
        "draft_not_proven",
        "furnace",
    )
    rows["is_condensing"], rows["is_after_hours"], rows["appliance_age_years"], rows["n_swaps"] = True, False, 9.0, 0
    rows["season"], rows["visit_kind"] = day.year - (day.month < 7), "no_heat"
    put_rows(con, "draft_fault", rows)
    put_rows(con, "visit", rows)


def put_weeks(
    con: duckdb.DuckDBPyConnection, rng: np.random.Generator, n_weeks: int, peak_day: float, ratio: float
) -> None:
    """Poisson weeks of both families, 5,000 appliances served, one harmonic."""
    week_on = FIRST_ON + pd.to_timedelta(7 * np.arange(n_weeks), unit="D")
    angle = 2 * np.pi * (week_on.day_of_year + 3.5 - peak_day) / 365.25
    mean = 12 * np.exp(np.log(ratio) / 2 * np.cos(angle))
    for family in ("condensate", "blockage"):
        _put(
            con,
            "fault_week",
            region="r1",
            week_on=week_on.date,
            family=family,
            n_faults=rng.poisson(mean),
            n_appliances=5000,
        )


@pytest.fixture
def well_tested_fleet(store: duckdb.DuckDBPyConnection) -> tuple[duckdb.DuckDBPyConnection, Truth]:
    """Twice as many switches tested: enough to be sure of the planted technicians."""
    return store, make_fleet(store, np.random.default_rng(7), testing=0.7)


@pytest.fixture
def fleet(store: duckdb.DuckDBPyConnection) -> tuple[duckdb.DuckDBPyConnection, Truth]:
    return store, make_fleet(store, np.random.default_rng(7))
