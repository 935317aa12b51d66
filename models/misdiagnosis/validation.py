"""How good the classifier is on swaps later than those it learned from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

from models.methods.calibration import calibration_line, calibration_table, expected_calibration_error
from models.misdiagnosis.classifier import fit_logistic

N_BLOCKS = 6
# The recalibration starts from "as predicted" (0, 1) and moves as far as the labels of later blocks carry it.
PRIOR_SD = np.array([1.0, 0.5])


@dataclass(frozen=True)
class Recalibration:
    """Logit after = intercept + slope * logit before. covariance: of (intercept, slope)."""

    intercept: float
    slope: float
    covariance: NDArray[np.float64]

    def apply(self, logit: NDArray) -> NDArray[np.float64]:
        return self.intercept + self.slope * logit

    def logit_sd(self, logit: NDArray, sd: NDArray) -> NDArray[np.float64]:
        """Standard error after recalibration, from that before and the recalibration's own."""
        c = self.covariance
        return np.sqrt((self.slope * sd) ** 2 + c[0, 0] + 2 * logit * c[0, 1] + logit**2 * c[1, 1])


@dataclass(frozen=True)
class Validation:
    """Rolling-origin results. Numbers are None where too few later labels could be predicted.

    brier_skill against the base rate known before each block; slope, its standard error, calibration_error: of
    recalibrated
    predictions, each made and recalibrated on earlier blocks only. n: labels predicted. table: predicted, observed,
    weight, cases.
    """

    n: int
    base_rate: float | None
    brier_skill: float | None
    slope: float | None
    slope_error: float | None
    calibration_error: float | None
    table: NDArray[np.float64]


def rolling_origin(x: NDArray, y: NDArray, weight: NDArray) -> tuple[NDArray, NDArray, NDArray]:
    """Predictions of each block from the blocks before it.

    x, y (0/1), weight: labelled swaps in order of time. Six blocks of equal size.
    Returns logit (NaN in blocks that could not be predicted), block number, base rate known before the block; shape
    (n,).
    """
    n = y.size
    block = np.minimum(np.arange(n) * N_BLOCKS // max(n, 1), N_BLOCKS - 1)
    logit, base = np.full(n, np.nan), np.full(n, np.nan)
    for k in range(1, N_BLOCKS):
        past, now = block < k, block == k
        if not now.any() or min(y[past].sum(), (1 - y[past]).sum()) < 5:
            continue
        beta = fit_logistic(x[past], y[past], weight[past] / weight[past].mean())
        logit[now] = beta[0] + x[now] @ beta[1:]
        base[now] = np.average(y[past], weights=weight[past])
    return logit, block, base


def recalibrate(logit: NDArray, y: NDArray, weight: NDArray) -> Recalibration:
    """Intercept and slope that make predictions match later labels, by penalised likelihood; (0, 1) without labels.

    Source: Platt (1999), in Advances in Large Margin Classifiers; the prior keeps few labels from moving it far.
    """
    known = np.isfinite(logit)
    x, truth = np.column_stack([np.ones(known.sum()), logit[known]]), y[known]
    w = weight[known] / weight[known].mean() if known.any() else np.empty(0)
    beta, centre, precision = np.array([0.0, 1.0]), np.array([0.0, 1.0]), np.diag(1 / PRIOR_SD**2)
    for _ in range(50):
        p = special.expit(x @ beta)
        hessian = (x * (w * p * (1 - p))[:, None]).T @ x + precision
        step = np.linalg.solve(hessian, x.T @ (w * (truth - p)) - precision @ (beta - centre))
        beta = beta + step
        if np.abs(step).max() < 1e-10:
            break
    p = special.expit(x @ beta)
    hessian = (x * (w * p * (1 - p))[:, None]).T @ x + precision
    return Recalibration(float(beta[0]), float(max(beta[1], 0.0)), np.linalg.inv(hessian))


def validate(logit: NDArray, block: NDArray, base: NDArray, y: NDArray, weight: NDArray) -> Validation:
    """Skill and calibration of rolling-origin predictions, recalibrated on the blocks before each."""
    p = np.full(y.size, np.nan)
    for k in range(2, N_BLOCKS):
        past, now = (block < k) & np.isfinite(logit), (block == k) & np.isfinite(logit)
        if past.any() and now.any():
            p[now] = special.expit(recalibrate(logit[past], y[past], weight[past]).apply(logit[now]))
    known = np.isfinite(p)
    if not known.any():
        return Validation(0, None, None, None, None, None, np.empty((0, 4)))
    truth, chance, w = y[known], p[known], weight[known]
    reference = float(np.average((truth - base[known]) ** 2, weights=w))
    skill = 1 - float(np.average((truth - chance) ** 2, weights=w)) / reference if reference > 0 else None
    line = calibration_line(truth, chance, w)
    return Validation(
        n=int(known.sum()),
        base_rate=float(np.average(truth, weights=w)),
        brier_skill=skill,
        slope=line.slope,
        slope_error=line.slope_error,
        calibration_error=expected_calibration_error(truth, chance, weight=w),
        table=calibration_table(truth, chance, weight=w),
    )
