"""Draft faults on which a good switch was pulled: known from the bench, else with a probability."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import duckdb
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import special

from models.figures.scope import Scope
from models.misdiagnosis.case_mix import draft_faults, expected_rate
from models.misdiagnosis.scores import Scores


@dataclass(frozen=True)
class Pulls:
    """technician_ids: sorted. technician: code per draft fault. expected: case-mix rate per draft fault, cross-fitted.

    known: per draft fault, whether the bench found one of its switches good. swaps: DataFrame[fault (position),
    technician
    (code), verdict, logit, logit_sd, probability_good], one row per swap. is_available: whether untested swaps have a
    probability.
    """

    technician_ids: list[str]
    technician: NDArray
    expected: NDArray
    known: NDArray
    swaps: pd.DataFrame
    is_available: bool

    def probability(self) -> NDArray[np.float64]:
        """Per draft fault, the probability that a good switch was pulled; NaN where that is not known."""
        is_open = self.swaps["is_open"].to_numpy(bool)
        p = self.swaps["probability_good"].to_numpy(float)[is_open]
        with np.errstate(divide="ignore", invalid="ignore"):
            log_none = np.bincount(
                self.swaps["fault"].to_numpy(int)[is_open],
                weights=np.log1p(-np.clip(p, 0, 1 - 1e-12)),
                minlength=self.known.size,
            )
        return np.where(self.known, 1.0, -np.expm1(log_none))

    def draw(self, rng: np.random.Generator) -> NDArray[np.float64]:
        """One imputation: draft faults per technician on which a good switch was pulled, shape (n_technicians,).

        The model's own error moves all logits together (one draw for all), each switch is then drawn by its
        probability.
        """
        fault, logit, sd = self._open
        p = special.expit(logit + rng.standard_normal() * sd)
        good = self.known.copy()
        good[fault[rng.random(p.size) < p]] = True
        return np.bincount(self.technician, weights=good, minlength=len(self.technician_ids)).astype(float)

    @cached_property
    def _open(self) -> tuple[NDArray, NDArray, NDArray]:
        """Of swaps without a clear result: position of the draft fault, logit and its standard error."""
        rows = self.swaps[self.swaps["is_open"].to_numpy(bool)]
        return rows["fault"].to_numpy(int), rows["logit"].to_numpy(float), rows["logit_sd"].to_numpy(float)

    def by_technician(self) -> pd.DataFrame:
        """One row per technician: draft_fault_visits, swaps, tested, n_good, observed, rates, case_mix_rate."""
        k = len(self.technician_ids)

        def summed(code: NDArray, weight: NDArray | None = None) -> NDArray:
            return np.bincount(code, weights=weight, minlength=k)

        n = summed(self.technician).astype("int64")
        code = self.swaps["technician"].to_numpy(int)
        verdict = self.swaps["verdict"]
        is_good = (verdict == "good").to_numpy(bool)
        is_tested = is_good | (verdict == "faulty").to_numpy(bool)
        swaps = summed(code).astype("int64")
        share = np.where(is_tested, is_good, self.swaps["probability_good"].to_numpy(float))
        with np.errstate(divide="ignore", invalid="ignore"):
            table = pd.DataFrame(
                {
                    "technician_id": pd.Series(self.technician_ids, dtype=object),
                    "draft_fault_visits": n,
                    "swaps": swaps,
                    "tested": summed(code, is_tested).astype("int64"),
                    "n_good": summed(code, is_good).astype("int64"),
                    "observed": summed(self.technician, self.probability()),
                    "share_good_among_swaps": np.where(swaps > 0, summed(code, share) / swaps, np.nan),
                    "swaps_per_draft_fault": swaps / n,
                    "case_mix_rate": summed(self.technician, self.expected) / n
                    if self.is_available
                    else np.full(k, np.nan),
                }
            )
        table["observed_rate"] = table["observed"] / table["draft_fault_visits"]
        return table


def good_pulls(con: duckdb.DuckDBPyConnection, scope: Scope, scores: Scores) -> Pulls:
    """Draft faults of the scope with what is known of the switches pulled on them. The diagnosis is the first visit's."""
    faults = draft_faults(con, scope)
    technician, ids = pd.factorize(faults["technician_id"], sort=True)
    position = pd.Index(faults["draft_fault_id"])
    swaps = scores.swap_score[["draft_fault_id", "verdict", "logit", "logit_sd", "probability_good"]].copy()
    swaps["fault"] = position.get_indexer(swaps["draft_fault_id"])
    swaps = swaps[swaps["fault"] >= 0].reset_index(drop=True)
    swaps["technician"] = technician[swaps["fault"].to_numpy(int)]
    swaps["is_open"] = ~swaps["verdict"].isin(["good", "faulty"])
    known = np.zeros(len(faults), dtype=bool)
    known[swaps["fault"].to_numpy(int)[(swaps["verdict"] == "good").to_numpy(bool)]] = True
    pulls = Pulls(list(ids), technician, np.full(len(faults), np.nan), known, swaps, scores.is_available)
    if not scores.is_available or faults.empty:
        return pulls
    expected = expected_rate(faults, pulls.probability(), technician)
    return Pulls(pulls.technician_ids, technician, expected, known, swaps, True)
