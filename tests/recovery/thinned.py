"""A fleet whose records lose a field at random, and the ranges it had before: what filling is predicted to give back."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import duckdb
import numpy as np
from fleets import SHARED_MEMORY

from models.figures.callbacks import callbacks
from models.figures.coverage import coverage
from models.figures.good_switch import good_switch_rate
from models.figures.missing import Missing, missing
from models.figures.missing_counts import testing_by_stratum
from models.figures.scope import Scope
from models.figures.seasons import seasons
from models.figures.strata import swaps_for_rate
from models.figures.waste import waste
from models.misdiagnosis.scores import score_swaps
from pipelines.build import build
from pipelines.loading import load
from pipelines.settings import Settings
from pipelines.store import Store
from synthetic_data.generate import generate

# Statements that take a field off the records of a share of the sites ($share, in [0, 1]), chosen by a hash.
_LOSES = "hash({key} || 'lost') % 1000 < 1000 * $share"
LOSSES = {
    # Without a tag nobody knows later which swap a switch on the bench came from.
    "removed_tag": (
        f"DELETE FROM delivered.bench_tests WHERE bench_test_id IN (SELECT b.bench_test_id FROM bench_match b "
        f"JOIN swap w USING (swap_id) WHERE {_LOSES.format(key='w.visit_id')})",
        f"UPDATE delivered.part_lines SET removed_tag = NULL WHERE {_LOSES.format(key='visit_id')}",
    ),
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
def fleet_in_memory(seed: int, visits: int) -> Iterator[duckdb.DuckDBPyConnection]:
    """An invented fleet's records and facts in memory, to take from."""
    with tempfile.TemporaryDirectory(dir=SHARED_MEMORY if SHARED_MEMORY.is_dir() else None) as name:
        folder = Path(name)
        generate(folder, seed=seed, visits=visits, format="parquet")
        load(folder / "home", [folder / "records"])
        con = duckdb.connect()
        con.execute(f"ATTACH '{Store(folder / 'home').current()}' AS kept (READ_ONLY)")
        con.execute("COPY FROM DATABASE kept TO memory; DETACH kept")
        yield con
        con.close()


def taken_off(con: duckdb.DuckDBPyConnection, field: str, share: float) -> None:
    """Take the field off at random and build the facts anew."""
    for statement in LOSSES[field]:
        con.execute(statement, {"share": share})
    build(con, Settings())


def what_is_missing(con: duckdb.DuckDBPyConnection) -> Missing:
    settings, scope = Settings(), Scope()

    def rng() -> np.random.Generator:
        return np.random.default_rng(0)

    scores = score_swaps(con, scope, settings)
    testing = testing_by_stratum(swaps_for_rate(con, scope, settings))
    parts: tuple[Any, ...] = (
        good_switch_rate(con, scope, settings), callbacks(con, scope, settings), seasons(con, scope, settings, rng()),
        waste(con, scope, settings, scores, rng()),
    )  # fmt: skip
    return missing(con, scope, settings, coverage(con, scope), testing, *parts)
