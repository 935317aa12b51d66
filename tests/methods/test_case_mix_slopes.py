"""What case mix does to a share: nothing is made of noise, a real effect is kept, nobody teaches their own benchmark."""

import numpy as np
import pytest
from scipy import special

from models.methods.case_mix_slopes import cross_fitted_slopes


def calls(rng, n_units, n_each, slope, level_sd=0.3):
    unit = np.repeat(np.arange(n_units), n_each)
    x = rng.normal(size=(unit.size, 6))
    level = rng.normal(-0.9, level_sd, n_units)[unit]
    hits = (rng.random(unit.size) < special.expit(level + x @ slope)).astype(float)
    return x, hits, unit


def fitted(x, hits, unit, n_folds=5):
    cell, block = np.arange(unit.size), np.arange(x.shape[1])
    return cross_fitted_slopes(x, cell, hits, np.ones(unit.size), unit, unit % n_folds, block)


def test_features_without_effect_are_drawn_to_nothing_and_one_with_effect_is_kept():
    rng = np.random.default_rng(80)
    slope = np.array([0.8, 0, 0, 0, 0, 0])
    found = np.array([fitted(*calls(rng, 25, 60, slope)).mean(axis=0) for _ in range(15)])
    assert found[:, 0].mean() == pytest.approx(0.8, abs=0.08)
    plain = 1 / np.sqrt(25 * 60 * 0.2)
    assert np.sqrt((found[:, 1:] ** 2).mean()) < 0.85 * plain


def test_a_difference_between_units_is_not_taken_for_case_mix():
    """A column that only tells units apart rests on as many cases as there are units."""
    rng = np.random.default_rng(81)
    square = []
    for _ in range(15):
        x, hits, unit = calls(rng, 25, 200, np.zeros(6), level_sd=0.5)
        x[:, 0] = rng.normal(size=25)[unit]
        square.append(fitted(x, hits, unit)[:, 0] ** 2)
    assert np.sqrt(np.mean(square)) < 0.09


def test_a_fold_does_not_depend_on_its_own_hits():
    rng = np.random.default_rng(82)
    x, hits, unit = calls(rng, 200, 40, np.array([0.6, -0.4, 0, 0, 0, 0]))
    own = unit % 5 == 2
    left_out = fitted(x, hits, unit)[2]
    others = fitted(x[~own], hits[~own], np.unique(unit[~own], return_inverse=True)[1], n_folds=1)[0]
    assert left_out == pytest.approx(others, abs=0.02)


def test_like_cases_counted_together_give_the_same():
    rng = np.random.default_rng(83)
    unit = np.repeat(np.arange(30), 40)
    kinds = rng.normal(size=(7, 2))
    cell = rng.integers(0, 7, unit.size)
    hits = (rng.random(unit.size) < 0.3).astype(float)
    given = hits, np.ones(unit.size), unit, unit % 5, np.array([0, 1])
    together = cross_fitted_slopes(kinds, cell, *given)
    apart = cross_fitted_slopes(kinds[cell], np.arange(unit.size), *given)
    assert together == pytest.approx(apart, abs=1e-8)
    assert cross_fitted_slopes(np.zeros((7, 0)), cell, *given[:-1], np.empty(0, int)).shape == (5, 0)
