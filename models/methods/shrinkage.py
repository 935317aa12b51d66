"""Comparing technicians (or sites) with what their cases would lead one to expect.

Unit j has n_j cases, of which an expected share e_j would be hits by case mix. The null says its true share is beta
distributed around mu_j = expit(logit(e_j) + shift) with variance rho * mu_j * (1 - mu_j). The null is fitted to the
central units only, so that units far out do not widen it. A unit may also belong to a wider group (its share beta
distributed with rho = WIDE), whose weight is learned from the data; without it, a narrow null would shrink every
outlier back among the rest.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special, stats

from models.methods.beta_mixture import Parts, mixture_cdf, mixture_range
from models.methods.central_fit import SMALLEST_OVERDISPERSION, central_fit
from models.methods.false_discovery import benjamini_hochberg, select_by_local_fdr
from models.methods.proportion import check_counts, check_level

__all__ = [
    "Null",
    "Shrunken",
    "benjamini_hochberg",
    "fit_null",
    "funnel_limits",
    "posterior",
    "select_by_local_fdr",
    "shrink",
    "smallest_detectable_excess",
]

METHOD = "beta-binomial shrinkage, robust null"
WIDE = 0.2
FEWEST_UNITS = 5


@dataclass(frozen=True)
class Null:
    """The fitted null. shift: on the logit, against case mix. overdispersion: rho in [0.0001, 0.15].

    wide_weight: share of units in the wide group. n_central: units the null rests on. is_fitted: False with under 5
    units, where shift = 0 and rho is the smallest. wide_shift, wide_overdispersion: where the wide group lies against
    the null, on the logit, and its rho.
    """

    shift: float
    overdispersion: float
    wide_weight: float
    n_units: int
    n_central: int
    is_fitted: bool
    wide_shift: float = 0.0
    wide_overdispersion: float = WIDE

    def mean(self, expected_rate: ArrayLike) -> NDArray:
        """Share that a unit with this case mix has under the null."""
        rate = np.clip(np.asarray(expected_rate, dtype=float), 1e-6, 1 - 1e-6)
        return special.expit(special.logit(rate) + self.shift)


@dataclass(frozen=True)
class Shrunken:
    """Shrunken shares, one per unit: arrays of shape (n_units,).

    value: posterior mean. low, high: posterior quantiles. expected: the null's share for that case mix. raw:
    observed / n (NaN without cases). wide_probability: chance of belonging to the wide group.
    """

    value: NDArray
    low: NDArray
    high: NDArray
    expected: NDArray
    raw: NDArray
    wide_probability: NDArray
    parts: Parts

    def probability_above(self, margin: float = 0.0) -> NDArray:
        """Probability that the true share exceeds the expected one by more than `margin`, shape (n_units,)."""
        return 1 - mixture_cdf(self.expected + margin, self.wide_probability, self.parts)


def fit_null(observed: ArrayLike, n: ArrayLike, expected_rate: ArrayLike, variance: ArrayLike | None = None) -> Null:
    """Fit the null to the central units.

    observed: hits, may be fractional, 0 <= observed <= n. n: cases. expected_rate: case-mix share in (0, 1).
    variance: extra variance of `observed` (from hits known only with a probability), default 0. All shape (n_units,);
    units without cases are left out.
    Units start ordered by their z-score; those beyond 2 null standard deviations are set aside, shift and
    overdispersion are refitted by matching the mean and the mean square of the rest (corrected for the cut), until
    the set stays the same.
    Returns a Null. Raises ValueError on impossible counts.
    Source: idea of the central matching in Efron (2004), J. Am. Stat. Assoc. 99:96, and of the trimmed funnel in
    Spiegelhalter (2005), Stat. Med. 24:1185; beta-binomial variance: Williams (1982), Appl. Stat. 31:144.
    """
    y, cases, rate, extra = _units(observed, n, expected_rate, variance)
    keep = cases > 0
    y, cases, rate, extra = y[keep], cases[keep], rate[keep], extra[keep]
    if y.size < FEWEST_UNITS:
        null = Null(0.0, SMALLEST_OVERDISPERSION, 0.0, y.size, y.size, False)
    else:
        shift, rho, n_central = central_fit(y, cases, rate, extra)
        null = Null(shift, rho, 0.0, y.size, n_central, True)
    weight = _wide_weight(y, cases, null.mean(rate), extra, null.overdispersion)
    return Null(null.shift, null.overdispersion, weight, null.n_units, null.n_central, null.is_fitted)


def posterior(
    observed: ArrayLike, n: ArrayLike, expected_rate: ArrayLike, null: Null
) -> tuple[NDArray, NDArray, Parts]:
    """The null's share per unit, the chance of the wide group, and a, b of the narrow and of the wide beta posterior."""
    return _posterior(*_units(observed, n, expected_rate, None), null)


def shrink(
    observed: ArrayLike,
    n: ArrayLike,
    expected_rate: ArrayLike,
    null: Null,
    variance: ArrayLike | None = None,
    level: float = 0.95,
) -> Shrunken:
    """Shrunken share of each unit under the null and its wide group; arguments as for `fit_null`.

    Extra variance lowers the number of cases a unit counts for. A unit without cases gets the null itself.
    """
    check_level(level)
    y, cases, rate, extra = _units(observed, n, expected_rate, variance)
    mean, wide, shape = _posterior(y, cases, rate, extra, null)
    value, low, high = mixture_range(wide, shape, level)
    raw = np.divide(y, cases, out=np.full(y.size, np.nan), where=cases > 0)
    return Shrunken(value, low, high, mean, raw, wide, shape)


def funnel_limits(n: ArrayLike, expected_rate: float, null: Null, level: float = 0.95) -> tuple[NDArray, NDArray]:
    """Limits of the observed share under the null, for a funnel over n cases; low, high, shape of n.

    Beta-binomial quantiles of the count divided by n; n rounded to whole cases, at least 1.
    """
    check_level(level)
    cases = np.maximum(np.round(np.asarray(n, dtype=float)), 1).astype(int)
    kappa = 1 / null.overdispersion - 1
    mean = null.mean(expected_rate)
    low, high = (
        stats.betabinom.ppf(q, cases, mean * kappa, (1 - mean) * kappa) / cases
        for q in ((1 - level) / 2, (1 + level) / 2)
    )
    return low, high


def smallest_detectable_excess(
    n: ArrayLike, expected_rate: ArrayLike, null: Null, margin: float = 0.08, limit: float = 0.10, power: float = 0.8
) -> NDArray:
    """Smallest excess over the expected share that would be flagged with probability `power` at this many cases.

    n, expected_rate: shape (n_units,). Flagged: select_by_local_fdr of probability_above(margin) at this limit.
    Returns excess as a share, shape (n_units,), to the nearest 0.005; NaN where even all hits would not be flagged.
    """
    cases = np.round(np.atleast_1d(np.asarray(n, dtype=float))).astype(int)
    rates = np.broadcast_to(np.asarray(expected_rate, dtype=float), cases.shape)
    out = np.full(cases.shape, np.nan)
    for i, (size, rate) in enumerate(zip(cases, rates, strict=True)):
        if size < 1:
            continue
        count = np.arange(size + 1.0)
        every = np.full(size + 1, float(size)), np.full(size + 1, rate), np.zeros(size + 1)
        mean, wide, parts = _posterior(count, *every, null)
        chance = 1 - mixture_cdf(mean + margin, wide, parts)
        is_flagged = select_by_local_fdr(chance, limit)
        if not is_flagged.any():
            continue
        needed = int(np.argmax(is_flagged))
        excess = np.arange(0, 1 - float(null.mean(rate)), 0.005)
        seen = stats.binom.sf(needed - 1, size, null.mean(rate) + excess) >= power
        if seen.any():
            out[i] = excess[np.argmax(seen)]
    return out


def _units(observed, n, expected_rate, variance) -> tuple[NDArray, NDArray, NDArray, NDArray]:  # type: ignore[no-untyped-def]
    y, cases = (np.atleast_1d(np.asarray(a, dtype=float)).ravel() for a in (observed, n))
    rate = np.broadcast_to(np.asarray(expected_rate, dtype=float), y.shape)
    extra = np.zeros(y.size) if variance is None else np.broadcast_to(np.asarray(variance, dtype=float), y.shape)
    check_counts(y, cases)
    if (~((rate >= 0) & (rate <= 1))).any():
        raise ValueError(f"expected_rate: got {rate[~((rate >= 0) & (rate <= 1))][0]:g}; must lie between 0 and 1.")
    if (~(extra >= 0)).any():
        raise ValueError(f"variance: got {extra[~(extra >= 0)][0]:g}; must be 0 or more.")
    return y, cases, rate, extra


def _effective(y: NDArray, cases: NDArray, extra: NDArray) -> tuple[NDArray, NDArray]:
    """Hits and cases a unit counts for, once the extra variance of its hits is charged."""
    share = np.where(cases > 0, (y + 0.5) / (cases + 1), 0.5)
    plain = share * (1 - share) * cases
    keep = np.divide(plain, plain + extra, out=np.ones(y.size), where=plain + extra > 0)
    return y * keep, cases * keep


def _wide_weight(y: NDArray, cases: NDArray, mean: NDArray, extra: NDArray, rho: float) -> float:
    """Share of units in the wide group by EM, with a prior worth one wide unit among ten."""
    if y.size == 0:
        return 0.1
    hits, effective = _effective(y, cases, extra)
    logs = []
    for r in (rho, max(WIDE, rho)):
        k = 1 / r - 1
        logs.append(
            special.betaln(mean * k + hits, (1 - mean) * k + effective - hits)
            - special.betaln(mean * k, (1 - mean) * k)
        )
    weight = 0.1
    for _ in range(200):
        wide = special.expit(np.log(weight / (1 - weight)) + logs[1] - logs[0])
        updated = float((wide.sum() + 1) / (y.size + 10))
        if abs(updated - weight) < 1e-9:
            break
        weight = updated
    return weight


def _posterior(y: NDArray, cases: NDArray, rate: NDArray, extra: NDArray, null: Null) -> tuple[NDArray, NDArray, Parts]:
    """The null's mean, the chance of the wide group, and the shapes a, b of both beta distributions, per unit."""
    # A rate of 0 or 1 cannot be told from one very near it, and has no beta distribution.
    mean = np.clip(null.mean(rate), 1e-9, 1 - 1e-9)
    hits, effective = _effective(y, cases, extra)
    parts, logs, wide = [], [], np.zeros(y.size)
    for centre, rho in (
        (mean, null.overdispersion),
        (special.expit(special.logit(mean) + null.wide_shift), max(null.wide_overdispersion, null.overdispersion)),
    ):
        kappa = 1 / rho - 1
        a, b = centre * kappa + hits, (1 - centre) * kappa + effective - hits
        parts += [a, b]
        logs.append(special.betaln(a, b) - special.betaln(centre * kappa, (1 - centre) * kappa))
    if null.wide_weight > 0:
        odds = np.log(null.wide_weight / (1 - null.wide_weight)) + logs[1] - logs[0]
        wide = special.expit(odds)
    return mean, wide, (parts[0], parts[1], parts[2], parts[3])
