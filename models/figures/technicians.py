"""With whom to look first: good switches pulled per draft-fault visit, against what the case mix expects."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import duckdb
import numpy as np
import pandas as pd

from models.figures.scope import Scope
from models.misdiagnosis.scores import Scores


@dataclass(frozen=True)
class TechnicianFigures:
    """Technicians side by side, never ranked.

    table: one row per technician who attended a draft fault, ordered by technician_id: technician_id, technician_name,
    branch, draft_fault_visits, swaps, tested, n_good, observed (good switches pulled; fractions where not tested), observed_rate,
    expected (count), expected_rate, value, low, high (shrunken rate of good switches pulled per draft-fault visit),
    probability_above (of exceeding the expected rate by the margin), is_flagged, reason, share_good_among_swaps,
    swaps_per_draft_fault, is_new_starter, has_minimum, smallest_visible_excess, is_separable, and process rates with their
    counts: reading_rate (gauge reading before a swap), checks_rate (mean share of the checks done before a swap),
    cause_rate (root cause recorded on a swap), after_reading_rate (reading after the repair), note_rate; n_process.
    null: {'rate', 'dispersion', 'method', 'n_technicians'}. funnel: DataFrame[n, low_95, high_95, low_998, high_998] around the mean.
    processes: DataFrame[step, n, n_done, rate] company-wide. sentence: in words.
    """

    table: pd.DataFrame
    null: dict[str, Any]
    funnel: pd.DataFrame
    processes: pd.DataFrame
    sentence: str


def technicians(
    con: duckdb.DuckDBPyConnection, scope: Scope, settings: Any, scores: Scores, rng: np.random.Generator
) -> TechnicianFigures:
    """Technicians over the scope (figures.md section 5). scores: from models.misdiagnosis.scores."""
    raise NotImplementedError
