"""Weighted logistic regression with a quadratic penalty, and the uncertainty of what it predicts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

from models.misdiagnosis.design import Encoding
from models.misdiagnosis.features import check_features

# Inverse of the penalty on standardised columns: a coefficient of 1 is about as far as the penalty lets few labels go.
PENALTY_C = 1.0


@dataclass(frozen=True)
class Classifier:
    """intercept and coefficients on the logit; covariance of (intercept, coefficients), robust to the weights."""

    encoding: Encoding
    coefficients: NDArray[np.float64]
    covariance: NDArray[np.float64]

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
    coefficients = fit_logistic(x, y, w)
    full = np.column_stack([np.ones(len(x)), x])
    p = special.expit(full @ coefficients)
    penalty = np.eye(full.shape[1]) / PENALTY_C
    penalty[0, 0] = 1e-9
    bread = np.linalg.inv((full * (w * p * (1 - p))[:, None]).T @ full + penalty)
    meat = (full * ((w * (y - p)) ** 2)[:, None]).T @ full
    return Classifier(encoding, coefficients, bread @ meat @ bread)


def fit_logistic(x: NDArray, y: NDArray, weight: NDArray) -> NDArray[np.float64]:
    """Coefficients (intercept first), shape (1 + n_names,), of a weighted fit; y bool or 0/1.

    weight: in cases, so that the penalty counts as a fraction of one case whatever the number of rows.
    """
    from sklearn.linear_model import LogisticRegression

    model = LogisticRegression(C=PENALTY_C, max_iter=500, tol=1e-6)
    model.fit(x, np.asarray(y) > 0.5, sample_weight=np.asarray(weight, dtype=float))
    return np.concatenate([model.intercept_, model.coef_[0]])
