"""Choosing whom to flag while the share of false flags stays within a limit."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats


def select_by_fdr(probability_above: ArrayLike, limit: float = 0.10, is_eligible: ArrayLike | None = None) -> NDArray:
    """Flag as many units as possible while the expected share of false flags stays within `limit`.

    probability_above: shape (n_units,); NaN is never flagged. is_eligible: bool, others are never flagged nor counted.
    Returns bool, shape (n_units,): units in falling order of probability while the mean of 1 - probability of those
    flagged is at most `limit`; equal probabilities are flagged together or not at all.
    Source: Newton, Noueiry, Sarkar and Ahlquist (2004), Biostatistics 5:155.
    """
    p = np.asarray(probability_above, dtype=float).ravel()
    if not 0 <= limit < 1:
        raise ValueError(f"limit: got {limit!r}; must lie between 0 and 1, for example 0.10.")
    usable = np.isfinite(p) if is_eligible is None else np.isfinite(p) & np.asarray(is_eligible, dtype=bool).ravel()
    flagged = np.zeros(p.size, dtype=bool)
    order = np.flatnonzero(usable)[np.argsort(-p[usable], kind="stable")]
    if order.size == 0:
        return flagged
    error = np.cumsum(1 - p[order]) / np.arange(1, order.size + 1)
    is_last_of_tie = np.append(np.diff(p[order]) != 0, True)
    good = np.flatnonzero((error <= limit) & is_last_of_tie)
    if good.size:
        flagged[order[: good[-1] + 1]] = True
    return flagged


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
