"""The saving at the best quarter's rate on units whose true rates are known."""

from __future__ import annotations

import numpy as np
import pytest

from models.methods.best_quarter import excess_of_imputations, excess_over_best_quarter


def _fleet(seed):
    rng = np.random.default_rng(seed)
    n = rng.integers(40, 160, 60)
    truth = rng.beta(0.35 * 40, 0.65 * 40, 60)
    truth[:4] = 0.6
    return n, truth, rng.binomial(n, truth), rng


def test_the_range_holds_the_truth_and_the_mean_is_not_off():
    inside, ratio = 0, []
    for seed in range(25):
        n, truth, hits, rng = _fleet(seed)
        rate = np.full(n.size, hits.sum() / n.sum())
        draws = np.concatenate([excess_over_best_quarter(hits, n, rate, rng, 10) for _ in range(30)])
        target = (n * np.maximum(truth - np.quantile(truth, 0.25), 0)).sum()
        low, high = np.quantile(draws, [0.025, 0.975])
        inside += low <= target <= high
        ratio.append(draws.mean() / target)
    # Of 25 ranges of 95% at least 21, but for one time in a hundred.
    assert inside >= 21
    assert np.mean(ratio) == pytest.approx(1, abs=0.05)


def test_same_generator_same_draws_and_nothing_spared_without_hits():
    n, _, hits, _ = _fleet(1)
    rate = np.full(n.size, 0.3)
    first, second = (excess_over_best_quarter(hits, n, rate, np.random.default_rng(2)) for _ in range(2))
    assert (first == second).all() and first.shape == (10,)
    few = excess_over_best_quarter(np.zeros(60), n, np.full(60, 1e-6), np.random.default_rng(2))
    assert few.max() < 1


def test_imputations_together_are_what_they_are_one_by_one():
    n, truth, *_ = _fleet(3)
    rate = np.full(n.size, 0.3)
    together, alone = np.random.default_rng(4), np.random.default_rng(4)
    # Imputing takes chance from the same source, in between.
    found = excess_of_imputations((together.binomial(n, truth) for _ in range(6)), n, rate, together)
    expected = [excess_over_best_quarter(alone.binomial(n, truth), n, rate, alone) for _ in range(6)]
    assert found.shape == (6, 10)
    assert (found == np.stack(expected)).all()
