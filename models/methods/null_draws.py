"""How sure the null of a comparison is: nulls drawn as the units' counts leave them likely.

A few dozen units do not settle where the middle of a fleet lies, nor how much its members differ. Ranges worked out as
if they did are too narrow; so every imputation takes a null of its own.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from models.methods.central_fit import MAXIMUM_OVERDISPERSION, SMALLEST_OVERDISPERSION
from models.methods.shrinkage import WIDE, Null

N_SHIFTS, N_SPREADS, N_WEIGHTS = 7, 12, 6
# What the wide group may be like, each as likely as the next before any count is seen: its place against the null on
# the logit, and its overdispersion. All round the null, or a camp of its own somewhat or far above it.
WIDE_GROUPS = ((0.0, WIDE), (0.75, 0.03), (1.25, 0.03), (1.75, 0.03), (2.25, 0.03))
# Overdispersions looked at first, to see where the likely ones lie; less likely than this (against the most likely): no.
N_FIRST_SPREADS, NOT_LIKELY = 24, 1e-4
# Half-width of the grid of shifts, in standard errors of the shift.
SHIFT_REACH = 4.0
# Prior of the share of wide units: beta, worth one wide unit among ten.
WEIGHT_PRIOR = (1.0, 9.0)


@dataclass(frozen=True)
class NullGrid:
    """Nulls around a fitted one and how likely each is given the counts.

    shift, spread (overdispersion), weight (of the wide group): values looked at. probability: shape (n_shifts, n_spreads,
    n_groups, n_weights), sum 1. fitted: the null it lies around.
    """

    shift: NDArray
    spread: NDArray
    weight: NDArray
    probability: NDArray
    fitted: Null

    def around(self, fitted: Null) -> NullGrid:
        """The same grid around another fitted null: the shifts move along, the rest stays."""
        return replace(self, shift=self.shift + fitted.shift - self.fitted.shift, fitted=fitted)

    def draw(self, rng: np.random.Generator, place: float | None = None) -> Null:
        """One null. place: the quantile of the overdispersion to take, in (0, 1); drawn where not given.

        Places spread evenly over many draws carry the doubt about the overdispersion with less noise than chance does.
        """
        at = rng.random() if place is None else place
        running = np.cumsum(self.probability.sum(axis=(0, 2, 3)))
        j = min(int(np.searchsorted(running, at * running[-1])), self.spread.size - 1)
        rest = self.probability[:, j]
        flat = int(rng.choice(rest.size, p=(rest / rest.sum()).ravel()))
        i, g, k = np.unravel_index(flat, rest.shape)
        wide_shift, wide_spread = WIDE_GROUPS[int(g)]
        return replace(
            self.fitted,
            shift=float(self.shift[i]),
            overdispersion=float(self.spread[j]),
            wide_weight=float(self.weight[k]),
            wide_shift=wide_shift,
            wide_overdispersion=wide_spread,
        )


def null_grid(observed: ArrayLike, n: ArrayLike, expected_rate: ArrayLike, null: Null) -> NullGrid | None:
    """How likely nulls around a fitted one are; None where it was not fitted (under 5 units).

    observed, n, expected_rate: as for `fit_null`, shape (n_units,). null: where to look, from `fit_null`.
    Prior: flat in the shift, flat in the overdispersion (which goes with the variance of the true shares: with few units
    this keeps the ranges' coverage, where priors with more weight near 0 lose it), beta (1, 9) in the share of wide
    units, even over WIDE_GROUPS.
    Source: beta-binomial likelihood: Williams (1975), Biometrics 31:949; prior: Morris and Tang (2011), Stat. Sci.
    26:271.
    """
    if not null.is_fitted:
        return None
    y, cases, rate = (np.atleast_1d(np.asarray(a, dtype=float)).ravel() for a in (observed, n, expected_rate))
    keep = cases > 0
    y, cases, rate = y[keep], cases[keep], np.clip(rate[keep], 1e-6, 1 - 1e-6)
    mean = null.mean(rate)
    held = cases * mean * (1 - mean) / (1 + (cases - 1) * max(null.overdispersion, 0.01))
    shift = null.shift + np.linspace(-SHIFT_REACH, SHIFT_REACH, N_SHIFTS) / np.sqrt(held.sum())
    weight = special.betaincinv(*WEIGHT_PRIOR, (np.arange(N_WEIGHTS) + 0.5) / N_WEIGHTS)
    least, most = float(np.sqrt(SMALLEST_OVERDISPERSION)), float(np.sqrt(MAXIMUM_OVERDISPERSION))
    first = np.linspace(least, most, N_FIRST_SPREADS)
    profile = special.logsumexp(_log_evidence(y, cases, mean, first**2, weight), axis=(1, 2)) + np.log(first)
    likely = first[profile > profile.max() + np.log(NOT_LIKELY)]
    step = first[1] - first[0]
    spread = np.linspace(max(likely[0] - step, least), min(likely[-1] + step, most), N_SPREADS) ** 2
    logs = np.stack([_log_evidence(y, cases, special.expit(special.logit(rate) + s), spread, weight) for s in shift])
    # The grid is even in the square root; a prior flat in the overdispersion itself goes with the root there.
    logs += np.log(spread)[:, None, None] / 2
    probability = np.exp(logs - logs.max())
    return NullGrid(shift, spread, weight, probability / probability.sum(), null)


def _log_evidence(y: NDArray, cases: NDArray, mean: NDArray, spread: NDArray, weight: NDArray) -> NDArray:
    """Log likelihood of all counts, shape (n_spreads, n_groups, n_weights)."""
    logit = special.logit(mean)
    moved, wide_spread = (np.array(column)[:, None] for column in zip(*WIDE_GROUPS, strict=True))
    wide = _log_likelihood(y, cases, special.expit(logit + moved), wide_spread)
    narrow = _log_likelihood(y, cases, mean, spread[:, None])
    # Axes: spread, group, weight, unit: with few units, as in a branch, one step for all is many times as fast as many.
    odds = np.expm1(np.minimum(wide - narrow[:, None], 600.0))
    mixed = weight[:, None] * odds[:, :, None]
    return np.log1p(mixed, out=mixed).sum(axis=-1) + narrow.sum(axis=-1)[:, None, None]


def _log_likelihood(y: NDArray, cases: NDArray, mean: NDArray, rho: NDArray) -> NDArray:
    """Per unit, shape (n_spreads, n_units). rho: shape (n_spreads, 1)."""
    kappa = 1 / rho - 1
    # A rate of 0 or 1 cannot be told from one very near it, and has no beta distribution.
    mean = np.clip(mean, 1e-9, 1 - 1e-9)
    a, b = mean * kappa, (1 - mean) * kappa
    return special.betaln(a + y, b + cases - y) - special.betaln(a, b)
