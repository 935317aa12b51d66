"""Incidence by group with a leave-one-site-out jackknife, because swaps at one site are alike."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special, stats

from models.methods.estimate import Estimate, unknown
from models.methods.follow_up import check_follow_up
from models.methods.numeral import numeral
from models.methods.proportion import check_level

METHOD = "1 - Kaplan-Meier, leave-one-site-out jackknife"
MAXIMUM_GRID = 400
CHUNK_SITES = 2048


@dataclass(frozen=True)
class WindowComparison:
    """One window. difference = without - with, ratio = without / with: above 0, above 1 = more without a cause."""

    window: float
    with_cause: Estimate
    without_cause: Estimate
    difference: Estimate
    ratio: Estimate


@dataclass(frozen=True)
class _Group:
    """Incidence of one group: all together, and with each site left out; shapes (n_windows,), (n_all_sites, n_windows).

    A site that is not in the group leaves the full value. present: numbers of the group's own sites.
    """

    n: int
    present: NDArray
    value: NDArray
    left_out: NDArray
    n_known: NDArray
    n_sites_followed: NDArray
    n_sites_with_event: NDArray

    @property
    def n_sites(self) -> int:
        return int(self.present.size)


def site_jackknife(
    durations: ArrayLike,
    is_event: ArrayLike,
    group: ArrayLike,
    site: ArrayLike,
    windows: ArrayLike,
    level: float = 0.95,
    is_competing: ArrayLike | None = None,
) -> list[WindowComparison]:
    """Share with an event within each window, with and without a cause, their difference and ratio.

    durations (>= 0), is_event (bool), group (bool: True = with a root cause), site (any labels): shape (n,).
    windows: shape (n_windows,), in the unit of durations. level: two-sided coverage.
    Returns one WindowComparison per window. n = subjects in the group, coverage = share whose answer at the window is
    known (event by then, or followed that long).
    Intervals: each share on the logit, the difference on its own scale and the ratio on the log, each from the
    values with one site left out (of both groups jointly), Student t with (sites - 1) degrees of freedom.
    Where the jackknife cannot speak, stated rules stand in, counting each site followed to the window once (m sites):
    no event: 0 to 1 - (1 - level)^(1/m), the exact form of the rule of three; all events at one site, or everyone
    with an event: Clopper-Pearson for share * m of m; a difference with such a share: Newcombe's square-and-add; a
    ratio with a zero: unknown. One site: unknown. No NaN leaves this function.
    More than 400 distinct event times are rounded up to whole units (days), so time and memory stay bounded.
    is_competing (bool, shape (n,)): ends after which no event can come any more (the appliance was taken out, the
    switch replaced anew). Given, the share is the Aalen-Johansen cumulative incidence: of all subjects, how many had
    the event before such an end. Left out, such ends are censorings, and the share is 1 - Kaplan-Meier: how many would
    have had the event if nothing else had ended the watch.
    Raises ValueError on unequal lengths, bad durations or a subject with both an event and a competing end.
    Source: Lipsitz, Dear and Zhao (1994), Biometrics 50:842 (jackknife for clustered survival); Newcombe (1998),
    Stat. Med. 17:873 (differences); Aalen and Johansen (1978), Scand. J. Stat. 5:141.
    """
    check_level(level)
    time, event = check_follow_up(durations, is_event)
    is_with = np.asarray(group, dtype=bool).ravel()
    sites = np.asarray(site).ravel()
    if not is_with.shape == sites.shape == time.shape:
        raise ValueError(
            f"group, site: got {is_with.size}, {sites.size} values for {time.size} durations; must be as many."
        )
    at = np.atleast_1d(np.asarray(windows, dtype=float))
    labels, code = np.unique(sites, return_inverse=True)
    other = np.zeros(time.size, dtype=bool) if is_competing is None else np.asarray(is_competing, dtype=bool).ravel()
    if other.shape != time.shape:
        raise ValueError(f"is_competing: got {other.size} values for {time.size} durations; must be as many.")
    if (event & other).any():
        raise ValueError(
            f"is_competing at position {int(np.argmax(event & other))}: got both an event and a competing end; "
            "a subject has one end."
        )
    time, grid = _whole_units(time, event | other, at)
    first = _incidence(time, event, other, code, labels.size, is_with, grid, at)
    second = _incidence(time, event, other, code, labels.size, ~is_with, grid, at)
    out = []
    for k, window in enumerate(at):
        one, two = _share(first, k, window, level), _share(second, k, window, level)
        difference = _difference(second, first, k, two, one, labels.size, level)
        ratio = _ratio(second, first, k, labels.size, level)
        out.append(WindowComparison(float(window), one, two, difference, ratio))
    return out


def jackknife_incidence(
    durations: ArrayLike, is_event: ArrayLike, site: ArrayLike, windows: ArrayLike, level: float = 0.95
) -> list[Estimate]:
    """The share of one group with an event within each window; rules and arguments as for `site_jackknife`."""
    everyone = np.ones(np.asarray(durations).size, dtype=bool)
    return [w.with_cause for w in site_jackknife(durations, is_event, everyone, site, windows, level)]


def _whole_units(time: NDArray, event: NDArray, at: NDArray) -> tuple[NDArray, NDArray]:
    last = at.max() if at.size else 0.0
    grid = np.unique(time[event & (time <= last)])
    if grid.size > MAXIMUM_GRID:
        # Rounding up keeps "within the window" true for whole-day windows.
        time = np.ceil(time)
        grid = np.unique(time[event & (time <= last)])
    return time, grid


def _incidence(
    time: NDArray, event: NDArray, other: NDArray, code: NDArray, n_sites: int, is_mine: NDArray, grid: NDArray,
    at: NDArray,
) -> _Group:  # fmt: skip
    """Exact leave-one-out values by subtracting each site's events and numbers at risk from the totals."""
    order = np.flatnonzero(is_mine)
    order = order[np.argsort(code[order], kind="stable")]
    mine, hit, lost, where = time[order], event[order], other[order], code[order]
    n_times = grid.size
    # A subject is at risk at the first `reach` event times; its own event is at number reach - 1.
    reach = np.searchsorted(grid, mine, side="right")
    is_on_grid = (reach > 0) & (mine <= (grid[-1] if n_times else -1.0))
    is_counted, is_lost = hit & is_on_grid, lost & is_on_grid
    total_d = np.bincount(reach[is_counted] - 1, minlength=n_times).astype(float)
    total_x = np.bincount(reach[is_lost] - 1, minlength=n_times).astype(float)
    total_r = _at_risk(np.bincount(reach, minlength=n_times + 1)[None, :])[0]
    upto = np.searchsorted(grid, at, side="right")
    present, start = np.unique(where, return_index=True)
    value = _share_by(total_d[None, :], total_x[None, :], total_r[None, :], upto)[0]
    left_out = np.tile(value, (n_sites, 1))
    stop = np.append(start[1:], where.size)
    for a in range(0, present.size, CHUNK_SITES):
        b = min(a + CHUNK_SITES, present.size)
        piece = slice(start[a], stop[b - 1])
        row = np.repeat(np.arange(b - a), stop[a:b] - start[a:b])
        reached = np.bincount(row * (n_times + 1) + reach[piece], minlength=(b - a) * (n_times + 1))
        r = total_r - _at_risk(reached.reshape(b - a, n_times + 1))
        d, x = (
            np.bincount(row[own] * n_times + reach[piece][own] - 1, minlength=(b - a) * n_times).reshape(b - a, n_times)
            for own in (is_counted[piece], is_lost[piece])
        )
        left_out[present[a:b]] = _share_by(total_d - d, total_x - x, r, upto)
    is_within = hit[:, None] & (mine[:, None] <= at)
    is_followed = (mine[:, None] >= at) | lost[:, None]
    farthest = mine.max() if mine.size else -1.0
    # Nothing is known past the longest follow-up, unless all of those had ended for good.
    is_all_ended = mine.size > 0 and bool((hit | lost)[mine == farthest].all())
    is_open = (at > farthest) & (value < 1) & (not is_all_ended)
    return _Group(
        n=mine.size,
        present=present,
        value=np.where(is_open, np.nan, value),
        left_out=left_out,
        n_known=(is_within | is_followed).sum(axis=0),
        n_sites_followed=_count_sites(where, is_within | is_followed),
        n_sites_with_event=_count_sites(where, is_within),
    )


def _at_risk(reached: NDArray) -> NDArray:
    """From how many reach k event times to how many are at risk at each: shape (rows, n_times)."""
    return np.cumsum(reached[:, ::-1], axis=1)[:, ::-1][:, 1:].astype(float)


def _share_by(d: NDArray, x: NDArray, r: NDArray, upto: NDArray) -> NDArray:
    """Share with the event by each window, from events d, competing ends x and numbers at risk r."""
    survival = np.ones((d.shape[0], d.shape[1] + 1))
    hazard = d / np.maximum(r, 1)
    if not x.any():
        np.cumprod(1 - hazard, axis=1, out=survival[:, 1:])
        return 1 - survival[:, upto]
    np.cumprod(1 - (d + x) / np.maximum(r, 1), axis=1, out=survival[:, 1:])
    share = np.zeros_like(survival)
    np.cumsum(survival[:, :-1] * hazard, axis=1, out=share[:, 1:])
    return share[:, upto]


def _count_sites(where: NDArray, is_hit: NDArray) -> NDArray:
    """Per window, sites with a hit. where: site numbers in order, shape (n,); is_hit: shape (n, n_windows)."""
    if not where.size:
        return np.zeros(is_hit.shape[1], dtype=int)
    first = np.flatnonzero(np.diff(where, prepend=-1))
    return np.logical_or.reduceat(is_hit, first, axis=0).sum(axis=0)


def _spread(left_out: NDArray) -> float:
    """Jackknife standard error from the values with each of m sites left out."""
    m = left_out.size
    centred = left_out - left_out.mean()
    return float(np.sqrt((m - 1) / m * (centred**2).sum()))


def _is_regular(group: _Group, k: int) -> bool:
    return group.n_sites_with_event[k] >= 2 and 0 < group.value[k] < 1 and bool((group.left_out[:, k] < 1).all())


def _share(group: _Group, k: int, window: float, level: float) -> Estimate:
    value, m = group.value[k], int(group.n_sites_followed[k])
    coverage = group.n_known[k] / group.n if group.n else None
    if group.n == 0:
        return unknown("No swaps in this group.", 0, None, METHOD)
    if np.isnan(value) or m == 0:
        return unknown(f"No swap in this group has been followed for {window:g} days yet.", group.n, coverage, METHOD)
    if group.n_sites < 2:
        words = f"All {numeral(group.n)} are at one site ({numeral(value, '.1%')} within {window:g} days), so no range can be given."
        return unknown(words, group.n, coverage, METHOD)
    if value == 0:
        high = 1 - (1 - level) ** (1 / m)
        words = f"None came back within {window:g} days; a share up to {numeral(high, '.1%')} would fit with that."
        return Estimate(0.0, 0.0, high, group.n, coverage, METHOD, words, level)
    if not _is_regular(group, k):
        low, high = _clopper_pearson(value * m, m, level)
    else:
        own = group.left_out[group.present, k]
        half = special.stdtrit(group.n_sites - 1, (1 + level) / 2) * _spread(np.log(own / (1 - own)))
        logit = np.log(value / (1 - value))
        low, high = (float(1 / (1 + np.exp(-(logit + s * half)))) for s in (-1, 1))
    words = f"{numeral(value, '.1%')} came back within {window:g} days (between {numeral(low, '.1%')} and {numeral(high, '.1%')})."
    return Estimate(value, low, high, group.n, coverage, METHOD, words, level)


def _clopper_pearson(x: float, m: float, level: float) -> tuple[float, float]:
    tail = (1 - level) / 2
    low = float(stats.beta.ppf(tail, x, m - x + 1)) if x > 0 else 0.0
    high = float(stats.beta.ppf(1 - tail, x + 1, m - x)) if x < m else 1.0
    return low, high


def _difference(a: _Group, b: _Group, k: int, one: Estimate, two: Estimate, n_sites: int, level: float) -> Estimate:
    """a - b on its own scale; `one`, `two` are their shares."""
    n = a.n + b.n
    coverage = (a.n_known[k] + b.n_known[k]) / n if n else None
    if one.value is None or two.value is None:
        return unknown("Not compared: " + _first_reason(one, two), n, coverage, METHOD)
    value = one.value - two.value
    if _is_regular(a, k) and _is_regular(b, k):
        half = special.stdtrit(n_sites - 1, (1 + level) / 2) * _spread(a.left_out[:, k] - b.left_out[:, k])
        low, high = value - half, value + half
    else:
        down, up = _distances(one), _distances(two)
        low, high = value - np.hypot(down[0], up[1]), value + np.hypot(down[1], up[0])
    low, high = max(float(low), -1.0), min(float(high), 1.0)
    words = f"{numeral(100 * value, '+.1f')} points without a cause (between {numeral(100 * low, '+.1f')} and {numeral(100 * high, '+.1f')})."
    return Estimate(value, low, high, n, coverage, METHOD, words, level)


def _ratio(a: _Group, b: _Group, k: int, n_sites: int, level: float) -> Estimate:
    """a / b on the log."""
    n = a.n + b.n
    coverage = (a.n_known[k] + b.n_known[k]) / n if n else None
    if not n or np.isnan(a.value[k]) or np.isnan(b.value[k]):
        return unknown("Not compared: one group has no answer at this window.", n, coverage, METHOD)
    if a.value[k] == 0 or b.value[k] == 0:
        return unknown("No ratio: nothing came back in one of the groups.", n, coverage, METHOD)
    if not (_is_regular(a, k) and _is_regular(b, k)):
        return unknown("No ratio: callbacks of one group come from a single site.", n, coverage, METHOD)
    value = a.value[k] / b.value[k]
    left_out = np.log(a.left_out[:, k]) - np.log(b.left_out[:, k])
    half = special.stdtrit(n_sites - 1, (1 + level) / 2) * _spread(left_out)
    low, high = float(value * np.exp(-half)), float(value * np.exp(half))
    words = f"{numeral(value, '.2f')} times as often without a cause (between {numeral(low, '.2f')} and {numeral(high, '.2f')})."
    return Estimate(value, low, high, n, coverage, METHOD, words, level)


def _distances(e: Estimate) -> tuple[float, float]:
    """How far the interval reaches below and above the value."""
    value, low, high = (0.0 if x is None else x for x in (e.value, e.low, e.high))
    return value - low, high - value


def _first_reason(*estimates: Estimate) -> str:
    return next(e.sentence for e in estimates if e.value is None)
