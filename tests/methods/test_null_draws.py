"""What is known of a null of few units: ranges that allow for it hold the truth, ranges that do not fall short."""

import numpy as np
import pytest
from scipy import special, stats

from models.methods.beta_mixture import pooled_mean, pooled_quantile
from models.methods.null_draws import WIDE_GROUPS, null_grid
from models.methods.shrinkage import fit_null, posterior

N_DRAWS = 20


def fleet(rng, n_units=25, sd=0.04, mean=0.3, n_weak=0):
    cases = rng.integers(30, 100, n_units)
    truth = np.clip(rng.normal(mean, sd, n_units), 0.01, 0.99)
    truth[:n_weak] = rng.normal(0.7, 0.04, n_weak)
    return rng.binomial(cases, truth).astype(float), cases.astype(float), truth


def ranges(rng, hits, cases, is_drawn):
    rate = np.full(hits.size, hits.sum() / cases.sum())
    fitted = fit_null(hits, cases, rate)
    grid = null_grid(hits, cases, rate, fitted)
    weight, a, b = [], [], []
    for place in rng.permutation((np.arange(N_DRAWS) + 0.5) / N_DRAWS):
        null = grid.draw(rng, place) if is_drawn else fitted
        _, wide, parts = posterior(hits, cases, rate, null)
        weight += [1 - wide, wide]
        a += [parts[0], parts[2]]
        b += [parts[1], parts[3]]
    pooled = np.array(weight) / N_DRAWS, np.array(a), np.array(b), np.ones_like(np.array(a))
    return pooled_mean(*pooled), pooled_quantile(0.025, *pooled), pooled_quantile(0.975, *pooled)


@pytest.mark.parametrize("n_weak", [0, 3])
def test_ranges_hold_the_truth_only_where_the_doubt_about_the_null_is_in_them(n_weak):
    rng = np.random.default_rng(70)
    held = {True: [], False: []}
    for _ in range(60):
        hits, cases, truth = fleet(rng, n_weak=n_weak)
        for is_drawn, kept in held.items():
            _, low, high = ranges(rng, hits, cases, is_drawn)
            kept.append((low <= truth) & (truth <= high))
    # 1,500 units: two standard errors of a coverage are a little over a point.
    assert 0.935 <= np.mean(held[True]) <= 0.97
    assert np.mean(held[False]) < 0.85


def test_the_likely_overdispersion_lies_about_the_true_one():
    rng = np.random.default_rng(71)
    hits, cases, _ = fleet(rng, n_units=400, sd=0.06)
    rate = np.full(400, 0.3)
    grid = null_grid(hits, cases, rate, fit_null(hits, cases, rate))
    spread = grid.probability.sum(axis=(0, 2, 3))
    assert float(spread @ grid.spread) == pytest.approx(0.06**2 / 0.21, rel=0.3)
    assert grid.probability.sum() == pytest.approx(1)


def test_a_camp_of_its_own_is_found_where_it_is():
    hits, cases, _ = fleet(np.random.default_rng(72), n_units=60, n_weak=8)
    rate = np.full(60, 0.3)
    rng = np.random.default_rng(1)
    grid = null_grid(hits, cases, rate, fit_null(hits, cases, rate))
    drawn = [grid.draw(rng) for _ in range(50)]
    # logit(.7) - logit(.3) = 1.69.
    assert np.mean([null.wide_shift for null in drawn]) == pytest.approx(1.69, abs=0.25)
    assert 0.05 <= np.mean([null.wide_weight for null in drawn]) <= 0.25


def test_places_go_through_the_overdispersions_in_order():
    hits, cases, _ = fleet(np.random.default_rng(73))
    rate = np.full(25, 0.3)
    grid = null_grid(hits, cases, rate, fit_null(hits, cases, rate))
    rng = np.random.default_rng(2)
    drawn = [grid.draw(rng, place).overdispersion for place in (0.02, 0.5, 0.98)]
    assert drawn == sorted(drawn) and drawn[0] < drawn[2]


def test_under_five_units_there_is_nothing_to_draw_from():
    null = fit_null([3.0, 5.0], [10.0, 10.0], [0.3, 0.3])
    assert null_grid([3.0, 5.0], [10.0, 10.0], [0.3, 0.3], null) is None


@pytest.mark.parametrize("n_units", [7, 40])
def test_the_grid_is_the_product_of_the_units_likelihoods(n_units):
    """One null at a time, by scipy's own beta-binomial."""
    hits, cases, _ = fleet(np.random.default_rng(74), n_units=n_units, n_weak=2)
    rate = np.full(n_units, 0.3)
    grid = null_grid(hits, cases, rate, fit_null(hits, cases, rate))

    def likelihood(mean, rho):
        return stats.betabinom.pmf(hits, cases, mean * (1 / rho - 1), (1 - mean) * (1 / rho - 1))

    logs = np.empty(grid.probability.shape)
    for place in np.ndindex(logs.shape):
        i, j, g, k = place
        narrow, (moved, wide) = special.expit(special.logit(0.3) + grid.shift[i]), WIDE_GROUPS[g]
        of_wide = likelihood(special.expit(special.logit(narrow) + moved), wide)
        mixed = (1 - grid.weight[k]) * likelihood(narrow, grid.spread[j]) + grid.weight[k] * of_wide
        logs[place] = np.log(mixed).sum() + np.log(grid.spread[j]) / 2
    expected = np.exp(logs - logs.max())
    np.testing.assert_allclose(grid.probability, expected / expected.sum(), rtol=1e-7, atol=1e-12)
