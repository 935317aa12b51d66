"""Limits of a Poisson mean, and of a count around a known mean."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats


def poisson_limits(count: ArrayLike, level: float = 0.95) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Exact limits of the mean behind a count; low, high, shape of count. A count of 0 has the lower limit 0.

    count: >= 0. Around an expected number they are the limits of a funnel for ratios of counts.
    Source: Garwood (1936), Biometrika 28:437; Ulm (1990), Am. J. Epidemiol. 131:373.
    """
    x = np.asarray(count, dtype=float)
    tail = (1 - level) / 2
    low = np.where(x > 0, stats.chi2.ppf(tail, 2 * np.maximum(x, 1e-12)) / 2, 0.0)
    return low, stats.chi2.ppf(1 - tail, 2 * (x + 1)) / 2
