"""Proportions, double sampling, merging of strata."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models.methods import double_sampling as ds
from models.methods.numeral import canonical
from models.methods.proportion import proportion_estimate, wilson_interval


@given(st.integers(1, 5000), st.data())
def test_wilson_holds_the_share_and_stays_within_bounds(trials, data):
    successes = data.draw(st.integers(0, trials))
    low, high = wilson_interval(successes, trials)
    assert 0 <= low <= successes / trials <= high <= 1
    assert low < high
    mirrored = wilson_interval(trials - successes, trials)
    assert (1 - high, 1 - low) == pytest.approx((float(mirrored[0]), float(mirrored[1])), abs=1e-12)


def test_wilson_narrows_with_cases_and_widens_with_level():
    low, high = wilson_interval([1, 10, 100], [4, 40, 400])
    assert (np.diff(high - low) < 0).all()
    assert wilson_interval(3, 10, 0.99)[1] > wilson_interval(3, 10, 0.9)[1]


@pytest.mark.parametrize(
    ("x", "n", "said"), [(5, 3, "5 of 3"), (-1, 3, "-1 of 3"), (0, 0, "trials"), (np.nan, 3, "nan")]
)
def test_wilson_says_what_is_wrong(x, n, said):
    with pytest.raises(ValueError, match=said):
        wilson_interval(x, n)


def test_no_trials_is_unknown_in_words():
    nothing = proportion_estimate(0, 0, population=12)
    assert not nothing.is_known and nothing.low is None and nothing.coverage == 0 and nothing.sentence
    some = proportion_estimate(3, 4, population=16)
    assert some.value == 0.75 and some.n == 4 and some.coverage == 0.25 and "3 of 4" in some.sentence


strata = st.lists(
    st.integers(1, 60).flatmap(lambda n: st.tuples(st.just(n), st.integers(0, n), st.integers(0, 400))),
    min_size=1,
    max_size=6,
)


@given(strata)
def test_post_stratified_rate_lies_within_its_range_and_within_the_bounds(cells):
    tested, good, untested = (np.array(column) for column in zip(*cells, strict=True))
    estimate = ds.post_stratified_rate(tested + untested, tested, good, minimum_testing_rate=0)
    low, high = ds.bounds(int(good.sum()), int((tested - good).sum()), int(untested.sum()))
    assert 0 <= estimate.low <= estimate.value <= estimate.high <= 1
    assert estimate.low < estimate.high
    assert low - 1e-9 <= estimate.value <= high + 1e-9


def test_one_stratum_is_the_plain_share():
    assert ds.post_stratified_rate([100], [40], [10]).value == 0.25


def test_a_stratum_without_spread_still_adds_variance():
    # Raw p (1 - p) / n would be 0 for the second stratum, and the range as narrow as if it were known.
    mixed = ds.standard_error([100, 900], [50, 20], [25, 20])
    alone = 0.1 * np.sqrt(0.25 / 50)
    between = np.sqrt((0.1 * (0.5 - 0.95) ** 2 + 0.9 * 0.05**2) / 1000)
    assert mixed > np.hypot(alone, between) * 1.5


def test_ranges_over_many_thin_strata_hold_the_truth_as_often_as_they_say():
    # Thirty strata of 5 to 9 tests, most of them all good: as a company's are after thin ones were pooled.
    rng, held, widths = np.random.default_rng(20), [], []
    truth = np.clip(rng.beta(4, 0.8, 30), 0.02, 0.995)
    tested = rng.integers(5, 10, 30)
    for _ in range(1500):
        size = np.maximum(rng.multinomial(600, np.full(30, 1 / 30)), tested)
        estimate = ds.post_stratified_rate(size, tested, rng.binomial(tested, truth))
        held.append(estimate.low <= truth.mean() <= estimate.high)
        widths.append(estimate.high - estimate.low)
    assert 0.935 <= np.mean(held) <= 0.965
    assert np.mean(widths) < 0.12


def test_all_faulty_gives_zero_with_an_upper_limit():
    estimate = ds.post_stratified_rate([100, 100], [20, 20], [0, 0])
    assert (estimate.value, estimate.low) == (0.0, 0.0)
    assert estimate.high == pytest.approx(float(wilson_interval(0, 40)[1]))


def test_thin_testing_is_refused_with_the_reason():
    refused = ds.post_stratified_rate([1000, 100], [19, 50], [5, 20])
    assert not refused.is_known and "1.9%" in canonical(refused.sentence) and refused.n == 69
    assert ds.post_stratified_rate([1000, 100], [20, 50], [5, 20]).is_known
    assert not ds.post_stratified_rate([50], [0], [0]).is_known
    assert not ds.post_stratified_rate([0], [0], [0]).is_known
    with pytest.raises(ValueError, match="successes <= trials"):
        ds.post_stratified_rate([10], [11], [2])


def test_horvitz_thompson_with_equal_chances_is_the_plain_share():
    good = np.array([True] * 3 + [False] * 9)
    estimate = ds.horvitz_thompson_rate(good, np.full(12, 0.3), population=40)
    assert estimate.value == pytest.approx(0.25) and estimate.coverage == 0.3
    weighted = ds.horvitz_thompson_rate([True, False], [0.1, 0.3])
    assert weighted.value == pytest.approx(10 / (10 + 10 / 3))
    assert not ds.horvitz_thompson_rate([True], [0.01]).is_known
    assert not ds.horvitz_thompson_rate([], []).is_known
    with pytest.raises(ValueError, match="probability"):
        ds.horvitz_thompson_rate([True], [0.0])


@given(strata)
def test_odds_tilt_rises_and_passes_through_the_estimate(cells):
    tested, good, untested = (np.array(column) for column in zip(*cells, strict=True))
    size = tested + untested
    rates = ds.odds_tilt(size, tested, good, [1e-9, 0.5, 1.0, 2.0, 1e9])
    assert (np.diff(rates) >= -1e-12).all()
    assert rates[2] == pytest.approx(ds.post_stratified_rate(size, tested, good, minimum_testing_rate=0).value)


def test_extreme_tilts_reach_the_bounds():
    rates = ds.odds_tilt([100, 50], [10, 10], [3, 7], [1e-12, 1e12])
    assert rates == pytest.approx(ds.bounds(10, 10, 130), abs=1e-9)


def test_post_stratified_interval_covers():
    rng = np.random.default_rng(3)
    weight, truth, chance = np.array([0.5, 0.3, 0.2]), np.array([0.1, 0.4, 0.8]), np.array([0.1, 0.3, 0.05])
    covered = 0
    for _ in range(1500):
        size = rng.multinomial(600, weight)
        tested = np.maximum(rng.binomial(size, chance), 1)
        estimate = ds.post_stratified_rate(size, tested, rng.binomial(tested, truth), minimum_testing_rate=0)
        covered += estimate.low <= weight @ truth <= estimate.high
    assert 0.93 <= covered / 1500 <= 0.98


def test_selective_testing_misleads_the_plain_share_and_not_this_one():
    rng = np.random.default_rng(4)
    size = np.array([600, 400])
    plain, adjusted, weighted = [], [], []
    for _ in range(300):
        tested = rng.binomial(size, [0.05, 0.5])
        good = rng.binomial(tested, [0.6, 0.1])
        plain.append(good.sum() / tested.sum())
        adjusted.append(ds.post_stratified_rate(size, tested, good, minimum_testing_rate=0).value)
        is_good = np.concatenate([np.arange(t) < g for t, g in zip(tested, good, strict=True)])
        weighted.append(ds.horvitz_thompson_rate(is_good, np.repeat([0.05, 0.5], tested)).value)
    assert np.mean(plain) < 0.2
    assert np.mean(adjusted) == pytest.approx(0.4, abs=0.01)
    assert np.mean(weighted) == pytest.approx(0.4, abs=0.02)


def test_thin_cells_are_pooled_by_the_stated_rule():
    coarse, fine = list("aaaabbbc"), list("xyzzxyzx")
    labels = ds.merge_thin_strata([coarse, fine], [9, 2, 1, 1, 3, 1, 0, 1], [10] * 8)
    # a/y and a/z have 4 between them, under 5: they join a/x. b has 4 and c 1: nothing stands there, so they pool.
    assert labels.tolist() == ["a / x + other"] * 4 + ["other"] * 4
    labels = ds.merge_thin_strata([coarse, fine], [9, 3, 1, 1, 8, 1, 0, 5], [10] * 8)
    assert labels.tolist() == ["a / x", "a / other", "a / other", "a / other"] + ["b / x + other"] * 3 + ["c / x"]
    assert set(ds.merge_thin_strata([coarse, fine], [0] * 8)) == {"all"}
    assert ds.merge_thin_strata([[], []], []).size == 0


@given(
    st.lists(st.tuples(st.sampled_from("ab"), st.sampled_from("xyz"), st.booleans()), min_size=1, max_size=80),
    st.integers(1, 10),
)
@settings(max_examples=60)
def test_merged_strata_are_thick_enough_and_ignore_the_order_of_rows(rows, minimum):
    coarse, fine, tested = (np.array(column) for column in zip(*rows, strict=True))
    labels = ds.merge_thin_strata([coarse, fine], tested, minimum_tested=minimum, minimum_rate=0.1)
    names, code = np.unique(labels.astype(str), return_inverse=True)
    if names.size > 1:
        n_tested, n_all = np.bincount(code, weights=tested), np.bincount(code)
        assert (n_tested >= minimum).all()
        assert (n_tested >= 0.1 * n_all - 1e-9).all() or any("other" in name for name in names)
    back = slice(None, None, -1)
    flipped = ds.merge_thin_strata([coarse[back], fine[back]], tested[back], minimum_tested=minimum, minimum_rate=0.1)
    assert flipped[back].tolist() == labels.tolist()
