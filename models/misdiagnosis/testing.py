"""How many switches a tested one speaks for, so that the tested ones stand for all."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from threadpoolctl import threadpool_limits

# Facts known before the test; evidence and cause also together, since testers look at both at once.
KEYS = ("evidence", "cause", "returned", "season")
# Standard deviations, on the logit of being tested, of the effects of levels and of branches before any count is seen.
LEVEL_SD, BRANCH_SD = 2.0, 0.5
N_ROUNDS, N_STEPS = 8, 40
SMALLEST_STEP = 1e-6


def balancing_weight(swaps: pd.DataFrame, is_tested: NDArray) -> NDArray[np.float64]:
    """One over the estimated probability that a switch is tested with a clear result, shape (n_swaps,), at least 1.

    swaps: as models.figures.strata.swaps_for_rate gives. is_tested: bool, shape (n_swaps,), at least one true.
    A logistic model of being tested on field evidence, recorded cause, both together, whether it came back, season and
    branch, fitted so that the weighted tested switches have the make-up of all switches (as near as a penalty for rare
    kinds lets them): unlike pooling thin strata, no switch of another kind speaks for a rare one.
    Source: Zhao (2019), Ann. Stat. 47:965 (tailored loss); Imai and Ratkovic (2014), J. R. Stat. Soc. B 76:243.
    """
    x, row = _cells(swaps)
    branch, names = pd.factorize(swaps["branch"].fillna(""))
    tested = np.asarray(is_tested, dtype=bool)
    n_open = np.bincount(row, weights=~tested, minlength=len(x))
    n_open_of_branch = np.bincount(branch, weights=~tested, minlength=len(names))
    prior = np.append(1e-6, np.full(x.shape[1] - 1, LEVEL_SD**-2))
    beta, effect = np.zeros(x.shape[1]), np.zeros(len(names))
    for _ in range(N_ROUNDS):
        held = np.bincount(row, weights=tested * np.exp(-effect[branch]), minlength=len(x))
        beta = _fit(x, held, n_open, beta, prior)
        odds = np.exp(-np.clip(x @ beta, -20, 20))[row]
        held_of_branch = np.bincount(branch, weights=tested * odds, minlength=len(names))
        before, effect = effect, _branch_effects(held_of_branch, n_open_of_branch, effect)
        if np.abs(effect - before).max() < SMALLEST_STEP:
            break
    return 1 + odds * np.exp(-effect[branch])


def _cells(swaps: pd.DataFrame) -> tuple[NDArray, NDArray]:
    """Indicators of the levels per kind of switch (first column 1), and the kind of each switch."""
    codes = [pd.factorize(swaps[key].fillna(""), sort=True)[0] for key in KEYS]
    codes.append(codes[0] * (codes[1].max() + 1) + codes[1])
    cell, row = np.unique(np.column_stack(codes), axis=0, return_inverse=True)
    indicators = [column[:, None] == np.unique(column) for column in cell.T]
    return np.concatenate([np.ones((len(cell), 1)), *indicators], axis=1).astype(float), np.ravel(row)


def _fit(x: NDArray, held: NDArray, n_open: NDArray, beta: NDArray, prior: NDArray) -> NDArray[np.float64]:
    """Coefficients minimising sum(held * exp(-logit) + n_open * logit) + penalty, by Newton's method with halving."""

    def loss(at: NDArray) -> float:
        logit = x @ at
        return float(held @ np.exp(-np.clip(logit, -20, 20)) + n_open @ logit + prior @ at**2 / 2)

    with threadpool_limits(limits=1, user_api="blas"):
        now = loss(beta)
        for _ in range(N_STEPS):
            odds = held * np.exp(-np.clip(x @ beta, -20, 20))
            slope = x.T @ (odds - n_open) - prior * beta
            step = np.linalg.solve((x * odds[:, None]).T @ x + np.diag(prior), slope)
            size = min(1.0, 2.0 / max(float(np.abs(x @ step).max()), 1e-12))
            while (then := loss(beta + size * step)) > now + 1e-12 * abs(now) and size > 1e-6:
                size /= 2
            beta, now = beta + size * step, then
            if np.abs(step).max() < SMALLEST_STEP:
                break
    return beta


def _branch_effects(held: NDArray, n_open: NDArray, effect: NDArray) -> NDArray[np.float64]:
    for _ in range(N_STEPS):
        odds = held * np.exp(-effect)
        step = np.clip((odds - n_open - effect / BRANCH_SD**2) / (odds + BRANCH_SD**-2), -1, 1)
        effect = effect + step
        if np.abs(step).max() < SMALLEST_STEP:
            break
    return effect
