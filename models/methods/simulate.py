"""Carrying uncertainty through a sum of products by drawing its parts."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from models.methods.proportion import check_level


def interval_by_simulation(
    draw: Callable[[np.random.Generator, int], NDArray], n_draws: int, rng: np.random.Generator, level: float = 0.95
) -> tuple[float, float, float]:
    """Median and equal-tailed interval of a drawn quantity.

    draw: called once with (rng, n_draws), returns shape (n_draws,). rng: numpy Generator; the same one gives the same
    answer.
    Returns median, low, high. Raises ValueError if the draws have another shape or are not finite.
    Source: JCGM 101:2008 (propagation of distributions by a Monte Carlo method), section 7.
    """
    check_level(level)
    if n_draws < 100:
        raise ValueError(f"n_draws: got {n_draws}; must be at least 100, or the tails mean nothing.")
    values = np.asarray(draw(rng, n_draws), dtype=float)
    if values.shape != (n_draws,) or not np.isfinite(values).all():
        raise ValueError(f"draw: got shape {values.shape}; must return {n_draws} finite numbers.")
    low, middle, high = np.quantile(values, [(1 - level) / 2, 0.5, (1 + level) / 2])
    return float(middle), float(low), float(high)


def draw_bernoulli_costs(
    probability: NDArray, cost: NDArray, rng: np.random.Generator, n_draws: int, chunk: int = 2_000_000
) -> NDArray:
    """Total cost when each case is hit with its own probability, shape (n_draws,).

    probability, cost: shape (n_cases,). Works in pieces of at most `chunk` numbers, so memory stays bounded.
    """
    p, c = np.asarray(probability, dtype=float), np.asarray(cost, dtype=float)
    if p.shape != c.shape:
        raise ValueError(f"probability and cost: got {p.size} and {c.size} values; must be as many.")
    total = np.zeros(n_draws)
    width = max(1, chunk // max(n_draws, 1))
    for a in range(0, p.size, width):
        piece = slice(a, a + width)
        total += (rng.random((n_draws, p[piece].size)) < p[piece]) @ c[piece]
    return total
