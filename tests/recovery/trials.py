"""Trials on arrays with known truth: no files, so that many thousand are cheap. Each returns rows of the evidence table."""

from __future__ import annotations

from typing import Any

import numpy as np

from models.methods.matched_before_after import matched_before_after


def coaching_without_effect(rng: np.random.Generator, n_trials: int) -> dict[str, np.ndarray]:
    """Fleets in which coaching does nothing and the worst fifth is chosen by what was seen before.

    40 technicians, 36 months, about 2.5 cases a month each; true rates vary (logit sd .35), like cases change, and
    everybody drifts by the same random amount a year. Half of the trials coach everybody chosen at month 18, the other
    half in two waves (months 14 and 22, each the worst tenth of what was seen by then).
    Returns error (estimated difference; the truth is 0), is_significant, plain (the naive difference); shape (n_trials,).
    """
    found = {"error": np.full(n_trials, np.nan), "is_significant": np.zeros(n_trials), "plain": np.full(n_trials, np.nan)}
    for trial in range(n_trials):
        hits, cases, expected, _ = coached_fleet(rng, is_beta=trial % 4 < 2)
        waves = ((18, 8),) if trial % 2 else ((14, 4), (22, 4))
        started = chosen_worst(hits, expected, waves)
        effect = matched_before_after(hits, cases, expected, started)
        value, low, high = effect.difference.value, effect.difference.low, effect.difference.high
        assert value is not None and low is not None and high is not None
        found["error"][trial], found["plain"][trial] = value, effect.plain_difference
        found["is_significant"][trial] = low > 0 or high < 0
    return found


def coached_fleet(rng: np.random.Generator, n_units: int = 40, n_months: int = 36, is_beta: bool = True) -> tuple[np.ndarray, ...]:
    """hits, cases, expected (each n_units x n_months) and the true rates, without any effect of coaching."""
    cases = rng.poisson(rng.gamma(6, 2.5 / 6, n_units)[:, None], (n_units, n_months))
    mix = np.clip(0.32 + 0.05 * rng.standard_normal((n_units, n_months)), 0.05, 0.9)
    drift = np.exp(rng.normal(0, 0.15) * np.arange(n_months) / 12)
    if is_beta:
        level = rng.beta(12, 12 / 0.32 - 12, n_units) / 0.32
        rate = np.clip(mix * level[:, None] * drift, 0.001, 0.97)
    else:
        logit = np.log(mix / (1 - mix)) + rng.normal(0, 0.35, n_units)[:, None]
        rate = 1 / (1 + np.exp(-logit)) * drift
        rate = np.clip(rate, 0.001, 0.97)
    return rng.binomial(cases, rate), cases, cases * mix, rate


def chosen_worst(hits: np.ndarray, expected: np.ndarray, waves: tuple[tuple[int, int], ...]) -> np.ndarray:
    """Month of coaching, -1 = never: in each wave the given number with the most hits above expectation so far."""
    started = np.full(len(hits), -1)
    for month, number in waves:
        so_far, like = hits[:, :month].sum(axis=1), expected[:, :month].sum(axis=1)
        excess = np.where((started < 0) & (like > 0), so_far / np.maximum(like, 1e-9), -np.inf)
        started[np.argsort(-excess, kind="stable")[:number]] = month
    return started
