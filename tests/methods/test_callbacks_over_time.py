"""Incidence at windows, the site jackknife, repeats."""

import time

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models.methods import site_jackknife as sj
from models.methods import survival
from models.methods.mean_cumulative import mean_cumulative, mean_cumulative_at

WINDOWS = [7, 14, 30, 60, 90]


def follow_up(rng, n_sites, per_site=4, spread=0.0, rate=0.01):
    """Swaps at sites whose own callback rate varies by `spread` on the log; censored at 20 to 200 days."""
    site = np.repeat(np.arange(n_sites), per_site)
    hazard = rate * np.exp(spread * rng.standard_normal(n_sites))[site]
    days, end = np.ceil(rng.exponential(1 / hazard)), rng.integers(20, 200, site.size)
    return np.minimum(days, end), days <= end, site


def brute_force(days, event, group, site, window):
    """Shares of the two groups at the window, all together and with each site left out, by refitting each time."""

    def share(keep):
        return float(survival.kaplan_meier_at(days[keep], event[keep], [window])[0])

    full = np.array([share(group), share(~group)])
    left = np.array([[share(group & (site != s)), share(~group & (site != s))] for s in np.unique(site)])
    return full, left


def test_without_censoring_incidence_is_the_plain_share():
    days = np.array([3.0, 7, 7, 8, 100])
    got = survival.kaplan_meier_at(days, [True, True, True, True, False], [0, 6, 7, 7.5, 100])
    assert got == pytest.approx([0, 0.2, 0.6, 0.6, 0.8])


def test_beyond_all_follow_up_nothing_is_known():
    assert np.isnan(survival.kaplan_meier_at([5, 9], [True, False], [10])[0])
    assert survival.kaplan_meier_at([5, 9], [True, True], [10])[0] == 1
    assert np.isnan(survival.kaplan_meier_at([], [], [10])[0])


@given(st.lists(st.tuples(st.integers(0, 40), st.booleans()), min_size=1, max_size=60))
def test_incidence_rises_and_stays_within_bounds(subjects):
    days, event = zip(*subjects, strict=True)
    shares = survival.kaplan_meier_at(days, event, np.arange(0, max(days) + 1))
    assert (np.diff(shares) >= -1e-12).all() and shares.min() >= 0 and shares.max() <= 1


@pytest.mark.parametrize("bad", [-1.0, np.nan, np.inf])
def test_impossible_durations_are_named(bad):
    with pytest.raises(ValueError, match="position 1"):
        survival.kaplan_meier_at([3.0, bad], [True, False], [7])


def test_large_data_are_quick():
    rng = np.random.default_rng(0)
    days = rng.integers(0, 400, 300_000)
    began = time.perf_counter()
    survival.kaplan_meier_at(days, rng.random(300_000) < 0.2, WINDOWS)
    assert time.perf_counter() - began < 2


def test_jackknife_is_exactly_leaving_each_site_out():
    from scipy import stats

    rng = np.random.default_rng(5)
    days, event, site = follow_up(rng, 40)
    group = rng.random(site.size) < 0.5
    for window, row in zip(WINDOWS, survival.site_jackknife(days, event, group, site, WINDOWS), strict=True):
        full, left = brute_force(days, event, group, site, window)
        m = len(left)
        assert (row.with_cause.value, row.without_cause.value) == pytest.approx(tuple(full))
        half = stats.t.ppf(0.975, m - 1)
        for column, estimate in enumerate((row.with_cause, row.without_cause)):
            # A group's share rests on its own sites only.
            own = left[np.isin(np.unique(site), site[group if column == 0 else ~group]), column]
            theta = np.log(own / (1 - own))
            error = np.sqrt((own.size - 1) / own.size * ((theta - theta.mean()) ** 2).sum())
            reach = stats.t.ppf(0.975, own.size - 1) * error
            logit = np.log(full[column] / (1 - full[column]))
            expected = [1 / (1 + np.exp(-(logit + s * reach))) for s in (-1, 1)]
            assert [estimate.low, estimate.high] == pytest.approx(expected, rel=1e-9)
        gap = left[:, 1] - left[:, 0]
        error = np.sqrt((m - 1) / m * ((gap - gap.mean()) ** 2).sum())
        assert row.difference.value == pytest.approx(full[1] - full[0])
        assert row.difference.high == pytest.approx(full[1] - full[0] + half * error, rel=1e-9)
        log_ratio = np.log(left[:, 1] / left[:, 0])
        error = np.sqrt((m - 1) / m * ((log_ratio - log_ratio.mean()) ** 2).sum())
        assert row.ratio.low == pytest.approx(full[1] / full[0] * np.exp(-half * error), rel=1e-9)


def test_working_in_pieces_changes_nothing(monkeypatch):
    rng = np.random.default_rng(6)
    days, event, site = follow_up(rng, 30)
    group = rng.random(site.size) < 0.3
    whole = sj.site_jackknife(days, event, group, site, WINDOWS)
    monkeypatch.setattr(sj, "CHUNK_SITES", 7)
    assert sj.site_jackknife(days, event, group, site, WINDOWS) == whole


def test_many_distinct_times_are_rounded_up_and_stay_close():
    rng = np.random.default_rng(7)
    days, site = rng.exponential(60, 3000), rng.integers(0, 900, 3000)
    event = rng.random(3000) < 0.7
    rough = sj.jackknife_incidence(days, event, site, WINDOWS)
    exact = survival.kaplan_meier_at(days, event, WINDOWS)
    assert [e.value for e in rough] == pytest.approx(exact, abs=0.004)
    days = np.ceil(days)
    assert sj.jackknife_incidence(days, event, site, WINDOWS)[2].value == pytest.approx(rough[2].value, abs=1e-12)


def test_no_events_gives_an_upper_limit_and_words():
    site = np.arange(50)
    days = np.where(site < 40, 100.0, 10.0)
    row = sj.site_jackknife(days, np.zeros(50, bool), site % 2 == 0, site, [30])[0]
    assert row.with_cause.value == 0 and row.with_cause.low == 0
    assert row.with_cause.high == pytest.approx(1 - 0.05 ** (1 / 20))
    assert row.with_cause.coverage == pytest.approx(0.8)
    assert row.difference.value == 0
    assert row.difference.low == pytest.approx(-row.with_cause.high)
    assert not row.ratio.is_known and row.ratio.sentence


def test_one_site_or_no_follow_up_is_unknown_in_words():
    days, event = np.array([5.0, 40, 40]), np.array([True, False, False])
    row = sj.site_jackknife(days, event, [True, True, False], ["s", "s", "s"], [30, 60])
    assert not row[0].with_cause.is_known and "one site" in row[0].with_cause.sentence
    assert not row[1].with_cause.is_known and "60 days" in row[1].with_cause.sentence
    assert not row[0].difference.is_known and row[0].difference.sentence
    empty = sj.site_jackknife([], [], [], [], [30])[0]
    assert not empty.with_cause.is_known and empty.with_cause.sentence


def test_events_at_a_single_site_do_not_break_the_range():
    site = np.repeat(np.arange(25), 2)
    days = np.full(50, 90.0)
    event = np.zeros(50, bool)
    event[:2], days[:2] = True, 12
    share = sj.jackknife_incidence(days, event, site, [30])[0]
    assert share.value == pytest.approx(0.04)
    # One site of 25: Clopper-Pearson.
    assert (share.low, share.high) == pytest.approx((0.00101, 0.20352), abs=1e-5)


@given(st.lists(st.tuples(st.integers(0, 60), st.booleans(), st.booleans(), st.integers(0, 6)), max_size=40))
@settings(max_examples=150, deadline=None)
def test_nothing_but_numbers_in_order_or_words_comes_out(rows):
    columns = [np.array(c) for c in zip(*rows, strict=True)] if rows else [np.empty(0)] * 4
    days, event, group, site = columns
    for row in sj.site_jackknife(days, event.astype(bool), group.astype(bool), site, [7, 30]):
        for estimate in (row.with_cause, row.without_cause, row.difference, row.ratio):
            assert estimate.sentence
            if estimate.is_known:
                assert estimate.low - 1e-9 <= estimate.value <= estimate.high + 1e-9
            else:
                assert estimate.low is None and estimate.high is None


def test_jackknife_covers_when_swaps_of_a_site_are_alike():
    # True share by simulation of the same model. Sites differ strongly: intervals for independent swaps are too short.
    rng = np.random.default_rng(8)
    big = follow_up(rng, 60_000, per_site=6, spread=1.2)
    truth = survival.kaplan_meier_at(big[0], big[1], [30])[0]
    covered, greenwood = 0, 0
    for _ in range(400):
        days, event, site = follow_up(rng, 80, per_site=6, spread=1.2)
        share = sj.jackknife_incidence(days, event, site, [30])[0]
        covered += share.low <= truth <= share.high
        at, value, error = survival.kaplan_meier_curve(days, event)
        k = np.searchsorted(at, 30, side="right") - 1
        greenwood += abs(value[k] - truth) <= 1.96 * error[k]
    assert 0.925 <= covered / 400 <= 0.98
    assert greenwood / 400 < 0.9


def test_two_hundred_thousand_swaps_take_seconds():
    rng = np.random.default_rng(9)
    n = 200_000
    site = rng.permutation(np.concatenate([np.arange(150_000), rng.integers(0, 150_000, 50_000)]))
    days = np.minimum(np.ceil(rng.exponential(400, n)), 300)
    began = time.perf_counter()
    rows = sj.site_jackknife(days, days < rng.integers(1, 400, n), rng.random(n) < 0.4, site, WINDOWS)
    assert time.perf_counter() - began < 10
    assert all(r.difference.is_known for r in rows)


def test_logrank_needs_two_groups_and_an_event():
    assert np.isnan(survival.logrank([1, 2], [True, True], [True, True])[0])
    assert np.isnan(survival.logrank([1, 2], [False, False], [True, False])[1])


def test_mean_cumulative_counts_repeats():
    # Subject 0 has events at 5 and 20, subject 1 one at 5; subject 2 leaves at 10.
    curve = mean_cumulative([0, 0, 1], [5, 20, 5], [30, 30, 10])
    assert curve.time.tolist() == [5, 20]
    assert curve.value == pytest.approx([2 / 3, 2 / 3 + 1 / 2])
    # By the formula: (1/3 - 2/9) twice and (0 - 2/9) at day 5.
    assert curve.standard_error[0] == pytest.approx(np.sqrt(2 * (1 / 9) ** 2 + (2 / 9) ** 2))
    nothing, unseen = mean_cumulative_at([], [], [40, 50], [30, 60])
    assert nothing.value == 0 and nothing.high == pytest.approx(-np.log(0.05) / 2)
    assert not unseen.is_known and unseen.sentence
    with pytest.raises(ValueError, match="follow-up"):
        mean_cumulative([0], [50], [30])


def test_mean_cumulative_without_censoring_is_the_mean_and_its_robust_error():
    rng = np.random.default_rng(10)
    who = rng.integers(0, 200, 500)
    estimate = mean_cumulative_at(who, rng.uniform(0, 30, 500), np.full(200, 30.0), [30])[0]
    counts = np.bincount(who, minlength=200)
    assert estimate.value == pytest.approx(counts.mean())
    error = counts.std() / np.sqrt(200)
    assert estimate.high == pytest.approx(counts.mean() * np.exp(1.959964 * error / counts.mean()), rel=1e-6)
