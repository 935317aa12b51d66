"""Control chart for a weekly share, against a frozen baseline."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

KINDS = ("auto", "exact", "laney", "normal")
FEWEST_BASELINE_POINTS = 8
# Mean moving range of two standard normals.
MOVING_RANGE = 1.128
LEAST_CORRELATED, MOST_CORRELATED = 1e-6, 0.5


@dataclass(frozen=True)
class ControlChart:
    """Arrays of shape (n_points,): share (NaN without cases), centre, lower, upper, is_signal, limit_kind.

    limit_kind: 'exact', 'laney' or 'normal' for each point. sigma_z: how much wider than binomial the baseline varies.
    is_drawn: False when the baseline is too short; then limits are NaN, nothing signals, and `reason` says why.
    """

    share: NDArray
    centre: float
    lower: NDArray
    upper: NDArray
    is_signal: NDArray
    limit_kind: NDArray
    sigma_z: float
    n_baseline: int
    is_drawn: bool
    reason: str


def p_chart(
    counts: ArrayLike,
    n: ArrayLike,
    baseline: ArrayLike | slice | None = None,
    is_immature: ArrayLike | None = None,
    kind: str = "auto",
    sigmas: float = 3.0,
    fewest_baseline_points: int = FEWEST_BASELINE_POINTS,
) -> ControlChart:
    """Limits and signals for counts out of n, point by point.

    counts, n: shape (n_points,), in time order, 0 <= counts <= n; n may be 0 (a gap).
    baseline: the points the limits rest on, frozen: bool mask, positions or slice; None = all. Immature points and
    points without cases never belong to it.
    is_immature: bool, points too young for their window: they are drawn but never signal.
    kind: 'auto' = exact limits where n * p (or n * (1 - p)) is under 5, else Laney's p'; or one kind for all.
    'normal' is the classic p -+ sigmas * sqrt(p (1 - p) / n).
    Exact: a point signals if the chance of a count as far out, on its side, is at most the normal tail at `sigmas`;
    the limits are the last counts that do not signal. Binomial; under 'auto', where the baseline varies more than chance
    (sigma_z above 1), beta-binomial with the correlation rho for which sigma_z^2 = 1 + (n - 1) rho at the baseline's
    mean n: binomial limits would signal too often on a steady process that varies so.
    Laney: binomial standard error x sigma_z, where sigma_z = mean moving range of the baseline's z-scores / 1.128, never
    under 1 (never narrower than chance alone allows).
    Returns a ControlChart. Raises ValueError naming the argument, the value and what is allowed.
    Source: Shewhart (1931); Laney (2002), Qual. Eng. 14:531; NIST/SEMATECH e-Handbook, section 6.3.3.2.
    """
    if kind not in KINDS:
        raise ValueError(f"kind: got {kind!r}; must be one of {', '.join(KINDS)}.")
    x, size = (np.asarray(a, dtype=float).ravel() for a in (counts, n))
    if x.shape != size.shape:
        raise ValueError(f"counts and n: got {x.size} and {size.size} points; must be as many.")
    bad = ~((x >= 0) & (x <= size))
    if bad.any():
        i = int(np.argmax(bad))
        raise ValueError(f"point {i}: got {x[i]:g} of {size[i]:g}; must be 0 <= count <= n.")
    has_cases = size > 0
    young = np.zeros(x.size, dtype=bool) if is_immature is None else np.asarray(is_immature, dtype=bool).ravel()
    in_base = np.zeros(x.size, dtype=bool)
    in_base[slice(None) if baseline is None else baseline if isinstance(baseline, slice) else np.asarray(baseline)] = (
        True
    )
    in_base &= has_cases & ~young
    share = np.divide(x, size, out=np.full(x.size, np.nan), where=has_cases)
    n_base = int(in_base.sum())
    if n_base < fewest_baseline_points:
        return _undrawn(share, n_base, fewest_baseline_points)
    centre = float(x[in_base].sum() / size[in_base].sum())
    error = np.sqrt(centre * (1 - centre) / np.where(has_cases, size, np.nan))
    sigma_z = _sigma_z((share[in_base] - centre), error[in_base])
    few = size * min(centre, 1 - centre) < 5
    kinds = np.where(few, "exact", "laney") if kind == "auto" else np.full(x.size, kind)
    spread = np.where(kinds == "laney", sigma_z, 1.0) * sigmas * error
    tail = float(stats.norm.sf(sigmas))
    is_exact = kinds == "exact"
    exact_low, exact_high = np.zeros(x.size), size.copy()
    rho = (sigma_z**2 - 1) / max(float(size[in_base].mean()) - 1, 1.0) if kind == "auto" else 0.0
    which = is_exact & has_cases
    exact_low[which], exact_high[which] = _exact_counts(size[which], centre, rho, tail)
    with np.errstate(invalid="ignore", divide="ignore"):
        # ppf(tail) is the smallest count with P(X <= count) >= tail; below it P(X <= count) < tail, a signal.
        lower = np.where(is_exact, exact_low / size, np.clip(centre - spread, 0, 1))
        upper = np.where(is_exact, exact_high / size, np.clip(centre + spread, 0, 1))
        lower, upper = (np.where(has_cases, limit, np.nan) for limit in (lower, upper))
        is_out = np.where(is_exact, (x < exact_low) | (x > exact_high), (share < lower) | (share > upper))
    return ControlChart(share, centre, lower, upper, is_out & has_cases & ~young, kinds, sigma_z, n_base, True, "")


def _exact_counts(size: NDArray, centre: float, rho: float, tail: float) -> tuple[NDArray, NDArray]:
    """Smallest counts reached with chance `tail` and 1 - `tail`. rho: correlation of the cases within a point."""
    quantiles = [[tail], [1 - tail]]
    if rho < LEAST_CORRELATED or not 0 < centre < 1 or not size.size:
        low, high = stats.binom.ppf(quantiles, size, centre)
        return low, high
    kappa = 1 / min(rho, MOST_CORRELATED) - 1
    # Worked out once for each size.
    sizes, back = np.unique(size, return_inverse=True)
    low, high = stats.betabinom.ppf(quantiles, sizes.astype(int), centre * kappa, (1 - centre) * kappa)
    return low[back], high[back]


def _sigma_z(away: NDArray, error: NDArray) -> float:
    if not (error > 0).all():
        return 1.0
    return max(1.0, float(np.abs(np.diff(away / error)).mean() / MOVING_RANGE))


def _undrawn(share: NDArray, n_base: int, fewest: int) -> ControlChart:
    none = np.full(share.size, np.nan)
    reason = f"No limits yet: they need {fewest} complete points in the baseline, and there are {n_base}."
    quiet = np.zeros(share.size, dtype=bool)
    return ControlChart(
        share, float("nan"), none, none, quiet, np.full(share.size, ""), float("nan"), n_base, False, reason
    )
