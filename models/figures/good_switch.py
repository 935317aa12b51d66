"""How often a pulled pressure switch was good."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import duckdb
import pandas as pd

from models.figures.scope import Scope
from models.methods.estimate import Estimate


@dataclass(frozen=True)
class GoodSwitch:
    """The good-switch rate four ways.

    tested: good / (good + faulty) among tested switches. adjusted: after allowing for which ones were tested.
    bounds: the rate if every switch without a clear result were faulty, and if every one were good.
    inconclusive: tested switches without a clear result, in no rate. n_swaps, n_tested (tests of any result),
    n_good, n_faulty, n_returned_only (tested only because they came back): counts.
    strata: one row per stratum: stratum, n_swaps, n_tested, n_good, weight, value, low, high.
    tilt: DataFrame[tilt, rate]: adjusted rate if the odds of good among untested ones were `tilt` times those of tested.
    rule: how thin strata were merged, in words.
    """

    tested: Estimate
    adjusted: Estimate
    bounds: tuple[Estimate, Estimate]
    inconclusive: int
    n_swaps: int
    n_tested: int
    n_good: int
    n_faulty: int
    n_returned_only: int
    strata: pd.DataFrame
    tilt: pd.DataFrame
    rule: str


def good_switch_rate(con: duckdb.DuckDBPyConnection, scope: Scope, settings: Any) -> GoodSwitch:
    """The good-switch rate over the scope (figures.md section 2)."""
    raise NotImplementedError


def good_switch_by(con: duckdb.DuckDBPyConnection, scope: Scope, settings: Any, by: str = "branch") -> pd.DataFrame:
    """The rate per group, one row each.

    by: 'branch', 'part_number', 'technician_id', 'week_on' or 'month'.
    Returns DataFrame[by, n_swaps, n_tested, value, low, high, coverage, method, sentence], ordered by the group;
    value, low, high are None where the rate cannot be given, and the sentence says why.
    """
    raise NotImplementedError
