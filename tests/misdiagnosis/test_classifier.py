"""The weighted, penalised logistic fit: where it stops, what it does with shares, what it refuses."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import special
from threadpoolctl import threadpool_limits

from models.misdiagnosis.classifier import PENALTY_C, fit_logistic


def cases(n: int, k: int) -> tuple[NDArray, NDArray, NDArray]:
    """Features (rare categories among them), hits and weights."""
    rng = np.random.default_rng(20)
    x = np.column_stack([rng.normal(size=(n, 2)), rng.random((n, k - 2)) < rng.uniform(0.002, 0.3, k - 2)]).astype(
        float
    )
    beta = rng.normal(0, 1, k)
    y = rng.random(n) < special.expit(-0.5 + x @ beta)
    return x, y.astype(float), rng.uniform(0.2, 4, n)


def slope_of_likelihood(x: NDArray, y: NDArray, weight: NDArray, beta: NDArray) -> NDArray:
    left = weight * (y - special.expit(beta[0] + x @ beta[1:]))
    return np.append(left.sum(), x.T @ left - beta[1:] / PENALTY_C)


def test_the_fit_stops_where_the_likelihood_is_flat() -> None:
    x, y, weight = cases(3000, 30)
    beta = fit_logistic(x, y, weight)
    assert np.abs(slope_of_likelihood(x, y, weight, beta)).max() < 1e-6


def test_the_fit_agrees_with_scikit_learn() -> None:
    # sklearn.linear_model.LogisticRegression(solver="newton-cholesky"), run here. A library's output.
    from sklearn.linear_model import LogisticRegression

    x, y, weight = cases(1500, 20)
    model = LogisticRegression(C=PENALTY_C, solver="newton-cholesky", tol=1e-12)
    model.fit(x, y > 0.5, sample_weight=weight)
    theirs = np.append(model.intercept_, model.coef_[0])
    assert fit_logistic(x, y, weight) == pytest.approx(theirs, abs=1e-7)


def test_a_share_of_hits_counts_as_so_many_hits_and_misses() -> None:
    x, share, n = np.array([[0.0], [1.0], [2.0]]), np.array([0.25, 0.5, 1.0]), np.array([4.0, 10.0, 3.0])
    one_by_one = np.repeat([0, 0, 1, 1, 2], [1, 3, 5, 5, 3])
    hits = np.repeat([1.0, 0.0, 1.0, 0.0, 1.0], [1, 3, 5, 5, 3])
    expected = fit_logistic(x[one_by_one], hits, np.ones(17))
    assert fit_logistic(x, share, n) == pytest.approx(expected, abs=1e-9)


def test_labels_the_features_separate_still_have_a_finite_fit() -> None:
    x = np.linspace(-500, 500, 40)[:, None]
    y = (x[:, 0] > 0).astype(float)
    beta = fit_logistic(x, y, np.ones(40))
    assert np.isfinite(beta).all()
    assert np.abs(slope_of_likelihood(x, y, np.ones(40), beta)).max() < 1e-6


@pytest.mark.parametrize("kind", [0.0, 1.0])
def test_one_kind_of_label_is_refused(kind: float) -> None:
    with pytest.raises(ValueError, match="both hits and misses"):
        fit_logistic(np.zeros((5, 1)), np.full(5, kind), np.ones(5))


def test_the_same_digits_come_of_any_number_of_threads() -> None:
    x, y, weight = cases(30000, 40)
    found = []
    for n_threads in (1, 2):
        with threadpool_limits(limits=n_threads, user_api="blas"):
            found.append(fit_logistic(x, y, weight).tobytes())
    assert found[0] == found[1]
