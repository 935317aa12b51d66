"""Coaching against uncoached units: a true effect is found, luck alone is not, and too little is told in words."""

from __future__ import annotations

import numpy as np
import pytest

from models.methods.matched_before_after import matched_before_after

MONTHS = 36


def made(rng, effect: float = 1.0, n_units: int = 60, n_coached: int = 15, drift: float = 1.0, is_worst: bool = False):
    """Units with 4 cases a month, true rates spread around .35; `effect` multiplies the rate of the coached after."""
    cases = np.full((n_units, MONTHS), 4)
    rate = np.clip(rng.normal(0.35, 0.08, n_units), 0.1, 0.7)[:, None] * drift ** (np.arange(MONTHS) / 12)
    hits = rng.binomial(cases, rate)
    started = np.full(n_units, -1)
    order = np.argsort(-hits[:, :18].sum(axis=1), kind="stable") if is_worst else np.arange(n_units)
    started[order[:n_coached]] = 18
    late = started[:, None] < np.arange(MONTHS)
    changed = np.where(late & (started >= 0)[:, None], rng.binomial(cases, rate * effect), hits)
    return changed, cases, np.full((n_units, MONTHS), 1.4), started


def test_a_true_effect_is_found_and_the_range_holds_it():
    held, found = [], []
    for seed in range(40):
        result = matched_before_after(*made(np.random.default_rng(seed), effect=0.7, is_worst=True))
        held.append(result.ratio.low <= 0.7 <= result.ratio.high)
        found.append(result.difference.high < 0)
    assert np.mean(held) >= 0.85
    assert np.mean(found) >= 0.95


def test_choosing_the_worst_is_no_success():
    rng = np.random.default_rng(50)
    results = [matched_before_after(*made(rng, is_worst=True)) for _ in range(60)]
    plain = [r.plain_difference for r in results]
    gaps = [r.difference.value for r in results]
    # The naive comparison sees an improvement that is not there.
    assert np.mean(plain) < -0.03
    assert abs(np.mean(gaps)) <= 2.6 * np.std(gaps, ddof=1) / np.sqrt(len(gaps)) + 0.002
    assert sum(r.difference.low > 0 or r.difference.high < 0 for r in results) <= 9


def test_what_everybody_did_is_not_credited_to_coaching():
    rng = np.random.default_rng(51)
    results = [matched_before_after(*made(rng, drift=0.75)) for _ in range(30)]
    assert np.mean([r.plain_difference for r in results]) < -0.06
    assert abs(np.mean([r.difference.value for r in results])) < 0.012


def test_units_that_vary_beyond_chance_widen_the_range():
    rng = np.random.default_rng(52)
    hits, cases, expected, started = made(rng)
    steady = matched_before_after(hits, cases, expected, started)
    wave = np.repeat(rng.choice([0.3, 1.7], size=(len(hits), 3)), 12, axis=1)
    wild = matched_before_after(rng.binomial(cases, np.clip(0.35 * wave, 0, 1)), cases, expected, started)
    width = [r.difference.high - r.difference.low for r in (steady, wild)]
    assert width[1] > 1.5 * width[0]


@pytest.mark.parametrize(("n_units", "n_coached", "word"), [(60, 2, "2 coached"), (10, 5, "5 not coached")])
def test_too_few_are_told(n_units, n_coached, word):
    result = matched_before_after(*made(np.random.default_rng(1), n_units=n_units, n_coached=n_coached))
    assert not result.difference.is_known and word in result.difference.sentence
    assert np.isnan(result.unit_expected).all()


def test_no_hit_after_gives_a_range_not_nan():
    hits, cases, expected, started = made(np.random.default_rng(2))
    hits[started >= 0, 19:] = 0
    result = matched_before_after(hits, cases, expected, started)
    assert result.ratio.value == 0 and result.ratio.low == 0 and 0 < result.ratio.high < 1
    assert result.difference.high < 0


def test_no_hit_at_all_is_told():
    hits, cases, expected, started = made(np.random.default_rng(2))
    result = matched_before_after(0 * hits, cases, expected, started)
    assert not result.ratio.is_known and result.difference.value == 0


def test_impossible_counts_are_named():
    hits, cases, expected, started = made(np.random.default_rng(3))
    with pytest.raises(ValueError, match="at most the cases"):
        matched_before_after(cases + 1, cases, expected, started)
    with pytest.raises(ValueError, match="shapes"):
        matched_before_after(hits, cases, expected, started[:-1])
