"""How often a draft fault came back after a swap, with and without a recorded root cause."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import duckdb
import pandas as pd

from models.figures.scope import Scope
from models.methods.estimate import Estimate

# Which root-cause tiers count as "with a root cause", by the name of the cut.
CUTS: dict[str, tuple[str, ...]] = {
    "measured": ("measured",),
    "described": ("measured", "described"),
    "code_only": ("measured", "described", "code_only"),
}
HEADLINE_CUT = "described"

Windows = dict[int, dict[str, Estimate]]


@dataclass(frozen=True)
class Callbacks:
    """Callbacks after a swap.

    windows: {days: {'with_cause', 'without_cause', 'difference', 'ratio'}} of Estimates; certain callbacks only.
    possible: the same with uncertain ones counted as callbacks (the upper bound).
    logrank_p: log-rank p-value of with against without, None if it cannot be computed.
    cuts: {'measured' | 'described' | 'code_only': windows} for the other places to draw the line.
    by_stratum: DataFrame[stratum_kind, stratum, n_with, n_without, with_cause, without_cause, difference, low, high] at
    the headline window. within_strata: the difference averaged over strata.
    heating_clock: windows on the clock of heating days. curve: DataFrame[days, group, value] 1 - Kaplan-Meier.
    repeats: DataFrame[days, group, value, low, high], mean number of callbacks per swap.
    n_swaps, n_callbacks, n_uncertain: counts. sentence: the comparison in words, as an association.
    """

    windows: Windows
    possible: Windows
    logrank_p: float | None
    cuts: dict[str, Windows]
    by_stratum: pd.DataFrame
    within_strata: Estimate
    heating_clock: Windows
    curve: pd.DataFrame
    n_swaps: int
    n_callbacks: int
    n_uncertain: int
    sentence: str


def callbacks(con: duckdb.DuckDBPyConnection, scope: Scope, settings: Any) -> Callbacks:
    """Callbacks after a swap over the scope (figures.md section 3)."""
    raise NotImplementedError
