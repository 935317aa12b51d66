"""Shrinkage with a robust null, flags within a false-discovery limit, funnel, control chart."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.methods import shrinkage as sh
from models.methods.control_chart import p_chart


def fleet(rng, n_units=40, n_outliers=0, rho=0.01, mean=0.3, outlier=0.72):
    cases = rng.integers(20, 150, n_units)
    kappa = 1 / rho - 1
    truth = rng.beta(mean * kappa, (1 - mean) * kappa, n_units)
    truth[:n_outliers] = outlier
    return rng.binomial(cases, truth), cases, truth


def test_outliers_do_not_widen_or_move_the_null():
    rng = np.random.default_rng(30)
    clean, dirty, naive = [], [], []
    for _ in range(60):
        for n_outliers, found in ((0, clean), (4, dirty)):
            hits, cases, _ = fleet(rng, n_outliers=n_outliers)
            null = sh.fit_null(hits, cases, np.full(40, 0.33))
            found.append((null.overdispersion, float(null.mean(0.33))))
        rate = hits.sum() / cases.sum()
        z2 = (hits - cases * rate) ** 2 / (cases * rate * (1 - rate))
        naive.append(max((z2.mean() - 1) / (cases.mean() - 1), 0))
    assert np.mean(clean, axis=0) == pytest.approx([0.01, 0.3], abs=0.003)
    assert np.mean(dirty, axis=0) == pytest.approx([0.01, 0.3], abs=0.004)
    # The plain moment estimate, for comparison, is several times too wide.
    assert np.mean(naive) > 0.04


def test_the_shift_follows_a_fleet_that_is_not_as_case_mix_says():
    hits, cases, _ = fleet(np.random.default_rng(31), n_units=200)
    null = sh.fit_null(hits, cases, np.full(200, 0.5))
    assert float(null.mean(0.5)) == pytest.approx(0.3, abs=0.02) and null.is_fitted


def test_weak_technicians_are_flagged_and_false_flags_stay_within_the_limit():
    rng = np.random.default_rng(32)
    n_found, n_flagged, n_false = 0, 0, 0
    for _ in range(60):
        hits, cases, truth = fleet(rng, n_outliers=4, rho=0.004)
        null = sh.fit_null(hits, cases, np.full(40, 0.3))
        units = sh.shrink(hits, cases, np.full(40, 0.3), null)
        flagged = sh.select_by_local_fdr(units.probability_above(0.08), 0.10)
        n_found += flagged[:4].sum()
        n_flagged += flagged.sum()
        n_false += (flagged & (truth <= 0.38)).sum()
    assert n_found >= 0.95 * 240
    assert n_false / n_flagged <= 0.10


def test_a_fleet_without_weak_technicians_is_rarely_flagged():
    rng = np.random.default_rng(33)
    n_flagged = 0
    for _ in range(60):
        hits, cases, _ = fleet(rng, rho=0.002)
        units = sh.shrink(hits, cases, np.full(40, 0.3), sh.fit_null(hits, cases, np.full(40, 0.3)))
        n_flagged += sh.select_by_local_fdr(units.probability_above(0.08), 0.10).sum()
    assert n_flagged <= 12  # of 2,400


def test_ranges_of_shrunken_shares_cover():
    rng = np.random.default_rng(34)
    held = []
    for _ in range(60):
        hits, cases, truth = fleet(rng, n_outliers=4)
        units = sh.shrink(hits, cases, np.full(40, 0.3), sh.fit_null(hits, cases, np.full(40, 0.3)))
        held.append((units.low <= truth) & (truth <= units.high))
    assert 0.90 <= np.mean(held) <= 0.98


@given(st.lists(st.integers(0, 60).flatmap(lambda n: st.tuples(st.just(n), st.integers(0, n))), max_size=30))
def test_shrunken_shares_are_in_order_and_lie_between_null_and_raw(units):
    cases = np.array([u[0] for u in units], dtype=float)
    hits = np.array([u[1] for u in units], dtype=float)
    expected = np.full(cases.size, 0.4)
    got = sh.shrink(hits, cases, expected, sh.fit_null(hits, cases, expected))
    assert (got.low <= got.value + 1e-9).all() and (got.value <= got.high + 1e-9).all()
    assert (got.low >= 0).all() and (got.high <= 1).all()
    seen = cases > 0
    between = (got.value - got.expected) * (got.raw - got.value)
    assert (between[seen] >= -1e-9).all()
    assert got.value[~seen] == pytest.approx(got.expected[~seen])
    above = [got.probability_above(m) for m in (0.0, 0.1, 0.3)]
    assert (np.diff(above, axis=0) <= 1e-12).all()


def test_extra_variance_draws_a_unit_back_to_the_null():
    null = sh.Null(0.0, 0.01, 0.1, 20, 20, True)
    sure, unsure = (sh.shrink([30.0], [50], [0.3], null, variance=[v]) for v in (0.0, 40.0))
    assert unsure.value[0] < sure.value[0]
    assert unsure.probability_above(0.08)[0] < sure.probability_above(0.08)[0]


def test_few_units_are_compared_with_case_mix_alone():
    null = sh.fit_null([9, 1], [10, 10], [0.3, 0.3])
    assert not null.is_fitted and null.shift == 0
    assert sh.fit_null([], [], []).n_units == 0


@pytest.mark.parametrize("hits", [np.zeros(8), np.full(8, 6.0), np.array([6.0] * 4 + [0.0] * 4)])
def test_fleets_at_the_ends_still_give_numbers(hits):
    cases, expected = np.full(8, 6.0), np.linspace(0, 1, 8)
    units = sh.shrink(hits, cases, expected, sh.fit_null(hits, cases, expected))
    for array in (units.value, units.low, units.high, units.probability_above(0.08)):
        assert np.isfinite(array).all() and (array >= 0).all() and (array <= 1).all()


def test_impossible_counts_are_named():
    with pytest.raises(ValueError, match="12 of 10"):
        sh.fit_null([12], [10], [0.3])
    with pytest.raises(ValueError, match="expected_rate"):
        sh.fit_null([2], [10], [1.3])
    with pytest.raises(ValueError, match="variance"):
        sh.fit_null([2], [10], [0.3], [-1])


def test_one_cut_of_the_probability_whatever_the_others_are():
    p = [0.99, 0.80, 0.79, 0.2, np.nan]
    assert sh.select_by_local_fdr(p, 0.10).tolist() == [True, True, False, False, False]
    assert sh.select_by_local_fdr(p, 0.05).tolist() == [True] + [False] * 4
    assert sh.select_by_local_fdr(p, 0.10, [False, True, True, True, True]).tolist() == [False, True] + [False] * 3
    assert sh.select_by_local_fdr([0.80], 0.10).all() and sh.select_by_local_fdr([], 0.1).size == 0
    assert sh.select_by_local_fdr([0.51, 0.49], 0.4).tolist() == [True, False]
    with pytest.raises(ValueError, match="limit: got 1"):
        sh.select_by_local_fdr(p, 1)


def test_one_cut_finds_most_for_its_false_flags():
    rng = np.random.default_rng(38)
    p = rng.beta(0.2, 0.9, (4000, 25))
    is_over = rng.random(p.shape) < p
    flagged = sh.select_by_local_fdr(p, 0.10).reshape(p.shape)
    # Against it: the mean chance of those flagged is held within the limit, fleet by fleet.
    order = np.sort(1 - p, axis=1)
    mean = np.cumsum(order, axis=1) / np.arange(1, 26)
    n_flagged = (mean <= 0.10).sum(axis=1)
    by_mean = 1 - p <= np.take_along_axis(order, np.maximum(n_flagged - 1, 0)[:, None], axis=1)
    by_mean &= (n_flagged > 0)[:, None]
    false, false_by_mean = ((a & ~is_over).sum() / a.sum() for a in (flagged, by_mean))
    cut = np.sort(p[by_mean])[0]
    assert false <= 0.10 and false_by_mean <= 0.10 and cut < 0.8
    # One cut that flags as many flags fewer falsely.
    as_many = p >= np.quantile(p, 1 - by_mean.mean())
    assert (as_many & ~is_over).sum() < (by_mean & ~is_over).sum()


@given(st.lists(st.floats(0, 1), max_size=20))
def test_benjamini_hochberg_rejects_the_smallest_and_never_more_at_a_stricter_rate(p):
    loose, strict = sh.benjamini_hochberg(p, 0.2), sh.benjamini_hochberg(p, 0.05)
    assert (strict <= loose).all()
    if loose.any() and not loose.all():
        assert np.array(p)[loose].max() <= np.array(p)[~loose].min()


def test_funnel_narrows_with_cases_and_holds_the_null():
    null = sh.Null(0.2, 0.01, 0.1, 20, 20, True)
    low, high = sh.funnel_limits([10, 100, 1000], 0.3, null)
    assert (np.diff(high - low) < 0).all()
    rng = np.random.default_rng(35)
    mean, kappa = float(null.mean(0.3)), 99
    share = rng.binomial(100, rng.beta(mean * kappa, (1 - mean) * kappa, 4000)) / 100
    assert 0.93 <= ((share >= low[1]) & (share <= high[1])).mean() <= 0.97


def test_smallest_excess_falls_with_cases_and_is_then_really_seen():
    null = sh.Null(0.0, 0.005, 0.1, 40, 38, True)
    excess = sh.smallest_detectable_excess([1, 20, 100, 400], 0.3, null)
    assert np.isnan(excess[0])
    assert (np.diff(excess[1:]) < 0).all() and excess[3] > 0.08
    rng = np.random.default_rng(36)
    hits = rng.binomial(100, 0.3 + excess[2], 2000)
    seen = sh.shrink(hits, np.full(2000, 100), np.full(2000, 0.3), null).probability_above(0.08) >= 0.8
    assert 0.77 <= seen.mean() <= 0.88


def test_exact_limits_hold_the_tail_they_promise():
    from scipy import stats

    rng = np.random.default_rng(37)
    n = rng.integers(1, 60, 60)
    counts = rng.binomial(n, 0.06)
    chart = p_chart(counts, n, kind="exact")
    upper, lower = np.round(chart.upper * n), np.round(chart.lower * n)
    tail = stats.norm.sf(3)
    assert (stats.binom.sf(upper, n, chart.centre) <= tail).all()
    assert (stats.binom.sf(upper - 1, n, chart.centre) > tail).all()
    assert (stats.binom.cdf(lower - 1, n, chart.centre) < tail).all()


def test_limit_kind_follows_the_expected_count():
    chart = p_chart([2] * 10 + [20] * 10, [20] * 10 + [200] * 10)
    assert chart.limit_kind.tolist() == ["exact"] * 10 + ["laney"] * 10


def test_baseline_is_frozen_and_a_change_signals():
    counts = np.array([10, 12, 9, 11, 10, 8, 12, 10, 11, 9] + [30] * 3)
    chart = p_chart(counts, np.full(13, 50), baseline=np.arange(10))
    assert chart.centre == pytest.approx(counts[:10].sum() / 500) and chart.n_baseline == 10
    assert chart.is_signal.tolist() == [False] * 10 + [True] * 3
    longer = p_chart(np.append(counts, 50), np.full(14, 50), baseline=slice(0, 10))
    assert longer.upper[0] == chart.upper[0]


def test_immature_points_never_signal_nor_count():
    counts = np.array([10] * 10 + [45])
    young = np.arange(11) == 10
    assert p_chart(counts, np.full(11, 50), baseline=slice(0, 10)).is_signal[10]
    chart = p_chart(counts, np.full(11, 50), is_immature=young)
    assert not chart.is_signal.any() and chart.centre == pytest.approx(0.2) and chart.n_baseline == 10


def test_gaps_and_short_baselines():
    chart = p_chart([2, 0, 3, 2, 2, 1, 2, 3, 2], [10, 0, 10, 10, 10, 10, 10, 10, 10])
    assert np.isnan(chart.share[1]) and np.isnan(chart.upper[1]) and not chart.is_signal[1]
    short = p_chart([2, 9], [10, 10])
    assert not short.is_drawn and "8" in short.reason and not short.is_signal.any() and np.isnan(short.upper).all()
    flat = p_chart([0] * 8 + [3], [10] * 9, baseline=slice(0, 8))
    assert flat.centre == 0 and flat.is_signal.tolist() == [False] * 8 + [True]
    with pytest.raises(ValueError, match="point 1"):
        p_chart([1, 11], [10, 10])
    with pytest.raises(ValueError, match="kind"):
        p_chart([1], [10], kind="other")


def test_false_signals_are_rare_even_when_weeks_vary_more_than_chance():
    rng = np.random.default_rng(38)
    n_signals = {"auto": 0, "normal": 0}
    for _ in range(60):
        share = rng.beta(0.25 * 40, 0.75 * 40, 60)
        counts = rng.binomial(80, share)
        for kind in n_signals:
            n_signals[kind] += p_chart(counts, np.full(60, 80), baseline=slice(0, 40), kind=kind).is_signal.sum()
    assert n_signals["auto"] / 3600 < 0.012
    assert n_signals["normal"] / 3600 > 0.05
