"""Seasonal harmonics: what is claimed, recovery of a known season, prediction."""

import numpy as np
import pytest

from models.methods.harmonic_poisson import fit_seasonal
from models.methods.seasonal_shape import YEAR_DAYS


def weeks(rng, n_seasons=4, peak=30.0, amplitude=0.6, base=8.0, second=0.0, dispersion=1.0):
    """Weekly counts with a known peak; gamma-mixed so that the variance is `dispersion` times the mean."""
    number = np.arange(n_seasons * 52)
    day = (number * 7 + 3.5 + 181) % YEAR_DAYS
    angle = 2 * np.pi * (day - peak) / YEAR_DAYS
    exposure = rng.uniform(0.8, 1.2, number.size)
    mean = exposure * base * np.exp(amplitude * np.cos(angle) + second * np.cos(2 * angle))
    if dispersion > 1:
        mean = rng.gamma(mean / (dispersion - 1), dispersion - 1)
    return rng.poisson(mean), exposure, day, number // 52


@pytest.mark.parametrize(("dispersion", "lowest"), [(1.0, 0.92), (3.0, 0.92)])
def test_peak_and_ratio_ranges_cover_the_truth(dispersion, lowest):
    rng = np.random.default_rng(20)
    peak_hit, ratio_hit = 0, 0
    for _ in range(150):
        fit = fit_seasonal(*weeks(rng, dispersion=dispersion, base=15), max_harmonics=1)
        away = (fit.peak_day.value - 30 + YEAR_DAYS / 2) % YEAR_DAYS - YEAR_DAYS / 2
        half = ((fit.peak_day.high - fit.peak_day.low) % YEAR_DAYS) / 2
        peak_hit += abs(away) <= half
        ratio_hit += fit.peak_to_trough.low <= np.exp(1.2) <= fit.peak_to_trough.high
    assert lowest <= peak_hit / 150 and lowest <= ratio_hit / 150


def test_without_a_season_none_is_claimed_more_often_than_said():
    rng = np.random.default_rng(21)
    claimed = 0
    for _ in range(200):
        fit = fit_seasonal(*weeks(rng, amplitude=0.0, dispersion=2.0), rng=rng, n_boot=100)
        claimed += fit.is_claimed
        assert fit.is_claimed == fit.peak_day.is_known == (fit.p_value < 0.05)
    assert claimed / 200 < 0.10


def test_a_second_harmonic_is_found_and_the_peak_kept():
    rng = np.random.default_rng(22)
    for n_seasons in (4, 8):  # drawn coefficients, drawn seasons
        fit = fit_seasonal(*weeks(rng, n_seasons, base=30, second=0.3), rng=np.random.default_rng(1))
        assert fit.n_harmonics >= 2
        assert abs(fit.peak_day.value - 30) < 5
        assert fit.peak_day.low <= fit.peak_day.value <= fit.peak_day.high
        assert fit.peak_day.high - fit.peak_day.low > 1
        assert fit.peak_to_trough.low <= fit.peak_to_trough.value <= fit.peak_to_trough.high
    with pytest.raises(ValueError, match="rng"):
        fit_seasonal(*weeks(rng, 4, base=30, second=0.3))


def test_same_generator_same_answer():
    data = weeks(np.random.default_rng(23), 8, base=30, second=0.3)
    first, second = (fit_seasonal(*data, rng=np.random.default_rng(5)) for _ in range(2))
    assert first.peak_day == second.peak_day and first.peak_to_trough == second.peak_to_trough


def test_a_peak_at_the_turn_of_the_year_has_a_range_across_it():
    fit = fit_seasonal(*weeks(np.random.default_rng(24), peak=0.5, base=20), max_harmonics=1)
    assert fit.peak_day.low > 350 and fit.peak_day.high < 15


def test_under_two_seasons_nothing_is_claimed():
    counts, exposure, day, season = weeks(np.random.default_rng(25))
    short = slice(0, 52 + 20)
    fit = fit_seasonal(counts[short], exposure[short], day[short], season[short])
    assert not fit.is_claimed and "two are needed" in fit.reason and fit.p_value is None
    assert not fit.peak_day.is_known and not fit.peak_to_trough.is_known
    with pytest.raises(ValueError, match="two are needed"):
        fit.predict([10], [1])
    winter = (day < 120) | (day > 300)
    fit = fit_seasonal(counts[winter], exposure[winter], day[winter], season[winter])
    assert not fit.is_claimed and "months" in fit.reason
    assert "No fault" in fit_seasonal(0 * counts, exposure, day, season).reason


def test_prediction_and_curve_follow_the_known_rate():
    fit = fit_seasonal(*weeks(np.random.default_rng(26), 12, base=40), max_harmonics=1)
    assert fit.predict([30], [2.0])[0] == pytest.approx(80 * np.exp(0.6), rel=0.05)
    rate, low, high = fit.curve(np.arange(1, 366))
    assert (low < rate).all() and (rate < high).all()
    assert abs(np.argmax(rate) + 1 - fit.peak_day.value) <= 1
    mean, lower, upper = fit.predict_interval([30, 200], [1.0, 1.0])
    assert (lower < mean).all() and (mean < upper).all()


def test_prediction_range_covers_new_weeks():
    rng = np.random.default_rng(27)
    counts, exposure, day, season = weeks(rng, 12, dispersion=2.5)
    old = season < 6
    fit = fit_seasonal(counts[old], exposure[old], day[old], season[old], max_harmonics=1)
    _, low, high = fit.predict_interval(day[~old], exposure[~old])
    new = counts[~old]
    assert 0.92 <= ((new >= low) & (new <= high)).mean() <= 0.99


def test_a_covariate_takes_over_what_it_explains():
    rng = np.random.default_rng(28)
    _, exposure, day, season = weeks(rng, 6)
    cold = 5 + 4 * np.cos(2 * np.pi * (day - 20) / YEAR_DAYS) + rng.normal(0, 2, day.size)
    counts = rng.poisson(exposure * 3 * np.exp(0.15 * cold))
    without = fit_seasonal(counts, exposure, day, season, max_harmonics=1)
    held = fit_seasonal(counts, exposure, day, season, covariates=cold[:, None], max_harmonics=1)
    assert held.names[-1] == "covariate1"
    assert held.coefficients[-1] == pytest.approx(0.15, abs=4 * held.standard_errors[-1])
    assert np.hypot(*held.coefficients[1:3]) < 0.3 * np.hypot(*without.coefficients[1:3])
    with pytest.raises(ValueError, match="columns"):
        held.predict([10], [1], covariates=[[1.0, 2.0]])


@pytest.mark.parametrize(("field", "value", "said"), [(0, -1, "counts"), (2, 400, "day_of_year")])
def test_impossible_input_is_named(field, value, said):
    data = [np.array(a, dtype=float) for a in weeks(np.random.default_rng(29))]
    data[field][3] = value
    with pytest.raises(ValueError, match=said):
        fit_seasonal(*data)
