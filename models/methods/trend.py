"""A slope that a few odd readings cannot turn, and whether it is more than chance."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from models.methods.estimate import Estimate, unknown
from models.methods.proportion import check_level

METHOD = "Theil-Sen slope"
FEWEST_POINTS = 3
MOST_EXACT_POINTS = 300
MOST_TIED_POINTS = 60


def theil_sen(x: ArrayLike, y: ArrayLike, level: float = 0.95, minimum_points: int = FEWEST_POINTS) -> Estimate:
    """Median of the slopes between all pairs, with Sen's interval (scipy.stats.theilslopes).

    x, y: shape (n,); pairs with a missing value are left out. The slope is in units of y per unit of x.
    Unknown, in words, with under `minimum_points` points or no two different x. With very few points the interval may
    not reach the level: its ends are then the smallest and largest slope (n = 4 reaches about 92%, n = 5 over 95%).
    Source: Theil (1950); Sen (1968), J. Am. Stat. Assoc. 63:1379; Hollander and Wolfe, section 9.3.
    """
    check_level(level)
    a, b = _pairs(x, y)
    if a.size < max(minimum_points, 2):
        return unknown(f"Only {a.size} readings; a slope needs {max(minimum_points, 2)}.", a.size, method=METHOD)
    if np.unique(a).size < 2:
        return unknown("All readings were taken at the same time, so there is no slope.", a.size, method=METHOD)
    fit = stats.theilslopes(b, a, alpha=level)
    i, j = np.triu_indices(a.size, 1)
    apart = a[i] != a[j]
    slopes = (b[j] - b[i])[apart] / (a[j] - a[i])[apart]
    low, high = float(fit.low_slope), float(fit.high_slope)
    low = low if np.isfinite(low) else float(slopes.min())
    high = high if np.isfinite(high) else float(slopes.max())
    words = f"Slope {fit.slope:.4g} (between {low:.4g} and {high:.4g}) over {a.size} readings."
    return Estimate(float(fit.slope), low, high, a.size, None, METHOD, words, level)


def kendall(x: ArrayLike, y: ArrayLike, alternative: str = "two-sided") -> tuple[float, float]:
    """Kendall's tau-b and its p-value; (NaN, NaN) under two points.

    alternative: 'two-sided', 'less' (falling) or 'greater' (rising). The p-value is exact, also with ties in one of the
    two (gauges read in steps), which scipy.stats.kendalltau is not: of all orders of the tied values, how many are as
    far out. With ties in both, or beyond 300 points (60 with ties), scipy's normal form stands in. All values of one
    side alike: tau is not defined and nothing speaks for a trend, (NaN, 1).
    Source: Kendall, Rank Correlation Methods; distribution of inversions of a multiset: MacMahon (1916).
    """
    a, b = _pairs(x, y)
    if a.size < 2:
        return float("nan"), float("nan")
    ties = [np.unique(side, return_counts=True)[1] for side in (a, b)]
    if min(count.size for count in ties) == 1:
        return float("nan"), 1.0
    is_tied = [bool((count > 1).any()) for count in ties]
    is_few = a.size <= (MOST_TIED_POINTS if any(is_tied) else MOST_EXACT_POINTS)
    if all(is_tied) or not is_few:
        result = stats.kendalltau(a, b, method="asymptotic", alternative=alternative)
        return float(result.statistic), float(result.pvalue)
    if not any(is_tied):
        result = stats.kendalltau(a, b, method="exact", alternative=alternative)
        return float(result.statistic), float(result.pvalue)
    tau = float(stats.kendalltau(a, b, method="asymptotic").statistic)
    return tau, _p_with_ties(a, b, ties[1] if is_tied[1] else ties[0], alternative)


def _p_with_ties(a: NDArray, b: NDArray, ties: NDArray, alternative: str) -> float:
    """Exact p-value of the number of falling pairs, when one side has ties and the other none."""
    falls = int((np.sign(a[:, None] - a) * np.sign(b[:, None] - b) < 0).sum() // 2)
    chance = _inversions(ties)
    at_least, at_most = float(chance[falls:].sum()), float(chance[: falls + 1].sum())
    if alternative == "less":
        return min(at_least, 1.0)
    if alternative == "greater":
        return min(at_most, 1.0)
    # Symmetric, so both tails weigh the same.
    return min(2 * min(at_least, at_most), 1.0)


def _inversions(ties: NDArray) -> NDArray:
    """Probability of 0, 1, 2 ... inversions in a random order of values that occur `ties` times each.

    The generating function is a q-multinomial: the product of (1 - q^k) for k = 1 .. n over those of each group.
    """
    n = int(ties.sum())
    most = (n**2 - int((ties**2).sum())) // 2
    counts = [1] + [0] * most
    so_far = 0
    # One group after the other: placing m equal values among those already there, whole numbers throughout.
    for m in ties.tolist():
        for k in range(1, m + 1):
            top = so_far + k
            for i in range(most, top - 1, -1):
                counts[i] -= counts[i - top]
            for i in range(k, most + 1):
                counts[i] += counts[i - k]
        so_far += m
    total = sum(counts)
    return np.array([count / total for count in counts])


def _pairs(x: ArrayLike, y: ArrayLike) -> tuple[NDArray, NDArray]:
    a, b = np.asarray(x, dtype=float).ravel(), np.asarray(y, dtype=float).ravel()
    if a.shape != b.shape:
        raise ValueError(f"x and y: got {a.size} and {b.size} values; must be as many.")
    known = np.isfinite(a) & np.isfinite(b)
    return a[known], b[known]
