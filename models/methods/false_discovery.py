"""Choosing whom to flag while the share of false flags stays within a limit."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

# One mark may be false with this many times the chance that is allowed over all marks.
OF_ONE_MARK = 2.0
# Whatever the limit: nobody is flagged whose excess is less likely than not.
LEAST_PROBABILITY = 0.5


def likely_enough(limit: float = 0.10) -> float:
    """Probability of an excess from which on a unit is flagged, in [0.5, 1]. limit: as for select_by_local_fdr."""
    if not 0 <= limit < 1:
        raise ValueError(f"limit: got {limit!r}; must lie between 0 and 1, for example 0.10.")
    return max(1 - OF_ONE_MARK * limit, LEAST_PROBABILITY)


def select_by_local_fdr(
    probability_above: ArrayLike, limit: float = 0.10, is_eligible: ArrayLike | None = None
) -> NDArray:
    """Flag every unit whose own chance of being a false flag is at most twice `limit` (and at most one half).

    probability_above: shape (n_units,); NaN is never flagged. is_eligible: bool, others are never flagged. limit: share
    of false flags aimed at over many comparisons, in [0, 1). Returns bool, shape (n_units,).
    Of all rules that find as many, one cut of the probability makes the fewest false flags: it is the best decision
    where one false flag weighs as much as (1 - 2 limit) / (2 limit) missed ones (4 at 0.10). The false ones among all
    stay within half of what the cut allows for one as long as units past the cut get no rarer towards certainty; they
    hardly do, since those with many cases are nearly certain (tests/recovery measures it). Whether a unit is flagged
    does not hang on how the others did, as it would if the mean chance of those flagged were held within the limit:
    with one or two flags in a comparison, that rule keeps to a third of what it allows.
    Source: Mueller, Parmigiani, Robert and Rousseau (2004), J. Am. Stat. Assoc. 99:990 (the decision); Efron (2007),
    Ann. Stat. 35:1351 (local false-discovery rate, reported up to 0.2).
    """
    p = np.asarray(probability_above, dtype=float).ravel()
    is_likely = np.isfinite(p) & (p >= likely_enough(limit))
    return is_likely if is_eligible is None else is_likely & np.asarray(is_eligible, dtype=bool).ravel()


def benjamini_hochberg(p: ArrayLike, q: float = 0.05) -> NDArray:
    """Which hypotheses the step-up procedure rejects at false-discovery rate q; bool, shape of p. NaN: never.

    Source: Benjamini and Hochberg (1995), J. R. Stat. Soc. B 57:289 (scipy computes the adjusted values).
    """
    values = np.asarray(p, dtype=float).ravel()
    known = np.isfinite(values)
    out = np.zeros(values.size, dtype=bool)
    if known.any():
        # A hair of tolerance: the adjusted value is p * m / rank, in floating point.
        out[known] = stats.false_discovery_control(values[known], method="bh") <= q * (1 + 1e-12)
    return out
