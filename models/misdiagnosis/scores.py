"""The probability, for every swap, that the removed switch was good."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import duckdb
import pandas as pd

from models.figures.scope import Scope


@dataclass(frozen=True)
class Scores:
    """Scores of all swaps.

    swap_score: DataFrame[swap_id, draft_fault_id, technician_id (who diagnosed), verdict, probability_good, low, high,
    expected_from_case_mix, logit, logit_sd], ordered by swap_id. probability_good is the model's, also where a bench
    result is known; NaN in every row when there is no model.
    model_card: see models.misdiagnosis.model_card. is_available: whether there is a model. sentence: in words.
    """

    swap_score: pd.DataFrame
    model_card: dict[str, Any]
    is_available: bool
    sentence: str


def score_swaps(con: duckdb.DuckDBPyConnection, scope: Scope, settings: Any) -> Scores:
    """Train, validate, calibrate and score every swap of the scope (figures.md section 5)."""
    raise NotImplementedError
