"""Invents small fleets, loads them as any company's records and compares the figures with what really happened.

Run as: python fleets.py VISITS SEED [SEED ...]; prints one line of JSON per fleet.
"""

from __future__ import annotations

import json
import sys
import tempfile
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from models.figures.callbacks import callbacks
from models.figures.good_switch import good_switch_rate
from models.figures.scope import Scope
from models.figures.seasons import seasons
from models.figures.technicians import technicians
from models.methods.estimate import Estimate
from models.misdiagnosis.scores import score_swaps
from pipelines.loading import load
from pipelines.settings import Settings
from pipelines.store import Store
from synthetic_data.generate import generate


def fleet(seed: int, visits: int) -> dict[str, Any]:
    """One fleet: for each figure its value, range and truth; for technicians who was flagged and who should be."""
    with tempfile.TemporaryDirectory(prefix="goodpull-fleet-") as name:
        folder = Path(name)
        generate(folder, seed=seed, visits=visits, format="parquet")
        load(folder / "home", [folder / "records"])
        truth = json.loads((folder / "truth" / "summary.json").read_text("utf-8"))
        people = pd.read_parquet(folder / "truth" / "technicians.parquet")
        con = Store(folder / "home").open_reader()
        try:
            return {"seed": seed, **_compared(con, truth, people)}
        finally:
            con.close()


def _compared(con: Any, truth: dict[str, Any], people: pd.DataFrame) -> dict[str, Any]:
    settings, everything, rng = Settings(), Scope(), np.random.default_rng(0)
    month = callbacks(con, everything, settings).windows[30]
    year = seasons(con, everything, settings, rng)
    rate = good_switch_rate(con, everything, settings)
    found = technicians(con, everything, settings, score_swaps(con, everything, settings), rng).table
    return {
        "good_switch_rate": _against(rate.adjusted, truth["good_switch_rate"]),
        "tested_only": _against(rate.tested, truth["good_switch_rate"]),
        "callbacks_with_cause": _against(month["with_cause"], truth["callbacks_30"]["with_cause"]),
        "callbacks_without_cause": _against(month["without_cause"], truth["callbacks_30"]["without_cause"]),
        **{f"peak_{family}": _against(year[family].peak_day, truth["seasons"][family]["peak_day"]) for family in year},
        "technicians": _people(found, people),
    }


def _against(estimate: Estimate, truth: float) -> dict[str, Any]:
    return {"value": estimate.value, "low": estimate.low, "high": estimate.high, "truth": truth}


def _people(found: pd.DataFrame, people: pd.DataFrame) -> list[dict[str, Any]]:
    both = people.merge(found, on="technician_id", how="inner")
    return [
        {
            "id": row.technician_id,
            "is_weak": bool(row.is_weak),
            "is_flagged": bool(row.is_flagged),
            "is_compared": bool(row.has_minimum and row.is_separable and not row.is_new_starter),
            "true_excess": float(row.true_excess),
            "smallest_visible": float(row.smallest_visible_excess),
            "probability_above": float(row.probability_above),
            "truth": float(row.true_good_pull_probability),
            "value": float(row.value),
            "raw": float(row.observed_rate),
            "low": float(row.low),
            "high": float(row.high),
        }
        for row in both.itertuples(index=False)
    ]


if __name__ == "__main__":
    for text in sys.argv[2:]:
        print(json.dumps(fleet(int(text), int(sys.argv[1]))), flush=True)
