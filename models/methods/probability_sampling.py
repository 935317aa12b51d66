"""Draws with unequal, known chances: how many from each stratum, and who."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray


def inclusion_probabilities(stratum: ArrayLike, n_drawn: int, power: float = 0.5) -> NDArray[np.float64]:
    """Chance of every unit to be drawn, alike within a stratum, summing to `n_drawn`.

    stratum: labels, shape (n_units,). n_drawn: 0 to n_units. power: a stratum of N units gets a share of the draw that
    grows as N ** power: 1 = all units alike, 0 = all strata alike. Chances are capped at 1 and the rest spread again.
    Raises ValueError on a number that cannot be drawn or a power outside [0, 1].
    Source: power allocation: Bankier (1988), Am. Stat. 42:174.
    """
    label = np.asarray(stratum).ravel()
    if not 0 <= n_drawn <= label.size:
        raise ValueError(f"n_drawn: got {n_drawn}; must lie between 0 and the {label.size} units there are.")
    if not 0 <= power <= 1:
        raise ValueError(f"power: got {power:g}; must lie between 0 and 1.")
    if label.size == 0:
        return np.zeros(0)
    _, code, size = np.unique(label, return_inverse=True, return_counts=True)
    want = size[code].astype(float) ** (power - 1)
    is_sure = np.zeros(label.size, dtype=bool)
    while True:
        left = n_drawn - is_sure.sum()
        chance = np.where(is_sure, 1.0, want * left / max(want[~is_sure].sum(), 1e-300))
        over = ~is_sure & (chance >= 1)
        if not over.any():
            return chance
        is_sure |= over


def systematic_draw(chance: ArrayLike, stratum: ArrayLike, rng: np.random.Generator) -> NDArray[np.bool_]:
    """Which units are drawn: each with exactly its chance, and from every stratum its expected number, to within one.

    chance: in [0, 1], summing to a whole number, shape (n_units,). stratum: labels of that shape. The strata, and the
    units within each, are put in random order; equal steps from a random start are then taken along the sum of chances.
    Returns bool, shape (n_units,). Raises ValueError when the chances are impossible.
    Source: Madow (1949), Ann. Math. Stat. 20:333.
    """
    pi, label = np.asarray(chance, dtype=float).ravel(), np.asarray(stratum).ravel()
    if pi.shape != label.shape:
        raise ValueError(f"chance and stratum: got {pi.size} and {label.size} values; must be as many.")
    total = pi.sum()
    n_drawn = round(float(total))
    if (~((pi >= 0) & (pi <= 1 + 1e-9))).any() or abs(total - n_drawn) > 1e-6 * max(pi.size, 1):
        raise ValueError(f"chance: must lie between 0 and 1 and sum to a whole number; they sum to {total:g}.")
    drawn = np.zeros(pi.size, dtype=bool)
    if n_drawn == 0:
        return drawn
    names, code = np.unique(label, return_inverse=True)
    order = np.lexsort((rng.random(pi.size), rng.permutation(names.size)[code]))
    upto = np.cumsum(pi[order])
    # The last sum is the number drawn itself, not a hair less.
    upto[-1] = n_drawn
    step = rng.random() + np.arange(n_drawn)
    drawn[order[np.searchsorted(upto, step, side="right")]] = True
    return drawn
