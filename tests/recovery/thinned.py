"""A fleet whose records lose a field at random, and the ranges it had before: what filling is predicted to give back."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import SimpleNamespace
from typing import Any
from unittest.mock import patch

import duckdb
import numpy as np
import pandas as pd
from fleets import SHARED_MEMORY

from models.figures import seasons as seasonal
from models.figures.callbacks import callbacks
from models.figures.cases import LACKS
from models.figures.coverage import coverage
from models.figures.good_switch import good_switch_rate
from models.figures.missing import CASES, Missing, missing
from models.figures.missing_counts import more_tests_by_stratum
from models.figures.scope import Scope
from models.figures.strata import swaps_for_rate
from models.methods.estimate import unknown
from pipelines.build import build
from pipelines.loading import load
from pipelines.settings import Settings
from pipelines.store import Store
from synthetic_data.generate import generate

# Statements that take a field off a share of the records ($share, in [0, 1]), chosen by a hash. Tags: see drawn_swaps.
_LOSES = "hash({key} || 'lost') % 1000 < 1000 * $share"
LOSSES = {
    "reading": (
        f"DELETE FROM delivered.readings WHERE visit_id IN (SELECT visit_id FROM draft_visit WHERE "
        f"{_LOSES.format(key='draft_fault_id')})",
    ),
    "cause": (
        f"UPDATE delivered.visits SET cause_code = NULL, contributing_cause_code = NULL WHERE visit_id IN "
        f"(SELECT visit_id FROM draft_visit WHERE {_LOSES.format(key='draft_fault_id')})",
    ),
    "appliance": (f"UPDATE delivered.visits SET appliance_id = NULL WHERE {_LOSES.format(key='visit_id')}",),
}


@contextmanager
def fleet(seed: int, visits: int) -> Iterator[Path]:
    """The file of an invented fleet's records and facts."""
    with tempfile.TemporaryDirectory(dir=SHARED_MEMORY if SHARED_MEMORY.is_dir() else None) as name:
        folder = Path(name)
        generate(folder, seed=seed, visits=visits, format="parquet")
        load(folder / "home", [folder / "records"])
        found = Store(folder / "home").current()
        assert found is not None
        yield found


def in_memory(path: Path) -> duckdb.DuckDBPyConnection:
    """The fleet once more, to take from."""
    con = duckdb.connect(config={"threads": 1})
    con.execute(f"ATTACH '{path}' AS kept (READ_ONLY)")
    con.execute("COPY FROM DATABASE kept TO memory; DETACH kept")
    return con


def made_complete(con: duckdb.DuckDBPyConnection, field: str) -> None:
    """Leave out every draft fault that lacks the field, so that it is on all records; build the facts anew."""
    rows = "swap_case" if CASES[field] == "swaps" else "draft_fault LEFT JOIN root_cause USING (draft_fault_id)"
    lacking = LACKS[field].replace("appliance_key", "draft_fault.appliance_key")
    lacking = lacking.replace("draft_fault.", "") if CASES[field] == "swaps" else lacking
    con.execute(
        "DELETE FROM delivered.visits WHERE visit_id IN (SELECT visit_id FROM draft_visit WHERE draft_fault_id IN "
        f"(SELECT draft_fault_id FROM {rows} WHERE {lacking}))"
    )
    build(con, Settings())


def taken_off(con: duckdb.DuckDBPyConnection, field: str, share: float) -> None:
    """Take the field off at random and build the facts anew."""
    for statement in LOSSES[field]:
        con.execute(statement, {"share": share})
    build(con, Settings())


def what_is_missing(con: duckdb.DuckDBPyConnection, field: str) -> Missing:
    """The figures of the field; families it does not weaken are left out, since they take long.

    So are the seasons of single regions, on which nothing here rests; they draw from a generator of their own.
    """
    settings, scope = Settings(), Scope()
    testing = more_tests_by_stratum(swaps_for_rate(con, scope, settings))
    none = unknown("left out")
    window = dict.fromkeys(("with_cause", "without_cause", "difference", "ratio"), none)
    blank = SimpleNamespace(windows={30: window}, possible={30: window})
    with patch.object(seasonal, "_regions", return_value=[]):
        year = seasonal.seasons(con, scope, settings, np.random.default_rng(0)) if field == "cause" else {}
    came_back: Any = callbacks(con, scope, settings) if field in ("cause", "appliance") else blank
    good = good_switch_rate(con, scope, settings)
    return missing(con, scope, settings, coverage(con, scope), testing, good, came_back, year, none)


def drawn_swaps(rng: np.random.Generator, n: int) -> pd.DataFrame:
    """Removed switches as models.figures.strata.swaps_for_rate gives them, all tagged; a third or so tested by evidence."""
    evidence = rng.choice(["no_reading", "condemnation_not_supported", "switch_shown_faulty"], n, p=[0.5, 0.35, 0.15])
    cause = rng.choice(["none", "described", "measured"], n, p=[0.4, 0.35, 0.25])
    often = pd.Series(evidence).map({"no_reading": 0.4, "condemnation_not_supported": 0.5, "switch_shown_faulty": 0.3})
    good = pd.Series(evidence).map({"no_reading": 0.6, "condemnation_not_supported": 0.85, "switch_shown_faulty": 0.1})
    tested = rng.random(n) < often
    return pd.DataFrame(
        {"swap_id": [f"v{i:05d}#1" for i in range(n)], "evidence": evidence, "cause": cause,
         "returned": rng.choice(["not returned", "came back"], n, p=[0.9, 0.1]), "branch": rng.choice(["north", "south"], n),
         "season": rng.integers(2022, 2025, n), "verdict": np.where(tested, np.where(rng.random(n) < good, "good", "faulty"), None),
         "selection": "chosen", "selection_probability": None, "is_returned_only": False, "is_spoiled": False,
         "has_tag": True, "lacks_rating": False}
    )  # fmt: skip
