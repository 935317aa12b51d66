"""Trials on arrays with known truth: no files, so that many thousand are cheap. Each returns rows of the evidence table."""

from __future__ import annotations

from typing import Any

import numpy as np
from bars import Row, is_covered, points_row, row, share_row

from models.methods.conformity import conformity_probability
from models.methods.control_chart import p_chart
from models.methods.double_sampling import bounds
from models.methods.matched_before_after import matched_before_after
from models.methods.site_jackknife import site_jackknife


def coaching_without_effect(rng: np.random.Generator, n_trials: int) -> dict[str, np.ndarray]:
    """Fleets in which coaching does nothing and the worst fifth is chosen by what was seen before.

    40 technicians, 36 months, about 2.5 cases a month each; true rates vary (logit sd .35), like cases change, and
    everybody drifts by the same random amount a year. Half of the trials coach everybody chosen at month 18, the other
    half in two waves (months 14 and 22, each the worst tenth of what was seen by then).
    Returns error (estimated difference; the truth is 0), is_significant, plain (the naive difference); shape (n_trials,).
    """
    found = {
        "error": np.full(n_trials, np.nan),
        "is_significant": np.zeros(n_trials),
        "plain": np.full(n_trials, np.nan),
    }
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


def coached_fleet(
    rng: np.random.Generator, n_units: int = 40, n_months: int = 36, is_beta: bool = True
) -> tuple[np.ndarray, ...]:
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


# Typical weekly cases, share, and overdispersion (correlation within a week) of the steady processes.
WEEKLY_CASES = (3, 8, 20, 60, 200)
SHARES = (0.05, 0.3, 0.6)
OVERDISPERSION = (0.0, 0.005, 0.02)
WEEKS, BASELINE_WEEKS = 156, 52


def steady_weeks(rng: np.random.Generator, n_trials: int) -> list[dict[str, Any]]:
    """Control charts over processes that do not change: signals per point after the frozen baseline.

    Weekly cases vary (negative binomial, around a typical number times the time of the year); the week's own share
    varies by a beta distribution. n_trials charts of 156 weeks for each combination.
    """
    season = 1 + 0.6 * np.cos(2 * np.pi * np.arange(WEEKS) / 52)
    out = []
    for typical in WEEKLY_CASES:
        for share in SHARES:
            for rho in OVERDISPERSION:
                n_signals = n_points = 0
                for _ in range(n_trials):
                    cases = rng.poisson(rng.gamma(8, typical * season / 8))
                    kappa = 1 / rho - 1 if rho else np.inf
                    rate = rng.beta(share * kappa, (1 - share) * kappa, WEEKS) if rho else np.full(WEEKS, share)
                    chart = p_chart(rng.binomial(cases, rate), cases, slice(0, BASELINE_WEEKS))
                    after = np.arange(WEEKS) >= BASELINE_WEEKS
                    n_signals += int(chart.is_signal[after].sum())
                    n_points += int((cases[after] > 0).sum())
                out.append({"cases": typical, "share": share, "rho": rho, "signals": n_signals, "points": n_points})
    return out


def tested_by_result(rng: np.random.Generator, n_trials: int) -> np.ndarray:
    """Whether the bounds hold the true share where testing depended on the result itself; bool, shape (n_trials,).

    Each fleet: 50 to 1,500 removed switches, true share of good ones .3 to .9, odds of testing a good one up to e^3
    times those of a faulty one (or the reverse). The bench reads with error and judges by conformity, as the records do.
    """
    held = np.zeros(n_trials, dtype=bool)
    for trial in range(n_trials):
        n = int(rng.integers(50, 1500))
        is_good = rng.random(n) < rng.uniform(0.3, 0.9)
        logit = rng.uniform(-2.5, 1.5) + rng.uniform(-3, 3) * (is_good - 0.5)
        tested = rng.random(n) < 1 / (1 + np.exp(-logit))
        # Make points in tolerances from the rated one; the standard uncertainty of the bench is a fifth of a tolerance.
        make = np.where(is_good, rng.uniform(-1, 1, n), rng.choice([-1, 1], n) * rng.uniform(1, 4, n))
        read = make + rng.normal(0, 0.2, n)
        chance = conformity_probability(read, 0.2, -1.0, 1.0)
        n_good, n_faulty = int((tested & (chance >= 0.95)).sum()), int((tested & (chance <= 0.05)).sum())
        low, high = bounds(n_good, n_faulty, n - n_good - n_faulty)
        held[trial] = low is not None and high is not None and low <= is_good.mean() <= high
    return held


def callbacks_at_few_sites(rng: np.random.Generator, n_trials: int) -> dict[str, np.ndarray]:
    """Companies of 20 to 60 sites whose swaps come back alike: errors and hits of 30-day callbacks.

    Sites have 4 swaps on average and a rate of their own (gamma, shape 3); times are exponential; follow-up ends with
    the data, so that the swaps of the last weeks are censored. Returns error and is_held of the share without a cause,
    is_held_with_cause, is_difference_held.
    """
    error, held, both = np.full(n_trials, np.nan), np.zeros(n_trials, bool), np.zeros(n_trials, bool)
    held_with = np.zeros(n_trials, bool)
    rates = {True: 0.0025, False: 0.011}
    # Mean over sites of 1 - exp(-30 rate g), g gamma with mean 1 and shape 3.
    truth = {cause: 1 - (1 + 30 * rate / 3) ** -3 for cause, rate in rates.items()}
    for trial in range(n_trials):
        n_sites = int(rng.integers(20, 61))
        site = np.repeat(np.arange(n_sites), rng.poisson(3, n_sites) + 1)
        has_cause = rng.random(site.size) < 0.45
        rate = np.where(has_cause, rates[True], rates[False]) * rng.gamma(3, 1 / 3, n_sites)[site]
        time, follow_up = rng.exponential(1 / rate), rng.uniform(0, 300, site.size)
        found = site_jackknife(np.minimum(time, follow_up), time <= follow_up, has_cause, site, [30])[0]
        one, gap = found.without_cause, found.difference
        if one.value is None or one.low is None or one.high is None or gap.low is None or gap.high is None:
            continue
        with_cause = found.with_cause
        held_with[trial] = with_cause.low is not None and with_cause.low <= truth[True] <= with_cause.high
        error[trial] = one.value - truth[False]
        held[trial] = one.low <= truth[False] <= one.high
        both[trial] = gap.low <= truth[False] - truth[True] <= gap.high
    return {"error": error, "is_held": held, "is_held_with_cause": held_with, "is_difference_held": both}


def rows(rng: np.random.Generator, n_trials: int) -> list[Row]:
    """The rows of the evidence table that rest on these trials."""
    few, charts = callbacks_at_few_sites(rng, 2 * n_trials), steady_weeks(rng, max(n_trials // 20, 1))
    out = [
        *(share_row(f"coverage_callbacks_few_sites{ending}",
                    f"Callbacks of companies with 20 to 60 sites, {which}: 95% range holds the truth", "93.5 to 96.5%",
                    few[key], is_covered(float(few[key].mean())), "trials")
          for ending, which, key in (("", "no root cause", "is_held"), ("_with_cause", "root cause recorded", "is_held_with_cause"))),
        share_row("coverage_difference_few_sites", "The difference of the two: 95% range holds the truth",
                   "93.5 to 96.5%", few["is_difference_held"], is_covered(float(few["is_difference_held"].mean())), "trials"),
        points_row("bias_callbacks_few_sites", "Bias of the share without a root cause, recent swaps censored", "under 0.5 point",
                    few["error"][np.isfinite(few["error"])], 0.005),
    ]  # fmt: skip
    out[-1]["n_of"] = "trials"
    held = tested_by_result(rng, n_trials)
    out.append(share_row("bounds_trials", "Bounds hold the true rate when testing depended on the result", "at least 99%", held,
                          held.mean() >= 0.99, "trials"))  # fmt: skip
    out.append(_chart_row(charts))
    coached = coaching_without_effect(rng, n_trials)
    plain = 100 * coached["plain"].mean()
    out.append(points_row("coaching_bias", "Coaching without effect, worst fifth chosen: bias", "at most 0.5 point", coached["error"],
                           0.005, f"A plain before-and-after shows {plain:+.1f} points in the same trials."))  # fmt: skip
    out[-1]["n_of"] = "trials"
    wrong = coached["is_significant"]
    out.append(share_row("coaching_type_1", "Coaching without effect: share of trials that see one (type I error)", "at most 5.5%",
                          wrong, wrong.mean() <= 0.055, "trials"))  # fmt: skip
    return out


def _chart_row(charts: list[dict[str, Any]]) -> Row:
    """All overdispersed processes together; the note names the worst and the plain ones."""

    def rate(some: list[dict[str, Any]]) -> float:
        return sum(c["signals"] for c in some) / max(sum(c["points"] for c in some), 1)

    wide = [c for c in charts if c["rho"] > 0]
    worst = max(wide, key=lambda c: c["signals"] / max(c["points"], 1))
    n, value = sum(c["points"] for c in wide), rate(wide)
    note = (
        f"Without overdispersion {rate([c for c in charts if not c['rho']]):.4f}. Highest of the {len(wide)} kinds: "
        f"{rate([worst]):.3f}, at about {worst['cases']} cases a week, a share of {worst['share']:.0%}."
    )
    error = np.sqrt(value * (1 - value) / max(n, 1))
    return row("control_signals", "Weekly chart of a steady process that varies beyond chance: signals per week",
               "at most 0.006", value, error, n, value <= 0.006, "weeks", "per point", note)  # fmt: skip
