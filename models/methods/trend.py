"""A slope that a few odd readings cannot turn, and whether it is more than chance."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from models.methods.estimate import Estimate, unknown
from models.methods.proportion import check_level

METHOD = "Theil-Sen slope"
FEWEST_POINTS = 3


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
    """Kendall's tau-b and its p-value, exact without ties (scipy.stats.kendalltau); (NaN, NaN) under two points.

    alternative: 'two-sided', 'less' (falling) or 'greater' (rising).
    """
    a, b = _pairs(x, y)
    if a.size < 2:
        return float("nan"), float("nan")
    has_ties = np.unique(a).size < a.size or np.unique(b).size < b.size
    # Exact counting is quick up to some hundreds of points; beyond, the normal form is as good.
    method = "asymptotic" if has_ties or a.size > 300 else "exact"
    result = stats.kendalltau(a, b, method=method, alternative=alternative)
    return float(result.statistic), float(result.pvalue)


def _pairs(x: ArrayLike, y: ArrayLike) -> tuple[NDArray, NDArray]:
    a, b = np.asarray(x, dtype=float).ravel(), np.asarray(y, dtype=float).ravel()
    if a.shape != b.shape:
        raise ValueError(f"x and y: got {a.size} and {b.size} values; must be as many.")
    known = np.isfinite(a) & np.isfinite(b)
    return a[known], b[known]
