"""What avoidable swaps cost."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import duckdb
import numpy as np
import pandas as pd

from models.figures.scope import Scope
from models.methods.estimate import Estimate
from models.misdiagnosis.scores import Scores


@dataclass(frozen=True)
class Waste:
    """Money, in settings.currency.

    known: switches the bench found good. estimated: probability x cost over switches without a clear bench result.
    by_branch, by_part, by_technician, by_month: DataFrame[key, n_swaps, n_good, expected_good, known, estimated, low, high]
    with key = branch, part_number, technician_id, month_on (first of the month); low, high: of estimated.
    parts: {'part', 'labour', 'trip', 'callbacks', 'credit_received', 'credit_refused'} amounts within known + estimated.
    assumptions: sentences naming every rate that is missing, assumed or typed by the user.
    what_if: saving per year if the rate fell to the best quarter's, with its interval.
    credit: {'n_paid', 'n_refused', 'n_open', 'credited', 'refused'}.
    """

    known: Estimate
    estimated: Estimate
    by_branch: pd.DataFrame
    by_part: pd.DataFrame
    by_technician: pd.DataFrame
    by_month: pd.DataFrame
    parts: dict[str, float]
    assumptions: list[str]
    what_if: Estimate
    credit: dict[str, Any]
    currency: str


def waste(
    con: duckdb.DuckDBPyConnection, scope: Scope, settings: Any, scores: Scores, rng: np.random.Generator
) -> Waste:
    """Parts waste over the scope (figures.md section 7)."""
    raise NotImplementedError
