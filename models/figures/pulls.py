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
    """technician_ids: sorted. technician: code per draft fault. expected: case-mix rate per draft fault on which a good
    switch could be pulled (see chance_left), cross-fitted.

    known: per draft fault, whether the bench found one of its switches good. swaps: DataFrame[fault (position),
    technician
    (code), verdict, probability_good, row (among the scored swaps)], one row per swap. is_available: whether untested
    swaps have a probability. logit_draws: of all scored swaps, one
    column per draw of the model (see Scores).
    """

    technician_ids: list[str]
    technician: NDArray
    expected: NDArray
    known: NDArray
    swaps: pd.DataFrame
    is_available: bool
    logit_draws: pd.DataFrame

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

        One draw of the model of single switches is taken (all its coefficients together: like switches move alike);
        each switch is then drawn by its probability.
        """
        return self.draw_both(rng)[0]

    def draw_both(
        self, rng: np.random.Generator, number: int | None = None
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """As `draw`, with the draft faults on which only a faulty switch was pulled: both shape (n_technicians,).

        number: which draw of the model to take, counted round; any one where not given.
        """
        fault, row = self._open
        k = self.logit_draws.shape[1]
        column = int(rng.integers(k)) if number is None else number % k
        p = special.expit(self.logit_draws.iloc[:, column].to_numpy()[row].astype(float))
        good = self.known.copy()
        good[fault[rng.random(p.size) < p]] = True
        only_faulty = self._is_pulled & ~good
        n = len(self.technician_ids)
        hits = np.bincount(self.technician, weights=good, minlength=n).astype(float)
        faulty = np.bincount(self.technician, weights=only_faulty, minlength=n).astype(float)
        return hits, faulty

    @cached_property
    def _is_pulled(self) -> NDArray[np.bool_]:
        """Draft faults on which a switch was pulled, good or faulty."""
        out = np.zeros(self.known.size, dtype=bool)
        out[self.swaps["fault"].to_numpy(int)] = True
        return out

    def chance_left(self) -> NDArray[np.float64]:
        """Per draft fault, the probability that it was no fault of the switch itself, as far as one was pulled.

        Where only a faulty switch was pulled, no good one could be.
        """
        return np.where(self._is_pulled, self.probability(), 1.0)

    @cached_property
    def _open(self) -> tuple[NDArray, NDArray]:
        """Of swaps without a clear result: position of the draft fault, and row among all scored swaps."""
        rows = self.swaps[self.swaps["is_open"].to_numpy(bool)]
        return rows["fault"].to_numpy(int), rows["row"].to_numpy(int)

    def rate_left(self) -> NDArray[np.float64]:
        """Case-mix rate per technician over the draft faults on which a good switch could be pulled, in (0, 1)."""
        k, left = len(self.technician_ids), self.chance_left()
        total = np.bincount(self.technician, weights=left, minlength=k)
        hit = np.bincount(self.technician, weights=left * self.expected, minlength=k)
        plain = np.bincount(self.technician, weights=self.expected, minlength=k)
        n = np.maximum(np.bincount(self.technician, minlength=k), 1)
        return np.clip(np.where(total > 1e-9, hit / np.maximum(total, 1e-9), plain / n), 1e-6, 1 - 1e-6)

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
                    "case_mix_rate": summed(self.technician, self.expected * self.chance_left()) / n
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
    place = scores.places_among(faults["draft_fault_id"])
    row = np.flatnonzero(place >= 0)
    swaps = scores.swap_score[["draft_fault_id", "verdict", "probability_good"]].iloc[row].reset_index(drop=True)
    swaps["row"] = row
    swaps["fault"] = place[row]
    swaps["technician"] = technician[swaps["fault"].to_numpy(int)]
    swaps["is_open"] = ~swaps["verdict"].isin(["good", "faulty"])
    known = np.zeros(len(faults), dtype=bool)
    known[swaps["fault"].to_numpy(int)[(swaps["verdict"] == "good").to_numpy(bool)]] = True
    pulls = Pulls(
        list(ids), technician, np.full(len(faults), np.nan), known, swaps, scores.is_available, scores.logit_draws
    )
    if not scores.is_available or faults.empty:
        return pulls
    expected = expected_rate(faults, pulls.probability(), technician, pulls.chance_left())
    return Pulls(pulls.technician_ids, technician, expected, known, swaps, True, scores.logit_draws)
