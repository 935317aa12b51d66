"""How good the classifier is on swaps later than those it learned from."""

from __future__ import annotations

import warnings
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

from models.methods.calibration import calibration_line, calibration_table, expected_calibration_error
from models.misdiagnosis.classifier import fit_logistic

# Blocks in order of time: the first is only learnt from, the others are predicted.
N_BLOCKS = 6
# So many labels, and of either kind, a model needs before anything is predicted with it.
FEWEST_LABELS = 60
FEWEST_OF_A_CLASS = 15
# The slope starts from "as predicted" (1) and moves as far as the labels of later blocks carry it.
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


@dataclass(frozen=True)
class Rolling:
    """Predictions of each block from the blocks before it; NaN in blocks that could not be predicted; shape (n,).

    logit: before recalibration. probability: after recalibration on earlier blocks. base: the rate known before.
    """

    logit: NDArray[np.float64]
    probability: NDArray[np.float64]
    base: NDArray[np.float64]


def rolling_origin(x: NDArray, y: NDArray, weight: NDArray, prior_sd: NDArray | None = None) -> Rolling:
    """Predict each of five later blocks from the labels before it.

    x, y (0/1), weight: labelled swaps in order of time. prior_sd: as for fit_logistic. Blocks: see blocks_of.
    """
    n = y.size
    block = blocks_of(y)
    logit, probability, base = (np.full(n, np.nan) for _ in range(3))
    for k in range(1, N_BLOCKS):
        past, now = block < k, block == k
        if not now.any():
            continue
        w = weight[past] / weight[past].mean()
        beta = fit_logistic(x[past], y[past], w, prior_sd)
        fitted = beta[0] + x @ beta[1:]
        logit[now] = fitted[now]
        change = recalibrate(logit[past], fitted[past], y[past], w)
        probability[now] = special.expit(change.apply(logit[now]))
        base[now] = np.average(y[past], weights=w)
    return Rolling(logit, probability, base)


def blocks_of(y: NDArray) -> NDArray[np.int64]:
    """Block of each label, 0 to 5, shape (n,). y: 0/1, in order of time.

    Block 0 is a sixth of the labels, or more where a model would still have been refused then (FEWEST_LABELS,
    FEWEST_OF_A_CLASS): what was never shown to anybody needs no checking. The rest is five blocks of equal size.
    """
    n = y.size
    good = np.cumsum(y)
    is_enough = np.minimum(good, np.arange(1, n + 1) - good) >= FEWEST_OF_A_CLASS
    is_enough &= np.arange(1, n + 1) >= FEWEST_LABELS
    start = max(int(np.argmax(is_enough)) + 1, -(-n // N_BLOCKS)) if is_enough.any() else n
    later = (np.arange(n) - start) * (N_BLOCKS - 1) // max(n - start, 1)
    return np.where(np.arange(n) < start, 0, 1 + later).astype(np.int64)


def recalibrate(
    later: NDArray, fitted: NDArray, y: NDArray, weight: NDArray, anchor: NDArray | None = None
) -> Recalibration:
    """How to move fitted logits: the slope from predictions of later blocks, the intercept from all labels.

    later: logits predicted from earlier blocks only (NaN where there are none). fitted: logits of the model in use. y
    (0/1),
    weight: of the same swaps. The slope is found by penalised likelihood; the intercept then makes the weighted mean
    prediction equal the weighted share of good ones. anchor: the weights used for that, in place of `weight`: how many
    untested switches each label speaks for, so that the scores of those, which are the ones in use, add up.
    Source: Platt (1999), in Advances in Large Margin Classifiers; Steyerberg, Clinical Prediction Models, chapter 15.
    """
    slope, slope_variance = _slope(later, y, weight)
    w = weight if anchor is None or not (anchor > 0).any() else anchor
    w = w / w.mean()
    intercept = 0.0
    for _ in range(50):
        p = special.expit(intercept + slope * fitted)
        step = float((w * (y - p)).sum() / max((w * p * (1 - p)).sum(), 1e-9))
        intercept += float(np.clip(step, -2, 2))
        if abs(step) < 1e-10:
            break
    p = special.expit(intercept + slope * fitted)
    information = max(float((w * p * (1 - p)).sum()), 1e-9)
    # The intercept holds the mean in place whatever the slope: its error belongs to the middle of the fitted logits.
    middle = float(np.average(fitted, weights=w * p * (1 - p) + 1e-12))
    variance = float((w * (y - p)) @ (w * (y - p))) / information**2
    covariance = np.array(
        [[variance + middle**2 * slope_variance, -middle * slope_variance], [-middle * slope_variance, slope_variance]]
    )
    return Recalibration(intercept, slope, covariance)


def _slope(later: NDArray, y: NDArray, weight: NDArray) -> tuple[float, float]:
    known = np.isfinite(later)
    x, truth = np.column_stack([np.ones(known.sum()), later[known]]), y[known]
    w = weight[known] / weight[known].mean() if known.any() else np.empty(0)
    beta, centre, precision = np.array([0.0, 1.0]), np.array([0.0, 1.0]), np.diag(1 / PRIOR_SD**2)

    def loss(at: NDArray) -> float:
        logit, moved = x @ at, at - centre
        return float(w @ (np.logaddexp(0, logit) - truth * logit) + moved @ precision @ moved / 2)

    now = loss(beta)
    for _ in range(50):
        p = special.expit(x @ beta)
        hessian = (x * (w * p * (1 - p))[:, None]).T @ x + precision
        step = np.linalg.solve(hessian, x.T @ (w * (truth - p)) - precision @ (beta - centre))
        size = 1.0
        # A few labels far on the wrong side make the full step overshoot.
        while (then := loss(beta + size * step)) > now + 1e-12 * abs(now) and size > 1e-6:
            size /= 2
        beta, now = beta + size * step, then
        if np.abs(step).max() < 1e-10:
            break
    p = special.expit(x @ beta)
    hessian = (x * (w * p * (1 - p))[:, None]).T @ x + precision
    return float(max(beta[1], 0.0)), float(np.linalg.inv(hessian)[1, 1])


def validate(rolling: Rolling, y: NDArray, weight: NDArray) -> Validation:
    """Skill and calibration of rolling-origin predictions."""
    known = np.isfinite(rolling.probability)
    if not known.any():
        return Validation(0, None, None, None, None, None, np.empty((0, 4)))
    truth, chance, w, base = y[known], rolling.probability[known], weight[known], rolling.base[known]
    reference = float(np.average((truth - base) ** 2, weights=w))
    skill = 1 - float(np.average((truth - chance) ** 2, weights=w)) / reference if reference > 0 else None
    with warnings.catch_warnings():
        # Labels that the predictions separate have no finite slope: it comes back as None, and that is enough said.
        warnings.simplefilter("ignore", RuntimeWarning)
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
