"""How wide a range would be if a field that is missing on some records were filled like on the others.

Each function takes what the figure's own method knows now and gives the width (high - low, in the figure's unit) of the
same method with more cases. NaN = the figure has no range now.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from models.methods.double_sampling import post_stratified_rate
from models.methods.estimate import Estimate
from models.methods.proportion import wilson_interval

NOT_KNOWN = float("nan")


def width(estimate: Estimate) -> float:
    """high - low in the unit of the estimate; NaN without a range."""
    if estimate.low is None or estimate.high is None:
        return NOT_KNOWN
    return estimate.high - estimate.low


def width_with_more_tests(
    stratum_size: ArrayLike, n_tested: ArrayLike, rate: ArrayLike, n_effective: ArrayLike, n_more: ArrayLike
) -> float:
    """Width of the post-stratified rate with `n_more` further clear tests in each stratum, shape (n_strata,) each.

    rate, n_effective: as models.methods.double_sampling.post_stratified_rate takes them, NaN where nothing was tested.
    A stratum never has more tested than it holds. Assumes the further tests come out like those there are, are worth as
    much each, and that the strata stay as they stand. NaN where the rate cannot be given even then.
    """
    size, tested, share, told, more = (
        np.asarray(a, dtype=float).ravel() for a in (stratum_size, n_tested, rate, n_effective, n_more)
    )
    then = np.minimum(tested + np.maximum(more, 0), size)
    if not tested.size or (tested <= 0).any():
        return NOT_KNOWN
    return width(post_stratified_rate(size, then, share * then, rate=share, n_effective=told * then / tested))


def width_by_logit(estimate: Estimate, growth: float) -> float:
    """Width of a share whose interval lies on the logit, with `growth` times as many independent cases (>= 1)."""
    if estimate.value is None or estimate.low is None or estimate.high is None or growth <= 0:
        return NOT_KNOWN
    if not 0 < estimate.low <= estimate.value <= estimate.high < 1:
        # All alike: the range is a score interval, which shrinks nearly with the number of cases.
        return width(estimate) / growth
    middle, low, high = (np.log(p / (1 - p)) for p in (estimate.value, estimate.low, estimate.high))
    ends = [1 / (1 + np.exp(-(middle + (edge - middle) / np.sqrt(growth)))) for edge in (low, high)]
    return float(ends[1] - ends[0])


def width_of_share(n_hits: float, n: float, n_more: float = 0.0) -> float:
    """Width of the score interval of the share n_hits / n with n + n_more cases."""
    if n <= 0:
        return NOT_KNOWN
    low, high = wilson_interval(n_hits / n * (n + n_more), n + n_more)
    return float(high - low)


def width_of_difference(difference: Estimate, groups: tuple[Estimate, Estimate], n_then: tuple[float, float]) -> float:
    """Width of a difference of two shares if its groups had `n_then` cases instead of their n.

    Each group's part of the variance (its squared width) goes with one over its number of cases; the rates and how much
    the cases of one site are alike stay. NaN where a range is missing or a group would be empty.
    """
    now, parts = width(difference), [width(one) ** 2 for one in groups]
    if not np.isfinite([now, *parts]).all() or min(n_then) <= 0 or not sum(parts):
        return NOT_KNOWN
    then = [part * one.n / n for part, one, n in zip(parts, groups, n_then, strict=True)]
    return float(now * np.sqrt(sum(then) / sum(parts)))


def width_unthinned(now: float, missing_share: float, dispersion: float) -> float:
    """Width of the peak of a season, fitted to counts of which a share was lost at random, if none were lost.

    missing_share: in [0, 1). dispersion: variance over mean of the counts there are, at least 1. Counts thinned to a
    share p have the dispersion 1 + (d - 1) p of the whole ones' d; the variance goes with dispersion over counts, so
    that it falls by missing_share / dispersion.
    Source: McCullagh and Nelder (1989), Generalized Linear Models, section 6.2 (variance of overdispersed counts).
    """
    return float(now * np.sqrt(max(1 - missing_share / max(dispersion, 1.0), 0.0)))


def width_between_bounds(certain: Estimate, possible: Estimate, share_settled: float = 0.0) -> float:
    """From the low end of what is certain to the high end of what is possible, in the unit of the shares.

    share_settled: share, in [0, 1], of the gap between both that would be decided one way or the other.
    """
    if certain.value is None or certain.low is None or possible.value is None or possible.high is None:
        return NOT_KNOWN
    gap = max(possible.value - certain.value, 0.0)
    return possible.high - certain.low - share_settled * gap


def most_left_of_sum(now: float, share_told: float) -> float:
    """The most that is left of the width of a sum over cases not told apart, once a share of them, in [0, 1], is told.

    Independent parts shrink by the root of what is left, an error common to all by what is left itself; the root is
    the larger of the two.
    """
    return float(now * np.sqrt(min(max(1 - share_told, 0.0), 1.0)))
