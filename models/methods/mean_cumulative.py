"""Repeats: the mean number of events per subject by a given time, with its robust variance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from models.methods.estimate import Estimate, unknown
from models.methods.numeral import numeral
from models.methods.proportion import check_level

METHOD = "mean cumulative function, Lawless-Nadeau variance"


@dataclass(frozen=True)
class MeanCumulative:
    """Step function: time (rising), value (mean events per subject by then), standard_error; shape (n_times,)."""

    time: NDArray
    value: NDArray
    standard_error: NDArray


def mean_cumulative(
    event_subject: ArrayLike, event_time: ArrayLike, follow_up: ArrayLike, cluster: ArrayLike | None = None
) -> MeanCumulative:
    """Mean cumulative function at every distinct event time.

    event_subject: which subject (0 .. n_subjects - 1) each event belongs to; event_time: when, 0 <= time <= that
    subject's follow-up; both shape (n_events,). follow_up: shape (n_subjects,). cluster: label per subject (a site)
    whose subjects are taken as alike; default: every subject is its own.
    Variance: sum over clusters of [sum over t_k <= t of (d_ik - n_ik * d_k / n_k) / n_k]^2, which asks nothing about
    how the repeats of one subject depend on each other. A subject is at risk up to and including its follow-up time.
    Raises ValueError on events outside follow-up or unknown subjects.
    Source: Lawless and Nadeau (1995), Technometrics 37:158; Nelson (2003), Recurrent Events Data Analysis.
    """
    who, when, end = _checked(event_subject, event_time, follow_up)
    return _at(who, when, end, np.unique(when), cluster)


def mean_cumulative_at(
    event_subject: ArrayLike,
    event_time: ArrayLike,
    follow_up: ArrayLike,
    windows: ArrayLike,
    cluster: ArrayLike | None = None,
    level: float = 0.95,
) -> list[Estimate]:
    """Mean events per subject by each window, interval on the log; other arguments as for `mean_cumulative`.

    No event by then: value 0, upper limit -log(1 - level) per subject (or cluster) followed that long (Poisson rule of
    three). A window that nobody is followed to, or a single cluster: unknown, in words.
    """
    check_level(level)
    who, when, end = _checked(event_subject, event_time, follow_up)
    at = np.atleast_1d(np.asarray(windows, dtype=float))
    groups = np.arange(end.size) if cluster is None else np.unique(np.asarray(cluster), return_inverse=True)[1]
    curve = _at(who, when, end, at, groups)
    z = float(stats.norm.ppf((1 + level) / 2))
    out = []
    for window, value, error in zip(at, curve.value, curve.standard_error, strict=True):
        is_followed = end >= window
        m = np.unique(groups[is_followed]).size
        coverage = float(is_followed.mean()) if end.size else None
        if m == 0:
            out.append(unknown(f"None has been followed for {window:g} days yet.", end.size, coverage, METHOD))
        elif np.unique(groups).size < 2:
            out.append(unknown("All are at one site, so no range can be given.", end.size, coverage, METHOD))
        else:
            low, high = (
                (0.0, -np.log(1 - level) / m) if value == 0 else value * np.exp([-z * error / value, z * error / value])
            )
            words = f"{numeral(value, '.2f')} callbacks each within {window:g} days (between {numeral(low, '.2f')} and {numeral(high, '.2f')})."
            out.append(Estimate(value, float(low), float(high), end.size, coverage, METHOD, words, level))
    return out


def _at(who: NDArray, when: NDArray, end: NDArray, at: NDArray, cluster: ArrayLike | None) -> MeanCumulative:
    grid, n_events = np.unique(when, return_counts=True)
    n_at_risk = end.size - np.searchsorted(np.sort(end), grid, side="left")
    step = n_events / n_at_risk
    total = np.concatenate([[0.0], np.cumsum(step)])
    charge = np.concatenate([[0.0], np.cumsum(step / n_at_risk)])
    value = total[np.searchsorted(grid, at, side="right")]
    groups = np.arange(end.size) if cluster is None else np.unique(np.asarray(cluster), return_inverse=True)[1]
    n_groups = int(groups.max()) + 1 if groups.size else 0
    share = 1 / n_at_risk[np.searchsorted(grid, when)]
    # Per distinct follow-up time, how many event times it reaches: the charge a subject bears by `t`.
    reach = np.searchsorted(grid, end, side="right")
    error = np.empty(at.size)
    for i, limit in enumerate(np.searchsorted(grid, at, side="right")):
        is_in = when <= at[i]
        gained = np.bincount(groups[who[is_in]], weights=share[is_in], minlength=n_groups)
        borne = np.bincount(groups, weights=charge[np.minimum(reach, limit)], minlength=n_groups)
        error[i] = np.sqrt(((gained - borne) ** 2).sum())
    return MeanCumulative(at, value, error)


def _checked(event_subject: ArrayLike, event_time: ArrayLike, follow_up: ArrayLike) -> tuple[NDArray, NDArray, NDArray]:
    who = np.asarray(event_subject, dtype=int).ravel()
    when = np.asarray(event_time, dtype=float).ravel()
    end = np.asarray(follow_up, dtype=float).ravel()
    if who.shape != when.shape:
        raise ValueError(f"event_subject and event_time: got {who.size} and {when.size} values; must be as many.")
    if (~(end >= 0)).any():
        raise ValueError(f"follow_up: got {end[~(end >= 0)][0]:g}; must be 0 or more.")
    if who.size and (who.min() < 0 or who.max() >= end.size):
        raise ValueError(f"event_subject: got {who.min()} to {who.max()}; must lie between 0 and {end.size - 1}.")
    bad = ~((when >= 0) & (when <= end[who]))
    if bad.any():
        i = int(np.argmax(bad))
        raise ValueError(
            f"event_time at position {i}: got {when[i]:g}; must lie within follow-up, 0 to {end[who[i]]:g}."
        )
    return who, when, end
