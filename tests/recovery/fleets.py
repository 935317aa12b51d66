"""Invents small fleets, loads them as any company's records and compares the figures with what really happened.

Run as: python fleets.py VISITS SEED [SEED ...]; prints one line of JSON per fleet.
"""

from __future__ import annotations

import json
import sys
import tempfile
from pathlib import Path
from typing import Any
from unittest import mock

import numpy as np
import pandas as pd

from models.figures.callbacks import callbacks
from models.figures.good_switch import good_switch_rate
from models.figures.scope import Scope
from models.figures.seasons import seasons
from models.figures.technicians import technicians
from models.methods.estimate import Estimate
from models.misdiagnosis import scores as scoring
from models.misdiagnosis.validation import blocks_of
from pipelines.loading import load
from pipelines.settings import Settings
from pipelines.store import Store
from synthetic_data.generate import generate
from synthetic_data.scenario import Scenario

# Folder in memory, where the machine has one: a fleet lives for seconds.
SHARED_MEMORY = Path("/dev/shm")
KINDS = {
    "usual": Scenario,
    "no_weak": Scenario.no_weak_technician,
    "by_result": Scenario.tested_by_result,
}


def fleet(seed: int, visits: int, kind: str = "usual") -> dict[str, Any]:
    """One fleet: for each figure its value, range and truth; for technicians who was flagged and who should be.

    kind: 'usual', 'no_weak' (nobody planted as weak) or 'by_result' (testers pick good switches, not at random given
    the paper). folds: the classifier's predictions for each later block, [block, probability, was good, weight, rate
    known before].
    """
    scenario = KINDS[kind]()
    with tempfile.TemporaryDirectory(
        prefix="goodpull-fleet-", dir=SHARED_MEMORY if SHARED_MEMORY.is_dir() else None
    ) as name:
        folder = Path(name)
        generate(folder, seed=seed, visits=visits, format="parquet", scenario=scenario)
        load(folder / "home", [folder / "records"])
        truth = json.loads((folder / "truth" / "summary.json").read_text("utf-8"))
        people = pd.read_parquet(folder / "truth" / "technicians.parquet")
        con = Store(folder / "home").open_reader()
        try:
            return {"seed": seed, "kind": kind, **_compared(con, truth, people)}
        finally:
            con.close()


def _compared(con: Any, truth: dict[str, Any], people: pd.DataFrame) -> dict[str, Any]:
    settings, everything, rng = Settings(), Scope(), np.random.default_rng(0)
    came_back = callbacks(con, everything, settings)
    month, possible = came_back.windows[30], came_back.possible[30]
    year = seasons(con, everything, settings, rng)
    rate = good_switch_rate(con, everything, settings)
    scores, folds = _scored(con, everything, settings)
    found = technicians(con, everything, settings, scores, rng).table
    n_sites = con.execute("SELECT count(DISTINCT site_id) FROM callback WHERE swap_id IS NOT NULL").fetchone()[0]
    return {
        "n_swaps": rate.n_swaps,
        "n_sites": n_sites,
        "good_switch_rate": _against(rate.adjusted, truth["good_switch_rate"]),
        "tested_only": _against(rate.tested, truth["good_switch_rate"]),
        "bounds": {
            "value": None,
            "low": rate.bounds[0].value,
            "high": rate.bounds[1].value,
            "truth": truth["good_switch_rate"],
        },
        "callbacks_with_cause": _against(month["with_cause"], truth["callbacks_30"]["with_cause"]),
        "callbacks_without_cause": _against(month["without_cause"], truth["callbacks_30"]["without_cause"]),
        "possible_with_cause": _against(possible["with_cause"], truth["callbacks_30"]["with_cause"]),
        "possible_without_cause": _against(possible["without_cause"], truth["callbacks_30"]["without_cause"]),
        **{f"peak_{family}": _against(year[family].peak_day, truth["seasons"][family]["peak_day"]) for family in year},
        "technicians": _people(found, people),
        "folds": folds,
    }


def _scored(con: Any, scope: Scope, settings: Settings) -> tuple[scoring.Scores, list[list[float]]]:
    """The scores, and what the classifier was validated on: predictions of later blocks."""
    seen: list[tuple] = []
    real = scoring.validate

    def noted(rolling: Any, y: np.ndarray, weight: np.ndarray) -> Any:
        seen.append((rolling, y, weight))
        return real(rolling, y, weight)

    with mock.patch.object(scoring, "validate", noted):
        scores = scoring.score_swaps(con, scope, settings)
    if not seen:
        return scores, []
    # The first is the model in use, the second that of the case mix alone.
    rolling, y, weight = seen[0]
    rows = np.column_stack([blocks_of(y), rolling.probability, y, weight, rolling.base])
    return scores, np.round(rows[np.isfinite(rolling.probability)], 4).tolist()


def _against(estimate: Estimate, truth: float) -> dict[str, Any]:
    return {"value": estimate.value, "low": estimate.low, "high": estimate.high, "truth": truth}


def _people(found: pd.DataFrame, people: pd.DataFrame) -> list[dict[str, Any]]:
    both = people.merge(found, on="technician_id", how="inner", suffixes=("_true", ""))
    return [
        {
            "id": row.technician_id,
            "is_weak": bool(row.is_weak),
            "is_flagged": bool(row.is_flagged),
            "is_compared": bool(row.has_minimum and row.is_separable and not row.is_new_starter),
            "n": int(row.draft_fault_visits),
            "true_excess": float(row.true_excess),
            "smallest_visible": float(row.smallest_visible_excess),
            "probability_above": float(row.probability_above),
            "truth": float(row.true_good_pull_probability),
            "expected_truth": float(row.expected_good_pull_probability),
            "value": float(row.value),
            "low": float(row.low),
            "high": float(row.high),
            "raw": float(row.observed_rate),
            "expected": float(row.expected_rate),
        }
        for row in both.itertuples(index=False)
    ]


if __name__ == "__main__":
    for text in sys.argv[2:]:
        print(json.dumps(fleet(int(text), int(sys.argv[1]))), flush=True)
