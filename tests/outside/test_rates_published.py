"""Proportions and double sampling against published values. The source and its status stand beside each check."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from models.methods import double_sampling
from models.methods.proportion import wilson_interval


@pytest.mark.parametrize(
    ("successes", "trials", "low", "high"),
    # Newcombe (1998), Stat. Med. 17:857, table I, method 3 (score). Published; 81/263 from
    # memory, the rest from our list of checks, not read.
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)],
)
def test_wilson_gives_the_values_of_newcombe(successes, trials, low, high):
    got_low, got_high = wilson_interval(successes, trials)
    assert float(got_low) == pytest.approx(low, abs=5e-5)
    assert float(got_high) == pytest.approx(high, abs=5e-5)


def test_wilson_agrees_with_statsmodels():
    # statsmodels.stats.proportion.proportion_confint(method="wilson"). A library's output.
    from statsmodels.stats.proportion import proportion_confint

    trials = np.array([1, 2, 5, 17, 400, 12345])
    for share in (0.0, 0.2, 0.5, 1.0):
        successes = np.round(share * trials)
        for level in (0.8, 0.95, 0.99):
            expected = proportion_confint(successes, trials, alpha=1 - level, method="wilson")
            np.testing.assert_allclose(wilson_interval(successes, trials, level), expected, atol=1e-12)


@pytest.fixture
def hepatic():
    """The liver scan study by scan result: all cases, verified ones, verified with disease."""
    cases = pd.read_csv(Path(__file__).parent.parent / "data" / "hepatic_scan.csv")
    by_scan = cases.groupby("test", sort=False)
    return by_scan.size().to_numpy(), by_scan["verified"].sum().to_numpy(), by_scan["disease"].sum().to_numpy()


def test_the_counts_are_those_of_the_study(hepatic):
    # 231, 32, 27, 54 verified, 166 and 140 not: Drum and Christacopoulos (1972). Published and read.
    size, tested, good = hepatic
    assert sorted(size) == [27 + 54 + 140, 231 + 32 + 166]
    assert sorted(good) == [27, 231] and sorted(tested - good) == [32, 54]


def test_post_stratified_rate_is_that_of_begg_and_greenes(hepatic):
    # Begg and Greenes (1983), Biometrics 39:207, on the data of Drum and Christacopoulos (1972), J. Nucl. Med. 13:908.
    # Data: published and read (tests/data). Corrected prevalence, standard error and bounds: from our list
    # of checks, paper not read.
    size, tested, good = hepatic
    assert good.sum() / tested.sum() == pytest.approx(0.75, abs=5e-5)
    estimate = double_sampling.post_stratified_rate(size, tested, good)
    assert estimate.value == pytest.approx(0.69303, abs=5e-6)
    assert double_sampling.standard_error(size, tested, good) == pytest.approx(0.02443, abs=5e-6)
    faulty = int(tested.sum() - good.sum())
    low, high = double_sampling.bounds(int(good.sum()), faulty, int(size.sum() - tested.sum()))
    assert (low, high) == pytest.approx((0.3969, 0.8677), abs=5e-5)
    assert estimate.coverage == pytest.approx(344 / 650)


def test_the_logit_interval_rests_on_that_standard_error(hepatic):
    # Arithmetic of the delta method, worked here by hand from the two published numbers.
    estimate = double_sampling.post_stratified_rate(*hepatic)
    p, half = 0.69303, 1.959964 * 0.02443 / (0.69303 * 0.30697)
    logit = np.log(p / (1 - p))
    expected = [1 / (1 + np.exp(-(logit + s * half))) for s in (-1, 1)]
    assert [estimate.low, estimate.high] == pytest.approx(expected, abs=2e-5)
