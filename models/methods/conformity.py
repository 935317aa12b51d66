"""Probability that a measured switch conforms, given the uncertainty of the measurement."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats


def conformity_probability(y: ArrayLike, u: ArrayLike, lower: ArrayLike, upper: ArrayLike) -> NDArray:
    """Phi((upper - y) / u) - Phi((lower - y) / u), one per switch.

    y: mean of the make readings; u: standard uncertainty, >= 0; lower, upper: tolerance limits; one unit for all
    (pascal). u = 0: 1 within the limits (ends included), else 0. NaN where anything is missing.
    Raises ValueError on a negative u or lower above upper.
    Source: JCGM 106:2012, Evaluation of measurement data - The role of measurement uncertainty in conformity
    assessment, section 7.
    """
    value, spread, low, high = np.broadcast_arrays(*(np.asarray(a, dtype=float) for a in (y, u, lower, upper)))
    if (spread < 0).any():
        raise ValueError(f"u: got {spread[spread < 0].flat[0]:g}; must be 0 or more.")
    if (low > high).any():
        raise ValueError(f"limits: got lower {low[low > high].flat[0]:g} above upper {high[low > high].flat[0]:g}.")
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        b, a = (high - value) / spread, (low - value) / spread
        # Far out on the right both terms are near 1; the mirrored form keeps the digits.
        chance = np.where(a > 0, stats.norm.sf(a) - stats.norm.sf(b), stats.norm.cdf(b) - stats.norm.cdf(a))
    exact = ((value >= low) & (value <= high)).astype(float)
    is_known = np.isfinite(value) & np.isfinite(low) & np.isfinite(high) & ~np.isnan(spread)
    return np.where(is_known, np.where(spread == 0, exact, chance), np.nan)
