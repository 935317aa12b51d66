"""Slopes, before/after, conformity, calibration, simulation."""

from itertools import permutations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from models.methods import before_after, calibration, conformity, simulate, trend


def test_slope_ignores_one_wild_reading():
    x = np.arange(9.0)
    y = 2 * x + 1
    y[4] = 500
    fit = trend.theil_sen(x, y)
    assert fit.value == 2 and fit.low <= 2 <= fit.high and fit.n == 9


@pytest.mark.parametrize("n", [3, 4, 5, 8])
def test_short_slopes_have_an_ordered_finite_range(n):
    y = np.random.default_rng(n).normal(size=n)
    fit = trend.theil_sen(np.arange(n), y)
    assert np.isfinite([fit.low, fit.high]).all() and fit.low <= fit.value <= fit.high


def test_too_few_readings_have_no_slope():
    assert not trend.theil_sen([1, 2], [3, 4]).is_known
    assert not trend.theil_sen([1, 1, 1], [3, 4, 5]).is_known
    assert trend.theil_sen([1, 2, np.nan, 3], [3, 4, 9, 5]).n == 3
    assert np.isnan(trend.kendall([1], [1])[1])


def test_kendall_is_exact_without_ties():
    # Of the 24 orders of four, one falls throughout.
    assert trend.kendall([1, 2, 3, 4], [9, 7, 4, 1], "less") == pytest.approx((-1, 1 / 24))


def test_choosing_the_worst_is_not_taken_for_success():
    rng = np.random.default_rng(40)
    effects, plain = [], []
    for _ in range(1000):
        phi, mean = 3.0, np.full(300, 8.0)
        truth = rng.gamma(phi, mean / phi)
        before, after = rng.poisson(truth), rng.poisson(truth)
        worst = np.argsort(-before, kind="stable")[:30]
        result = before_after.empirical_bayes_before_after(before[worst], mean[worst], after[worst], mean[worst], phi)
        effects.append(result.effect.low <= 1 <= result.effect.high)
        plain.append(after[worst].sum() / before[worst].sum())
    # 95% promised; three standard errors of 1,000 trials are 2 points.
    assert 0.93 <= np.mean(effects) <= 0.97
    assert np.mean(plain) < 0.85


def test_a_true_effect_is_found():
    rng = np.random.default_rng(41)
    truth = rng.gamma(3, 4, 200)
    result = before_after.empirical_bayes_before_after(
        rng.poisson(truth), np.full(200, 12.0), rng.poisson(0.6 * truth * 2), np.full(200, 24.0), 3.0
    )
    assert result.effect.low <= 0.6 <= result.effect.high and result.effect.high < 0.7


def test_overdispersion_is_recovered_and_poisson_is_infinite():
    rng = np.random.default_rng(42)
    mean = rng.uniform(5, 30, 5000)
    assert before_after.fit_overdispersion(rng.poisson(rng.gamma(4, mean / 4)), mean) == pytest.approx(4, rel=0.1)
    assert before_after.fit_overdispersion([5, 5, 5], [5, 5, 5]) == np.inf
    assert before_after.empirical_bayes([9], [5], np.inf)[0] == 5


def test_no_events_after_and_nothing_expected():
    none = before_after.empirical_bayes_before_after([4], [4], [0], [4], 2.0).effect
    assert none.value == 0 and none.low == 0 and none.high > 0
    assert not before_after.empirical_bayes_before_after([0], [0], [1], [0], 2.0).effect.is_known
    with pytest.raises(ValueError, match="overdispersion"):
        before_after.empirical_bayes([1], [1], 0)


@given(st.floats(-50, 50), st.floats(0, 20), st.floats(-30, 0), st.floats(0, 30))
def test_conformity_is_a_probability(y, u, lower, upper):
    p = float(conformity.conformity_probability(y, u, lower, upper))
    assert 0 <= p <= 1
    wider = float(conformity.conformity_probability(y, u, lower - 1, upper + 1))
    assert wider >= p - 1e-12


def test_conformity_against_the_normal_distribution():
    # 150 Pa +- 15 Pa, mean 160 Pa, u 4 Pa, by hand: Phi(1.25) - Phi(-6.25).
    assert conformity.conformity_probability(160, 4, 135, 165) == pytest.approx(stats.norm.cdf(1.25), abs=1e-9)
    at_limit = conformity.conformity_probability([165, 165.1, np.nan], [0, 0, 1], 135, 165)
    assert at_limit[:2].tolist() == [1, 0] and np.isnan(at_limit[2])
    # Far outside, the small chance keeps its digits.
    assert conformity.conformity_probability(100, 2, 135, 165) == pytest.approx(stats.norm.sf(17.5), rel=1e-9)
    with pytest.raises(ValueError, match="u:"):
        conformity.conformity_probability(1, -1, 0, 2)
    with pytest.raises(ValueError, match="above upper"):
        conformity.conformity_probability(1, 1, 3, 2)


def test_brier_skill_of_perfect_useless_and_wrong():
    y = np.array([0, 1, 1, 0, 1])
    assert calibration.brier_skill(y, y) == 1
    assert calibration.brier_skill(y, np.full(5, 0.6)) == pytest.approx(0)
    assert calibration.brier_skill(y, 1 - y) < 0
    assert np.isnan(calibration.brier_skill([1, 1], [0.4, 0.5]))


def test_calibration_line_finds_a_known_distortion():
    rng = np.random.default_rng(43)
    logit = rng.normal(0, 1.5, 6000)
    y = rng.random(6000) < 1 / (1 + np.exp(-logit))
    honest = calibration.calibration_line(y, 1 / (1 + np.exp(-logit)))
    assert honest.slope == pytest.approx(1, abs=0.1) and honest.intercept == pytest.approx(0, abs=0.1)
    boastful = calibration.calibration_line(y, 1 / (1 + np.exp(-(2 * logit + 0.5))))
    assert boastful.slope == pytest.approx(0.5, abs=0.06)
    assert calibration.expected_calibration_error(y, 1 / (1 + np.exp(-logit))) < 0.03
    assert calibration.expected_calibration_error(y, 1 / (1 + np.exp(-3 * logit))) > 0.08


def test_weights_do_not_pretend_to_be_cases():
    rng = np.random.default_rng(44)
    p = rng.uniform(0.1, 0.9, 400)
    y, weight = rng.random(400) < p, np.full(400, 25.0)
    plain, heavy = calibration.calibration_line(y, p), calibration.calibration_line(y, p, weight)
    assert heavy.slope == pytest.approx(plain.slope) and heavy.slope_error == pytest.approx(plain.slope_error)


def test_calibration_of_one_class_or_one_probability():
    assert calibration.calibration_line([1, 1], [0.2, 0.4]).slope is None
    flat = calibration.calibration_line([1, 0, 1, 0], [0.5] * 4)
    assert flat.slope is None and flat.intercept == pytest.approx(0, abs=1e-9)
    assert calibration.calibration_line([0, 0, 1, 1], [0.1, 0.2, 0.8, 0.9]).slope is None
    table = calibration.calibration_table([1, 0, 1, 0], [0.5] * 4)
    assert table.tolist() == [[0.5, 0.5, 4, 4]]
    with pytest.raises(ValueError, match="p:"):
        calibration.brier_skill([1], [1.5])


def test_simulated_interval_is_that_of_the_known_distribution():
    middle, low, high = simulate.interval_by_simulation(
        lambda rng, n: rng.normal(10, 2, n), 40_000, np.random.default_rng(45)
    )
    assert (middle, low, high) == pytest.approx((10, 10 - 3.92, 10 + 3.92), abs=0.1)
    with pytest.raises(ValueError, match="draw"):
        simulate.interval_by_simulation(lambda rng, n: np.full(n, np.nan), 200, np.random.default_rng(0))
    with pytest.raises(ValueError, match="n_draws"):
        simulate.interval_by_simulation(lambda rng, n: np.zeros(n), 10, np.random.default_rng(0))


def test_drawn_costs_have_the_right_mean_and_spread_in_any_piece_size():
    p, cost = np.array([0.2, 0.5, 0.9]), np.array([10.0, 20.0, 5.0])
    for chunk in (20_000, 2_000_000):
        total = simulate.draw_bernoulli_costs(p, cost, np.random.default_rng(46), 20_000, chunk)
        assert total.mean() == pytest.approx(p @ cost, rel=0.02)
        assert total.std() == pytest.approx(np.sqrt((p * (1 - p)) @ cost**2), rel=0.03)


@pytest.mark.parametrize("y", [[3, 3, 2, 1, 1], [5, 5, 4, 4, 4, 1], [1, 2, 2, 3, 0, 0, 0]])
@pytest.mark.parametrize(
    ("alternative", "is_as_far"),
    [
        ("less", lambda s, own: s <= own),
        ("greater", lambda s, own: s >= own),
        ("two-sided", lambda s, own: abs(s) >= abs(own)),
    ],
)
def test_kendall_with_ties_is_the_share_of_all_orders_as_far_out(y, alternative, is_as_far):
    i, j = np.triu_indices(len(y), 1)
    orders = np.array(list(permutations(y)), dtype=float)
    score = np.sign(orders[:, j] - orders[:, i]).sum(axis=1)
    expected = is_as_far(score, np.sign(np.array(y)[j] - np.array(y)[i]).sum()).mean()
    when = np.arange(len(y))
    assert trend.kendall(when, y, alternative)[1] == pytest.approx(expected, rel=1e-12)
    assert trend.kendall(y, when, alternative)[1] == pytest.approx(expected, rel=1e-12)


def test_readings_all_alike_show_no_trend():
    tau, p = trend.kendall([1, 2, 3, 4], [5, 5, 5, 5], "less")
    assert np.isnan(tau) and p == 1.0
