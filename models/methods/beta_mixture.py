"""A mixture of two beta distributions per unit: its probabilities and quantiles.

`wide` is the weight of the second, shape (n_units,); `parts` are a, b of the first and a, b of the second, each shape
(n_units,).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import special

Parts = tuple[NDArray, NDArray, NDArray, NDArray]
QUANTILE_TOLERANCE = 1e-14
POOLED_TOLERANCE = 1e-5


def mixture_cdf(x: NDArray, wide: NDArray, parts: Parts) -> NDArray:
    """Probability of a share up to x, per unit; x is clipped to [0, 1]."""
    at = np.clip(x, 0, 1)
    return (1 - wide) * special.betainc(parts[0], parts[1], at) + wide * special.betainc(parts[2], parts[3], at)


def mixture_quantile(q: float | NDArray, wide: NDArray, parts: Parts) -> NDArray:
    """The share that is not exceeded with probability q, in (0, 1), per unit; to 14 decimals.

    q: one for all, or shape (n_units,). Newton's method within a bracket, which is halved where a step leaves it or gains
    too little; a step too small to matter ends the search.
    """
    a, b = (np.where(wide > 0.5, parts[k + 2], parts[k]) for k in (0, 1))
    # Start: the logit of a beta distribution is near normal.
    spread = np.sqrt(special.polygamma(1, a) + special.polygamma(1, b))
    at = special.expit(special.digamma(a) - special.digamma(b) + special.ndtri(q) * spread)
    out, wanted = at.copy(), np.broadcast_to(q, at.shape)
    left = np.arange(at.size)
    low, high, moved = np.zeros(at.size), np.ones(at.size), np.ones(at.size)
    scale = special.betaln(parts[0], parts[1]), special.betaln(parts[2], parts[3])
    for _ in range(200):
        mine = tuple(part[left] for part in parts)
        over = mixture_cdf(at, wide[left], (mine[0], mine[1], mine[2], mine[3])) - wanted[left]
        low, high = np.where(over < 0, at, low), np.where(over < 0, high, at)
        with np.errstate(divide="ignore", over="ignore", invalid="ignore"):
            narrow, broad = (
                np.exp(special.xlogy(mine[k] - 1, at) + special.xlog1py(mine[k + 1] - 1, -at) - scale[k // 2][left])
                for k in (0, 2)
            )
            density = (1 - wide[left]) * narrow + wide[left] * broad
            step = over / density
            is_newton = (at - step > low) & (at - step < high) & (np.abs(step) < moved / 2)
            # Rounding alone carries such a step past the bracket or past half of the last; halving would then start anew.
            is_there = (np.abs(step) <= QUANTILE_TOLERANCE) & np.isfinite(density)
        found = np.where(is_newton | is_there, np.clip(at - step, low, high), (low + high) / 2)
        moved = np.abs(found - at)
        out[left] = found
        go_on = moved > QUANTILE_TOLERANCE
        if not go_on.any():
            break
        left, at, low, high, moved = left[go_on], found[go_on], low[go_on], high[go_on], moved[go_on]
    return out


def mixture_range(wide: NDArray, parts: Parts, level: float = 0.95) -> tuple[NDArray, NDArray, NDArray]:
    """Mean, and the lower and upper end of the range that holds `level` of the probability, per unit."""
    a, b, wide_a, wide_b = parts
    value = (1 - wide) * a / (a + b) + wide * wide_a / (wide_a + wide_b)
    # Both ends in one search: for a few units the steps of it cost more than the numbers.
    q = np.repeat([(1 - level) / 2, (1 + level) / 2], wide.size)
    twice = np.tile(a, 2), np.tile(b, 2), np.tile(wide_a, 2), np.tile(wide_b, 2)
    low, high = mixture_quantile(q, np.tile(wide, 2), twice).reshape(2, -1)
    return value, low, high


def pooled_mean(weight: NDArray, a: NDArray, b: NDArray, scale: NDArray) -> NDArray:
    """Mean of a mixture of many scaled beta distributions per unit, shape (n_units,).

    weight (summing to 1), a, b, scale (the upper end, in (0, 1]): shape (n_parts, n_units).
    """
    return (weight * scale * a / (a + b)).sum(axis=0)


def pooled_quantile(q: float, weight: NDArray, a: NDArray, b: NDArray, scale: NDArray) -> NDArray:
    """The share not exceeded with probability q, shape (n_units,), of the mixture that `pooled_mean` takes.

    To 6 decimals: Newton's method within a bracket, as above.
    """
    mean = pooled_mean(weight, a, b, scale)
    square = (weight * scale**2 * a * (a + 1) / ((a + b) * (a + b + 1))).sum(axis=0)
    kappa = np.maximum(mean * (1 - mean) / np.maximum(square - mean**2, 1e-12) - 1, 1e-3)
    # Start: the beta distribution with the same mean and variance.
    at = np.clip(special.betaincinv(mean * kappa, (1 - mean) * kappa, q), 1e-12, 1 - 1e-12)
    log_scale = special.betaln(a, b) + np.log(scale)
    out, left = at.copy(), np.arange(at.size)
    low, high, moved = np.zeros(at.size), np.ones(at.size), np.ones(at.size)
    for _ in range(100):
        part = np.minimum(at / scale, 1.0)
        over = (weight * special.betainc(a, b, part)).sum(axis=0) - q
        low, high = np.where(over < 0, at, low), np.where(over < 0, high, at)
        with np.errstate(divide="ignore", over="ignore", invalid="ignore"):
            density = np.exp(special.xlogy(a - 1, part) + special.xlog1py(b - 1, -part) - log_scale)
            step = over / (weight * density).sum(axis=0)
            is_newton = (at - step > low) & (at - step < high) & (np.abs(step) < moved / 2)
        found = np.where(is_newton, at - step, (low + high) / 2)
        moved = np.abs(found - at)
        out[left] = found
        go_on = moved > POOLED_TOLERANCE
        if not go_on.any():
            break
        left, at, low, high, moved = left[go_on], found[go_on], low[go_on], high[go_on], moved[go_on]
        weight, a, b, scale, log_scale = (part[:, go_on] for part in (weight, a, b, scale, log_scale))
    return out
