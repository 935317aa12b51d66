"""Proportions: the score interval, and a proportion as an estimate."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from models.methods.estimate import Estimate, unknown
from models.methods.numeral import numeral

METHOD = "Wilson score interval"


def wilson_interval(
    successes: ArrayLike, trials: ArrayLike, level: float = 0.95
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Score interval for a proportion, one per group.

    successes, trials: arrays of one shape (or scalars), 0 <= successes <= trials, trials > 0. They may be
    fractional (an effective number of trials).
    level: two-sided coverage in (0, 1).
    Returns low, high: float arrays of that shape, as proportions; exactly 0 or 1 at the ends.
    Raises ValueError naming the argument, the value and what is allowed.
    Assumes independent trials; swaps at one site are alike, so use the site jackknife for callbacks.
    Source: Wilson (1927), J. Am. Stat. Assoc. 22:209; values in Newcombe (1998), Stat. Med. 17:857.
    """
    x, n = np.broadcast_arrays(np.asarray(successes, dtype=float), np.asarray(trials, dtype=float))
    check_counts(x, n, is_zero_trials_allowed=False)
    check_level(level)
    z = special.ndtri((1 + level) / 2)
    centre = (x + z**2 / 2) / (n + z**2)
    half = z / (n + z**2) * np.sqrt(x * (n - x) / n + z**2 / 4)
    # At the ends the algebra gives exactly 0 and 1; the arithmetic only nearly.
    low = np.where(x == 0, 0.0, np.clip(centre - half, 0, 1))
    high = np.where(x == n, 1.0, np.clip(centre + half, 0, 1))
    return low, high


def proportion_estimate(
    successes: float,
    trials: float,
    population: float | None = None,
    method: str = METHOD,
    sentence: str = "",
    level: float = 0.95,
) -> Estimate:
    """A single proportion with its Wilson interval.

    successes, trials: counts, 0 <= successes <= trials.
    population: cases that could have told; coverage = trials / population (None: no coverage is given).
    sentence: plain words; a neutral one is made if it is blank.
    Returns an Estimate; with no trials it is unknown and says so.
    Raises ValueError as `wilson_interval` does.
    """
    coverage = None if not population else trials / population
    if trials == 0:
        return unknown("No cases to count yet.", coverage=0.0 if population else None, method=method)
    low, high = wilson_interval(successes, trials, level)
    value = successes / trials
    words = sentence or f"{numeral(successes)} of {numeral(trials)} ({value:.0%}; between {low:.0%} and {high:.0%})."
    return Estimate(value, float(low), float(high), int(trials), coverage, method, words, level)


def check_counts(x: NDArray, n: NDArray, is_zero_trials_allowed: bool = True) -> None:
    """Raise ValueError unless 0 <= x <= n (and n > 0 where zero trials are not allowed), all finite."""
    bad = ~(np.isfinite(x) & np.isfinite(n) & (x >= 0) & (x <= n))
    if bad.any():
        i = int(np.argmax(np.ravel(bad)))
        raise ValueError(
            f"successes and trials at position {i}: got {np.ravel(x)[i]:g} of {np.ravel(n)[i]:g}; "
            "must be finite with 0 <= successes <= trials. Check how the cases were counted."
        )
    if not is_zero_trials_allowed and (n <= 0).any():
        i = int(np.argmax(np.ravel(n) <= 0))
        raise ValueError(
            f"trials at position {i}: got {np.ravel(n)[i]:g}; must be above 0. Leave groups without cases out."
        )


def check_level(level: float) -> None:
    """Raise ValueError unless the two-sided coverage lies strictly between 0 and 1."""
    if not 0 < level < 1:
        raise ValueError(f"level: got {level!r}; must lie between 0 and 1, for example 0.95.")
