"""Did coaching work? Before and after, without the success that choosing the worst brings by itself."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from models.methods.estimate import Estimate, unknown
from models.methods.numeral import numeral
from models.methods.proportion import check_level

METHOD = "empirical-Bayes before/after"


@dataclass(frozen=True)
class BeforeAfter:
    """effect: after / what was to be expected without coaching (under 1 = fewer). expected_after, its standard_error:
    counts per unit, shape (n_units,)."""

    effect: Estimate
    expected_after: NDArray
    standard_error: NDArray


def empirical_bayes(
    observed: ArrayLike, expected: ArrayLike, overdispersion: ArrayLike, cases: ArrayLike | None = None
) -> tuple[NDArray, NDArray]:
    """Expected count of a unit, drawn from its own count towards that of units like it.

    observed: count over the whole period. expected: mu * Y, the count that like units had over the same period.
    overdispersion: phi, with variance = mean * (1 + mean / phi); infinity = Poisson. All shape (n_units,).
    cases: of how many cases the counts are, where each case counts once at most: chance alone then varies by
    mean * (1 - mean / cases), not by the mean, and w = 1 / (1 + expected / phi / (1 - expected / cases)).
    Returns estimate w * expected + (1 - w) * observed with w = 1 / (1 + expected / phi), and its standard deviation
    sqrt((1 - w) * estimate), times sqrt(1 - estimate / cases) with cases.
    Source: Hauer, Harwood, Council and Griffith (2002), Transp. Res. Rec. 1784:126.
    """
    x, mean, phi = (np.asarray(a, dtype=float) for a in (observed, expected, overdispersion))
    for name, array in (("observed", x), ("expected", mean)):
        if (~(array >= 0)).any():
            raise ValueError(f"{name}: got {array[~(array >= 0)].flat[0]:g}; must be 0 or more.")
    if (~(phi > 0)).any():
        raise ValueError(f"overdispersion: got {phi[~(phi > 0)].flat[0]:g}; must be above 0.")
    weight = 1 / (1 + mean / phi / _thinning(mean, cases))
    estimate = weight * mean + (1 - weight) * x
    return estimate, np.sqrt((1 - weight) * estimate * _thinning(estimate, cases))


def fit_overdispersion(observed: ArrayLike, expected: ArrayLike, cases: ArrayLike | None = None) -> float:
    """phi by moments from uncoached units: sum mu^2 / sum((x - mu)^2 - chance), chance = mu, or mu * (1 - mu / cases).

    Infinity if they vary no more than chance. Arguments as for `empirical_bayes`.
    """
    x, mean = np.asarray(observed, dtype=float), np.asarray(expected, dtype=float)
    excess = float(((x - mean) ** 2 - mean * _thinning(mean, cases)).sum())
    return float((mean**2).sum() / excess) if excess > 0 else float("inf")


def _thinning(mean: NDArray, cases: ArrayLike | None) -> NDArray:
    """Variance of a count as a multiple of its mean: 1 for events, 1 - mean / cases where a case counts once at most."""
    if cases is None:
        return np.ones(np.shape(mean))
    n = np.asarray(cases, dtype=float)
    share = np.divide(mean, n, out=np.zeros(np.broadcast(mean, n).shape), where=n > 0)
    # A share of all but all cases would leave no chance at all.
    return 1 - np.minimum(share, 0.99)


def empirical_bayes_before_after(
    before_count: ArrayLike,
    before_expected: ArrayLike,
    after_count: ArrayLike,
    after_expected: ArrayLike,
    overdispersion: float,
    level: float = 0.95,
) -> BeforeAfter:
    """Counts after coaching against what like, uncoached units and the unit's own past lead one to expect.

    before_expected, after_expected: counts that uncoached units of like case mix had, scaled to this unit's cases in
    each period (so a general change over time is in them). All shape (n_units,). overdispersion: phi of those units.
    effect = (L / P) / (1 + Var(P) / P^2), L = sum of counts after, P = sum of the expected ones; interval on the log.
    No event after: 0, upper limit -log(1 - level) / P. Nothing expected: unknown, in words.
    Source: Hauer (1997), Observational Before-After Studies in Road Safety, chapter 11; Hauer et al. (2002).
    """
    check_level(level)
    before, mean, after, later = (
        np.atleast_1d(np.asarray(a, dtype=float)) for a in (before_count, before_expected, after_count, after_expected)
    )
    own, spread = empirical_bayes(before, mean, overdispersion)
    change = np.divide(later, mean, out=np.zeros(mean.size), where=mean > 0)
    expected, error = own * change, spread * change
    total, total_after, variance = float(expected.sum()), float(after.sum()), float((error**2).sum())
    n = int(total_after + before.sum())
    if total <= 0:
        effect = unknown("Nothing was to be expected in this period, so there is no comparison.", n, method=METHOD)
        return BeforeAfter(effect, expected, error)
    relative = variance / total**2
    value = total_after / total / (1 + relative)
    if total_after == 0:
        low, high = 0.0, -np.log(1 - level) / total
    else:
        half = stats.norm.ppf((1 + level) / 2) * np.sqrt(1 / total_after + relative) / (1 + relative)
        low, high = value * np.exp(-half), value * np.exp(half)
    words = f"{numeral(value, '.2f')} times what was to be expected without coaching (between {numeral(low, '.2f')} and {numeral(high, '.2f')})."
    return BeforeAfter(Estimate(value, float(low), float(high), n, None, METHOD, words, level), expected, error)
