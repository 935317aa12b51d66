"""The peak with higher harmonics allowed for: a year of uneven shape, a plain one, a clear second wave, dispersion."""

import numpy as np
import pytest
import statsmodels.api as sm

from models.methods.harmonic_poisson import NOT_SETTLED, fit_seasonal
from models.methods.seasonal_shape import YEAR_DAYS, harmonic_columns, phase_of
from models.methods.shrunk_harmonics import fletcher_dispersion, shrunk_harmonics

DAY = (np.arange(4 * 52) * 7 + 184.5) % YEAR_DAYS
NO_COVARIATE = np.empty((DAY.size, 0))


def rate(peak, first, second, apart):
    """A wave with its top on `peak`, and one of half a year's length with a top `apart` days later."""
    year = 2 * np.pi / YEAR_DAYS
    return np.exp(first * np.cos(year * (DAY - peak)) + second * np.cos(2 * year * (DAY - peak - apart)))


def away(a, b):
    return (a - b + YEAR_DAYS / 2) % YEAR_DAYS - YEAR_DAYS / 2


def test_the_range_holds_the_peak_of_an_uneven_year_that_one_wave_misses():
    grid = np.linspace(0, YEAR_DAYS, 3653)
    year = 2 * np.pi / YEAR_DAYS
    true = grid[np.argmax(0.83 * np.cos(year * (grid - 350)) + 0.08 * np.cos(2 * year * (grid - 350 - 30)))]
    mean = 1.2 * rate(350, 0.83, 0.08, 30)
    rng = np.random.default_rng(31)
    held = {1: 0, 3: 0}
    for _ in range(100):
        counts = rng.poisson(mean)
        for allowed in held:
            peak = fit_seasonal(counts, np.ones(DAY.size), DAY, np.arange(DAY.size) // 52, None, allowed, rng).peak_day
            held[allowed] += away(peak.low, true) <= 0 <= away(peak.high, true)
    assert held[3] >= 91 and held[3] > held[1]


def test_a_clear_second_wave_is_believed_and_a_plain_year_stays_near_one():
    rng = np.random.default_rng(32)
    found = {}
    for second in (0.0, 0.4):
        counts = rng.poisson(50 * rate(30, 0.8, second, 45))
        pairs, drawn = shrunk_harmonics(counts, np.ones(DAY.size), DAY, NO_COVARIATE, 3, 200, rng)
        found[second] = np.hypot(pairs[2], pairs[3])
        assert drawn.shape == (200, 6)
        assert np.abs(drawn.mean(axis=0) - pairs).max() < 0.02
    assert found[0.0] < 0.02
    assert found[0.4] == pytest.approx(0.4, abs=0.03)


def test_with_many_counts_it_is_the_unpenalised_fit():
    """Against statsmodels' Poisson regression on the same columns."""
    counts = np.random.default_rng(33).poisson(5000 * rate(30, 0.8, 0.4, 45)).astype(float)
    x = np.column_stack([np.ones(DAY.size), harmonic_columns(DAY, 2)])
    plain = np.asarray(sm.GLM(counts, x, family=sm.families.Poisson()).fit().params)[1:]
    pairs, _ = shrunk_harmonics(counts, np.ones(DAY.size), DAY, NO_COVARIATE, 2, 10, np.random.default_rng(1))
    assert pairs == pytest.approx(plain, abs=1e-3)
    assert abs(phase_of(pairs) - phase_of(plain)) * YEAR_DAYS < 0.5


def test_a_week_of_hardly_any_exposure_does_not_carry_the_dispersion_away():
    rng = np.random.default_rng(34)
    mean = np.full(200, 2.0)
    counts = rng.poisson(mean).astype(float)
    mean[:3], counts[:3] = 0.05, 3.0
    pearson = ((counts - mean) ** 2 / mean).sum() / 199
    assert pearson > 3 and fletcher_dispersion(counts, mean, 1) < 0.65 * pearson
    wide = rng.poisson(rng.gamma(20 / 2, 2, 4000)).astype(float)
    assert fletcher_dispersion(wide, np.full(4000, 20.0), 1) == pytest.approx(3, rel=0.1)


def test_cases_in_a_few_weeks_of_the_year_are_told_in_words():
    day = (np.arange(159) * 7) % 365.25
    y = np.random.default_rng(3).poisson(200 * (np.abs(day - 20) < 15) * 50.0)
    found = fit_seasonal(y, np.ones(159), day, np.arange(159) // 52, n_boot=50, rng=np.random.default_rng(0))
    assert not found.is_claimed and found.peak_day.value is None
    assert found.reason == NOT_SETTLED
