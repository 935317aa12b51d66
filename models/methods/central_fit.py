"""The null of compared units from the central ones alone: where their middle lies, and how far they scatter."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, special, stats

MAXIMUM_OVERDISPERSION = 0.15
SMALLEST_OVERDISPERSION = 1e-4
LARGEST_SHIFT = 6.0
CUTOFF = 2.0


def _central_square(cut: float) -> float:
    """Mean square of a standard normal kept only within +-cut."""
    return float(1 - 2 * cut * stats.norm.pdf(cut) / (2 * stats.norm.cdf(cut) - 1))


CENTRAL_SQUARE = _central_square(CUTOFF)
# Half of a normal lies within so many standard deviations.
HALF = 0.6745
HALF_SQUARE = _central_square(HALF)


def central_fit(y: NDArray, cases: NDArray, rate: NDArray, extra: NDArray) -> tuple[float, float, int]:
    """Shift, overdispersion and how many units they rest on."""
    logit = special.logit(np.clip(rate, 1e-6, 1 - 1e-6))

    def z_of(shift: float, rho: float) -> NDArray:
        mean = special.expit(logit + shift)
        return (y - cases * mean) / np.sqrt(cases * mean * (1 - mean) * (1 + (cases - 1) * rho) + extra + 1e-12)

    # The two searches below ask for the z-scores of the same units again and again: what stays is worked out before.
    def rho_of(shift: float, square: float, members: NDArray) -> float:
        mean, n = special.expit(logit[members] + shift), cases[members]
        gap, plain, others, more = y[members] - n * mean, n * mean * (1 - mean), n - 1, extra[members]

        def over(rho: float) -> float:
            z = gap / np.sqrt(plain * (1 + others * rho) + more + 1e-12)
            return float(np.add.reduce(z**2)) / z.size - square

        return _crossing(over, SMALLEST_OVERDISPERSION, MAXIMUM_OVERDISPERSION)

    def shift_of(rho: float, members: NDArray) -> float:
        hits, n, at, more = y[members], cases[members], logit[members], extra[members]
        spread = 1 + (n - 1) * rho

        def pull(shift: float) -> float:
            mean = special.expit(at + shift)
            z = (hits - n * mean) / np.sqrt(n * mean * (1 - mean) * spread + more + 1e-12)
            return float(np.add.reduce(z)) / z.size

        return _crossing(pull, -LARGEST_SHIFT, LARGEST_SHIFT)

    def nearest_half(shift: float, rho: float) -> NDArray:
        half = np.zeros(y.size, dtype=bool)
        half[np.argsort(np.abs(z_of(shift, rho)), kind="stable")[: (y.size + 1) // 2]] = True
        return half

    def central(shift: float, rho: float) -> NDArray:
        # Where the units fall into camps, hardly any may be near the middle: the null then rests on the nearer half.
        is_near = np.abs(z_of(shift, rho)) <= CUTOFF
        return is_near if 2 * is_near.sum() >= y.size else nearest_half(shift, rho)

    # Start: half the units lie within HALF standard deviations, wherever the others are.
    shift = _crossing(lambda s: _median(z_of(s, 0.0)), -LARGEST_SHIFT, LARGEST_SHIFT)
    rho = rho_of(shift, HALF_SQUARE, nearest_half(shift, 0.02))
    members = central(shift, rho)
    for _ in range(30):
        inside = members
        shift = shift_of(rho, inside)
        rho = rho_of(shift, CENTRAL_SQUARE, inside)
        members = central(shift, rho)
        if (members == inside).all():
            break
    return shift, rho, int(inside.sum())


def _median(values: NDArray) -> float:
    """numpy's own, without the time it takes to look for NaN and axes."""
    middle = (values.size - 1) // 2, values.size // 2
    low, high = np.partition(values, middle)[[*middle]]
    return float(low + high) / 2


def _crossing(falling: Callable[[float], float], low: float, high: float) -> float:
    """Where a falling function passes zero; the end of the range where it does not."""
    if falling(low) <= 0:
        return low
    if falling(high) >= 0:
        return high
    return float(optimize.brentq(falling, low, high, xtol=1e-6))
