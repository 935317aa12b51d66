"""Sites where an unfound cause is likely, and sites with an open safety reason."""

from __future__ import annotations

from typing import Any

import duckdb
import pandas as pd

from models.figures.scope import Scope
from models.misdiagnosis.scores import Scores

SITE_COLUMNS = (
    "site_id", "region", "branch", "n_draft_faults", "n_swaps", "n_without_cause", "expected_without_cause", "probability_above",
    "margin_slope_pa_per_year", "margin_slope_low", "margin_slope_high", "margin_p_value", "n_margins",
    "last_visit_id", "last_visit_on", "is_safety", "is_flagged", "reasons",
)  # fmt: skip


def sites(con: duckdb.DuckDBPyConnection, scope: Scope, settings: Any, scores: Scores) -> pd.DataFrame:
    """Listed sites only, safety first, then by what stands behind them.

    Returns DataFrame[SITE_COLUMNS]; reasons: list of sentences; is_flagged: True for every safety reason and for
    statistical reasons past the false-discovery limit. Empty frame with these columns when there is nothing to list.
    """
    raise NotImplementedError
