"""Weighted logistic regression with a quadratic penalty, and the uncertainty of what it predicts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special
from threadpoolctl import threadpool_limits

from models.misdiagnosis.design import Encoding
from models.misdiagnosis.features import check_features

# Inverse of the penalty on standardised columns: a coefficient of 1 is about as far as the penalty lets few labels go.
PENALTY_C = 1.0
# Standard deviations of the classifier's coefficients before any label is seen: what a technician wrote down of the
# switch may tell good from faulty outright, the kind of call hardly can. Chosen on fleets that the recovery table does
# not use: 2 for the former predicts later blocks as well, but the first of them too surely (slope 0.8).
PRIOR_SD = {"diagnosis": 1.5, "case_mix": 0.25}
MOST_STEPS = 100
SMALLEST_STEP = 1e-10


@dataclass(frozen=True)
class Classifier:
    """intercept and coefficients on the logit; covariance of (intercept, coefficients), robust to the weights.

    precision: curvature of the penalised likelihood, weights scaled to a mean of 1.
    """

    encoding: Encoding
    coefficients: NDArray[np.float64]
    covariance: NDArray[np.float64]
    precision: NDArray[np.float64]

    def logit(self, x: NDArray) -> NDArray[np.float64]:
        """Shape (n_rows,), x as encoding.matrix gives."""
        return self.coefficients[0] + x @ self.coefficients[1:]

    def logit_sd(self, x: NDArray) -> NDArray[np.float64]:
        """Standard error of the logit, shape (n_rows,)."""
        root = np.linalg.cholesky(self.covariance + 1e-12 * np.eye(self.covariance.shape[0]))
        return np.sqrt(((root[0] + x @ root[1:]) ** 2).sum(axis=1))


def train(x: NDArray, is_good: NDArray, weight: NDArray, encoding: Encoding) -> Classifier:
    """Fit the classifier.

    x: shape (n, n_names) from encoding.matrix. is_good: bool, shape (n,). weight: shape (n,), positive (inverse testing
    probabilities); scaled here to a mean of 1.
    Returns a Classifier with the sandwich covariance of the penalised fit.
    Raises LeakedFeatureError when the encoding holds a feature not known when the visit closed; ValueError with one
    class only.
    """
    check_features(encoding.features)
    y = np.asarray(is_good, dtype=float)
    if y.size == 0 or y.min() == y.max():
        raise ValueError(f"is_good: got {y.size} labels of one kind; both good and faulty are needed to train.")
    w = np.asarray(weight, dtype=float) / np.mean(weight)
    prior_sd = prior_of(encoding)
    coefficients = fit_logistic(x, y, w, prior_sd)
    full = np.column_stack([np.ones(len(x)), x])
    p = special.expit(full @ coefficients)
    with threadpool_limits(limits=1, user_api="blas"):
        precision = _weighted_gram(full, w * p * (1 - p)) + np.diag(_penalty(full.shape[1], prior_sd))
        bread = np.linalg.inv(precision)
        # Few labels and a penalty: the penalty's own doubt counts as well as that of the labels.
        meat = _weighted_gram(full, (w * (y - p)) ** 2) + np.diag(_penalty(full.shape[1], prior_sd))
    return Classifier(encoding, coefficients, bread @ meat @ bread, precision)


def prior_of(encoding: Encoding) -> NDArray[np.float64]:
    """Prior standard deviation per column of the encoding, shape (n_names,)."""
    group = {feature.name: feature.group for feature in encoding.features}
    return np.array([PRIOR_SD[group[name.split(" = ", 1)[0]]] for name in encoding.names])


def fit_logistic(x: NDArray, y: NDArray, weight: NDArray, prior_sd: NDArray | None = None) -> NDArray[np.float64]:
    """Coefficients (intercept first), shape (1 + n_names,), of a weighted fit.

    x: shape (n, n_names). y: bool, or the share of a row's cases that are hits, in [0, 1]; both kinds must occur.
    weight: in cases, so that the penalty counts as a fraction of one case whatever the number of rows. prior_sd: of the
    coefficients but the intercept, shape (n_names,); 1 where not given.
    Newton's method on the penalised likelihood, to the last digits: with a penalty this light, a search that stops
    early stops at a place that depends on the number of processor cores.
    Raises ValueError with one kind only, where the intercept has no finite value.
    Source: McCullagh and Nelder (1989), Generalized Linear Models, section 2.5.
    """
    full = np.column_stack([np.ones(len(x)), x])
    truth, w = np.asarray(y, dtype=float), np.asarray(weight, dtype=float)
    share = float(w @ truth / w.sum()) if w.sum() > 0 else 0.0
    if not 0 < share < 1:
        raise ValueError(f"y: got a share of {share:g} of hits; both hits and misses are needed to fit.")
    penalty = _penalty(full.shape[1], prior_sd)

    def loss(beta: NDArray) -> float:
        logit = full @ beta
        return float(w @ (np.logaddexp(0, logit) - truth * logit) + penalty @ beta**2 / 2)

    beta = np.zeros(full.shape[1])
    beta[0] = special.logit(share)
    # One thread: the same digits on any number of cores, and no waiting where other work has the other core.
    with threadpool_limits(limits=1, user_api="blas"):
        now = loss(beta)
        for _ in range(MOST_STEPS):
            p = special.expit(full @ beta)
            slope = full.T @ (w * (truth - p)) - penalty * beta
            step = np.linalg.solve(_weighted_gram(full, w * p * (1 - p)) + np.diag(penalty), slope)
            size = 1.0
            # The likelihood is concave: a step that overshoots is halved; the last digits of a sum are no overshoot.
            while (then := loss(beta + size * step)) > now + 1e-12 * abs(now) and size > 1e-6:
                size /= 2
            beta, now = beta + size * step, then
            if np.abs(step).max() < SMALLEST_STEP:
                break
    return beta


def _penalty(n_coefficients: int, prior_sd: NDArray | None = None) -> NDArray[np.float64]:
    """Of each coefficient's square; as good as none on the intercept."""
    penalty = np.full(n_coefficients, 1 / PENALTY_C)
    if prior_sd is not None:
        penalty[1:] = 1 / prior_sd**2
    penalty[0] = 1e-9
    return penalty


def _weighted_gram(full: NDArray, weight: NDArray) -> NDArray[np.float64]:
    return (full * weight[:, None]).T @ full
