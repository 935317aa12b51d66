"""What the case mix does to a share, learned from units that differ among themselves.

A logistic regression with one random level per unit (technician): cases of one unit are alike, so that a few hundred
cases of a few units say less about the case mix than as many cases of as many units would. Each block of columns (one
feature) has a prior of its own width, found from the data: a feature that does nothing is drawn to nothing, instead of
adding its noise to every unit's benchmark.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special
from threadpoolctl import threadpool_limits

N_STEPS = 8
N_WIDTH_STEPS = 500
LARGEST_STEP = 2.0
# Variance of the units' levels on the logit: where it starts, and the least it may fall to.
FIRST_LEVEL_VARIANCE, LEAST_LEVEL_VARIANCE = 0.05, 1e-4
# Standard deviation of a slope while the widths are not known yet; and the width a feature has without evidence (its
# square has a scaled inverse chi-square prior of one degree of freedom; the mode is taken).
FIRST_SD, USUAL_SD = 1.0, 0.25


@dataclass(frozen=True)
class _Counts:
    """Cases of one unit and one kind counted together, ordered by unit. x: shape (n_rows, 1 + n_columns), 1 first."""

    x: NDArray
    unit: NDArray
    starts: NDArray
    total: NDArray
    hit: NDArray


def cross_fitted_slopes(
    x: NDArray, cell: NDArray, hits: NDArray, weight: NDArray, unit: NDArray, fold: NDArray, block: NDArray
) -> NDArray[np.float64]:
    """Slopes of the case mix without each fold, shape (n_folds, n_columns).

    x: shape (n_cells, n_columns), one row per kind of case. cell: row of x per case, shape (n_cases,).
    hits, weight: of each case, 0 <= hits <= weight <= 1. unit, fold: codes from 0, all of them in use; a unit lies in one fold. block: code of the feature of
    each column. With a single fold: the slopes of all cases.
    Slopes and levels are the joint mode of the penalised likelihood, the levels eliminated by blocks; the prior widths
    of the blocks maximise the evidence of the slopes' normal approximation; a fold is left out by one Newton step.
    Source: Breslow and Clayton (1993), J. Am. Stat. Assoc. 88:9 (penalised quasi-likelihood); MacKay (1992), Neural
    Computation 4:415 (evidence); Pregibon (1981), Ann. Stat. 9:705 (one-step deletion).
    """
    n_units, n_folds = int(unit.max()) + 1, int(fold.max()) + 1
    if x.shape[1] == 0:
        return np.zeros((n_folds, 0))
    counts = _counted(x, cell, hits, weight, unit, n_units)
    fold_of_unit = np.zeros(n_units, dtype=int)
    fold_of_unit[unit] = fold
    with threadpool_limits(limits=1, user_api="blas"):
        beta, score, information = _fit(counts, n_units, fold_of_unit, n_folds)
        whole = information.sum(axis=0)
        pull = information @ beta + score
        prior = _prior_precision(whole, pull.sum(axis=0), block)
        out = np.empty((n_folds, x.shape[1]))
        for k in range(n_folds):
            left, target = (
                (whole, pull.sum(axis=0)) if n_folds == 1 else (whole - information[k], pull.sum(axis=0) - pull[k])
            )
            out[k] = np.linalg.solve(left + np.diag(prior), target)[1:]
    return out


def _counted(x: NDArray, cell: NDArray, hits: NDArray, weight: NDArray, unit: NDArray, n_units: int) -> _Counts:
    pair, of_pair = np.unique(unit * np.int64(len(x)) + cell, return_inverse=True)
    of_pair = np.ravel(of_pair)
    unit_of, cell_of = pair // len(x), pair % len(x)
    rows = np.column_stack([np.ones(pair.size), x[cell_of]])
    starts = np.searchsorted(unit_of, np.arange(n_units))
    return _Counts(rows, unit_of, starts, np.bincount(of_pair, weights=weight), np.bincount(of_pair, weights=hits))


def _fit(counts: _Counts, n_units: int, fold_of_unit: NDArray, n_folds: int) -> tuple[NDArray, NDArray, NDArray]:
    """Coefficients (intercept first) under a wide prior; score and information of each fold there, levels eliminated."""
    k = counts.x.shape[1]
    prior = np.append(1e-9, np.full(k - 1, FIRST_SD**-2))
    beta, level, variance = np.zeros(k), np.zeros(n_units), FIRST_LEVEL_VARIANCE
    beta[0] = special.logit((counts.hit.sum() + 0.5) / (counts.total.sum() + 1))
    for _ in range(N_STEPS):
        p = special.expit(counts.x @ beta + level[counts.unit])
        error, w = counts.hit - counts.total * p, counts.total * p * (1 - p)
        weighted = counts.x * w[:, None]
        pulled = np.add.reduceat(weighted, counts.starts, axis=0)
        held = pulled[:, 0] + 1 / variance
        unit_score = np.add.reduceat(error, counts.starts) - level / variance
        share = pulled / held[:, None]
        slope = error @ counts.x - unit_score @ share - prior * beta
        step = np.linalg.solve(weighted.T @ counts.x - share.T @ pulled + np.diag(prior), slope)
        step *= min(1.0, LARGEST_STEP / max(float(np.abs(step).max()), 1e-12))
        beta = beta + step
        level = level + np.clip((unit_score - pulled @ step) / held, -LARGEST_STEP, LARGEST_STEP)
        before, variance = variance, max(float(np.mean(level**2 + 1 / held)), LEAST_LEVEL_VARIANCE)
        # What is left is taken up by the last Newton step, that of the folds.
        if np.abs(step).max() < 1e-3 and abs(variance - before) < 0.02 * variance:
            break
    p = special.expit(counts.x @ beta + level[counts.unit])
    error, w = counts.hit - counts.total * p, counts.total * p * (1 - p)
    weighted = counts.x * w[:, None]
    pulled = np.add.reduceat(weighted, counts.starts, axis=0)
    held = pulled[:, 0] + 1 / variance
    unit_score = np.add.reduceat(error, counts.starts) - level / variance
    share = pulled / held[:, None]
    score, information = np.empty((n_folds, k)), np.empty((n_folds, k, k))
    for number in range(n_folds):
        units = fold_of_unit == number
        rows = units[counts.unit]
        score[number] = error[rows] @ counts.x[rows] - unit_score[units] @ share[units]
        information[number] = weighted[rows].T @ counts.x[rows] - share[units].T @ pulled[units]
    return beta, score, information


def _prior_precision(information: NDArray, pull: NDArray, block: NDArray) -> NDArray:
    """One over the squared prior width per coefficient, as good as none on the intercept."""
    n_blocks = int(block.max()) + 1
    size = np.bincount(block, minlength=n_blocks)
    width = np.full(n_blocks, FIRST_SD**2)
    for _ in range(N_WIDTH_STEPS):
        covariance = np.linalg.inv(information + np.diag(np.append(1e-9, 1 / width[block])))
        mean = covariance @ pull
        square = np.bincount(block, weights=mean[1:] ** 2 + np.diag(covariance)[1:], minlength=n_blocks)
        updated = (square + USUAL_SD**2) / (size + 3)
        is_settled = np.allclose(updated, width, rtol=1e-4)
        width = updated
        if is_settled:
            break
    return np.append(1e-9, 1 / width[block])
