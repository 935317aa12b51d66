"""How good predicted probabilities are."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray


@dataclass(frozen=True)
class CalibrationLine:
    """Logistic recalibration. slope 1 and intercept 0 are ideal; a slope under 1 means too extreme.

    intercept: with the slope held at 1 (calibration in the large). None where it cannot be fitted.
    """

    slope: float | None
    slope_error: float | None
    intercept: float | None
    intercept_error: float | None


def brier_skill(y: ArrayLike, p: ArrayLike, base_rate: float | None = None, weight: ArrayLike | None = None) -> float:
    """1 - Brier score / Brier score of the base rate. 1 = perfect, 0 = no better than the base rate, under 0 = worse.

    y: 0/1, p: probabilities, weight: >= 0; shape (n,). base_rate: the rate known beforehand; None = the weighted mean
    of y itself. NaN without cases or where the base rate is already perfect.
    Source: Brier (1950), Mon. Weather Rev. 78:1; Murphy (1973), J. Appl. Meteorol. 12:595.
    """
    truth, chance, w = _checked(y, p, weight)
    if truth.size == 0:
        return float("nan")
    rate = float(np.average(truth, weights=w)) if base_rate is None else base_rate
    reference = float(np.average((truth - rate) ** 2, weights=w))
    return float("nan") if reference == 0 else 1 - float(np.average((truth - chance) ** 2, weights=w)) / reference


def calibration_line(y: ArrayLike, p: ArrayLike, weight: ArrayLike | None = None) -> CalibrationLine:
    """Regress y on logit(p): slope, and the intercept with the slope held at 1, with standard errors.

    Arguments as for `brier_skill`. All None if y has a single class; slope None if p hardly varies or separates y.
    Standard errors are robust (sandwich), since weights are not counts.
    Source: Cox (1958), Biometrika 45:562; Steyerberg, Clinical Prediction Models, chapter 15.
    """
    truth, chance, w = _checked(y, p, weight)
    if truth.size == 0 or truth.min() == truth.max():
        return CalibrationLine(None, None, None, None)
    clipped = np.clip(chance, 1e-6, 1 - 1e-6)
    logit = np.log(clipped / (1 - clipped))
    ones = np.ones((truth.size, 1))
    intercept = _logistic(truth, ones, logit, w)
    # Where the probabilities tell the classes fully apart, no finite slope fits best.
    hit, miss = logit[truth == 1], logit[truth == 0]
    is_apart = hit.min() >= miss.max() or hit.max() <= miss.min()
    both = None if is_apart else _logistic(truth, np.column_stack([ones, logit]), np.zeros(truth.size), w)
    return CalibrationLine(
        slope=None if both is None else both[0][1],
        slope_error=None if both is None else both[1][1],
        intercept=None if intercept is None else intercept[0][0],
        intercept_error=None if intercept is None else intercept[1][0],
    )


def expected_calibration_error(y: ArrayLike, p: ArrayLike, n_bins: int = 10, weight: ArrayLike | None = None) -> float:
    """Mean gap between predicted and observed share over bins of equal numbers of cases; NaN without cases."""
    table = calibration_table(y, p, n_bins, weight)
    if table.size == 0:
        return float("nan")
    return float(np.average(np.abs(table[:, 0] - table[:, 1]), weights=table[:, 2]))


def calibration_table(y: ArrayLike, p: ArrayLike, n_bins: int = 10, weight: ArrayLike | None = None) -> NDArray:
    """Per bin of equal numbers of cases, in rising p: mean predicted, observed share, weight, cases; shape (n_bins, 4).

    Equal probabilities always share a bin.
    """
    truth, chance, w = _checked(y, p, weight)
    if truth.size == 0:
        return np.empty((0, 4))
    edges = np.quantile(chance, np.linspace(0, 1, n_bins + 1)[1:-1])
    _, code = np.unique(np.searchsorted(edges, chance, side="left"), return_inverse=True)
    total = np.bincount(code, weights=w)
    shares = [np.bincount(code, weights=w * a) / np.where(total > 0, total, 1) for a in (chance, truth)]
    return np.column_stack([*shares, total, np.bincount(code)])[total > 0]


def _logistic(y: NDArray, x: NDArray, offset: NDArray, w: NDArray) -> tuple[list[float], list[float]] | None:
    import statsmodels.api as sm

    model = sm.GLM(y, x, family=sm.families.Binomial(), offset=offset, var_weights=w * y.size / w.sum())
    fit = model.fit(maxiter=100, cov_type="HC0")
    if not fit.converged:
        return None
    return [float(v) for v in fit.params], [float(v) for v in fit.bse]


def _checked(y: ArrayLike, p: ArrayLike, weight: ArrayLike | None) -> tuple[NDArray, NDArray, NDArray]:
    truth, chance = np.asarray(y, dtype=float).ravel(), np.asarray(p, dtype=float).ravel()
    w = np.ones(truth.size) if weight is None else np.asarray(weight, dtype=float).ravel()
    if not truth.shape == chance.shape == w.shape:
        raise ValueError(f"y, p, weight: got {truth.size}, {chance.size}, {w.size} values; must be as many.")
    if (~((chance >= 0) & (chance <= 1))).any():
        raise ValueError(f"p: got {chance[~((chance >= 0) & (chance <= 1))][0]:g}; must lie between 0 and 1.")
    if (~np.isin(truth, (0, 1))).any():
        raise ValueError(f"y: got {truth[~np.isin(truth, (0, 1))][0]:g}; must be 0 or 1.")
    if (~(w >= 0)).any() or (w.size and w.sum() == 0):
        raise ValueError("weight: must be 0 or more, and not all 0.")
    return truth, chance, w
