"""Time to the first callback: Kaplan-Meier incidence at chosen windows, and the log-rank test.

Censoring is at the end of follow-up; an event and a censoring on the same day count the event first. The clock may be
calendar days or heating days: durations are plain numbers.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from models.methods.follow_up import check_follow_up
from models.methods.site_jackknife import WindowComparison, jackknife_incidence, site_jackknife

__all__ = [
    "WindowComparison",
    "event_table",
    "jackknife_incidence",
    "kaplan_meier_at",
    "kaplan_meier_curve",
    "logrank",
    "site_jackknife",
]

METHOD = "1 - Kaplan-Meier"


def kaplan_meier_curve(durations: ArrayLike, is_event: ArrayLike) -> tuple[NDArray, NDArray, NDArray]:
    """Incidence curve 1 - S(t) with its Greenwood standard error, for drawing.

    durations: shape (n,), >= 0. is_event: bool, shape (n,).
    Returns times (distinct event times, rising), incidence after each, standard error: three arrays, shape (n_times,).
    Raises ValueError on negative or missing durations.
    Source: Kaplan and Meier (1958), J. Am. Stat. Assoc. 53:457; Greenwood (1926).
    """
    time, event = check_follow_up(durations, is_event)
    grid, n_events, n_at_risk = event_table(time, event)
    survival = np.cumprod(1 - n_events / n_at_risk)
    with np.errstate(divide="ignore", invalid="ignore"):
        variance = survival**2 * np.cumsum(n_events / (n_at_risk * (n_at_risk - n_events)))
    return grid, 1 - survival, np.sqrt(np.where(survival > 0, variance, 0.0))


def kaplan_meier_at(durations: ArrayLike, is_event: ArrayLike, windows: ArrayLike) -> NDArray[np.float64]:
    """Incidence 1 - S(window): the share with an event within each window, follow-up of any length.

    durations: shape (n,), >= 0. is_event: bool, shape (n,). windows: shape (n_windows,), same unit as durations.
    Returns incidence, shape (n_windows,); NaN where nobody is followed that far and some were still without an event
    when the last one left (nothing is known there). Sorts once: 300,000 subjects take well under a second.
    Raises ValueError on negative or missing durations.
    """
    time, event = check_follow_up(durations, is_event)
    at = np.atleast_1d(np.asarray(windows, dtype=float))
    if time.size == 0:
        return np.full(at.shape, np.nan)
    grid, n_events, n_at_risk = event_table(time, event)
    survival = np.concatenate([[1.0], np.cumprod(1 - n_events / n_at_risk)])
    incidence = 1 - survival[np.searchsorted(grid, at, side="right")]
    return np.where((at > time.max()) & (survival[-1] > 0), np.nan, incidence)


def event_table(
    time: NDArray[np.float64], event: NDArray[np.bool_]
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Distinct event times, events at each, and how many were at risk just before it."""
    order = np.sort(time)
    grid, n_events = np.unique(time[event], return_counts=True)
    return grid, n_events.astype(float), (time.size - np.searchsorted(order, grid, side="left")).astype(float)


def logrank(durations: ArrayLike, is_event: ArrayLike, group: ArrayLike) -> tuple[float, float]:
    """Two-group log-rank test.

    durations, is_event, group: shape (n,); group is bool.
    Returns the chi-square statistic (1 degree of freedom) and its p-value; (NaN, NaN) if a group is empty or no event
    can compare them. Assumes independent subjects, so it is shown beside the jackknife, never instead of it.
    Source: Mantel (1966), Cancer Chemother. Rep. 50:163, hypergeometric variance.
    """
    time, event = check_follow_up(durations, is_event)
    is_first = np.asarray(group, dtype=bool).ravel()
    if is_first.shape != time.shape:
        raise ValueError(f"group: got {is_first.size} values for {time.size} durations; must be as many.")
    if time.size == 0 or is_first.all() or not is_first.any() or not event.any():
        return float("nan"), float("nan")
    grid, d, n = event_table(time, event)
    mine = np.sort(time[is_first])
    n1 = mine.size - np.searchsorted(mine, grid, side="left")
    d1 = np.bincount(np.searchsorted(grid, time[event & is_first]), minlength=grid.size)
    share = n1 / n
    variance = (share * (1 - share) * d * (n - d) / np.maximum(n - 1, 1)).sum()
    if variance <= 0:
        return float("nan"), float("nan")
    statistic = float((d1 - d * share).sum() ** 2 / variance)
    return statistic, float(stats.chi2.sf(statistic, 1))
