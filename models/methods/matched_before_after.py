"""Before and after coaching against units that were not coached, month by month.

A unit is coached because of what was seen before. Three things then look like success without any: the worst of a
group are partly the unluckiest, and luck does not last; everybody may be getting better; and the mix of cases changes.
So each unit's own past is drawn towards that of units like it (Hauer's empirical Bayes) and carried into the months
after by their case mix and by how all units that were not coached yet changed from quarter to quarter.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import optimize, special

from models.methods.before_after import empirical_bayes
from models.methods.estimate import Estimate, unknown
from models.methods.numeral import numeral
from models.methods.proportion import check_level

METHOD = "empirical-Bayes before/after against uncoached technicians"
MONTHS_AFTER = 12
PERIOD_MONTHS = 3
FEWEST_COACHED, FEWEST_COMPARED, FEWEST_CASES = 3, 8, 20
MOST_LEFT_OUT = 50
# Largest variance of the units' levels as multiples of the mean: far beyond any fleet.
MOST_SPREAD = 10.0
MOST_STEPS, SMALLEST_STEP = 200, 1e-6


@dataclass(frozen=True)
class MatchedEffect:
    """ratio: after / expected without coaching (1 = no effect). difference: the same in shares of cases (0 = none).

    n_coached, n_compared: units. n_cases, n_hits: of the coached after. expected: hits expected after, without
    coaching. plain_difference: rate after - rate before of the coached, which is what a naive comparison would show.
    unit_expected: the same per unit, shape (n_units,); NaN where a unit was not coached or nothing can be said.
    """

    ratio: Estimate
    difference: Estimate
    n_coached: int
    n_compared: int
    n_cases: int
    n_hits: float
    expected: float | None
    plain_difference: float | None
    unit_expected: NDArray


@dataclass(frozen=True)
class _Learned:
    """change: hits per expected hit by period, shape (n_periods,). phi: how much units differ; n: from how many."""

    change: NDArray
    phi: float
    n: int


def matched_before_after(
    hits: ArrayLike,
    cases: ArrayLike,
    expected: ArrayLike,
    coached_month: ArrayLike,
    months_after: int = MONTHS_AFTER,
    level: float = 0.95,
    noun: str = "cases",
) -> MatchedEffect:
    """Effect of coaching on how often a case is a hit.

    hits, cases, expected: shape (n_units, n_months); hits may be fractional, 0 <= hits <= cases; expected: hits that
    like cases have. coached_month: shape (n_units,), month number of a unit's first session, -1 = never.
    Before: all months up to that month; after: up to `months_after` months following it; the month itself belongs to
    neither. Expected of a coached unit after = its empirical-Bayes level before x case mix x change over time. The
    change, by quarters, comes from all months of all units before their own coaching: choosing by what was seen until
    then does not bias it. phi comes from the same months, by likelihood.
    Variance: the unit's own level and chance after (both times how much more than chance units vary from year to year,
    never under 1), and the change over time (jackknife, units left out singly or in 50 groups).
    Returns a MatchedEffect; unknown, in words, with under 3 coached units, under 8 others, or under 20 cases after.
    Raises ValueError on impossible counts or shapes.
    Assumes that whom to coach was chosen by what was seen before, and that nothing else changed for those units alone.
    Source: Hauer (1997), Observational Before-After Studies in Road Safety, chapters 9 and 11; ignorable choice:
    Rubin (1976), Biometrika 63:581.
    """
    check_level(level)
    x, n, e = (np.atleast_2d(np.asarray(a, dtype=float)) for a in (hits, cases, expected))
    started = np.asarray(coached_month, dtype=int).ravel()
    _check(x, n, e, started)
    month = np.arange(x.shape[1])
    is_before = (started[:, None] < 0) | (month < started[:, None])
    is_after = (started[:, None] >= 0) & (month > started[:, None]) & (month <= started[:, None] + months_after)
    # Who has no cases before, or none after, says nothing about the coaching.
    is_coached = (started >= 0) & ((e * is_before).sum(axis=1) > 0) & ((e * is_after).sum(axis=1) > 0)
    n_compared = int(((started < 0) & (e.sum(axis=1) > 0)).sum())
    after = is_after & is_coached[:, None]
    n_cases, n_hits = int((n * after).sum()), float((x * after).sum())
    reason = _too_little(int(is_coached.sum()), n_compared, n_cases, noun)
    if reason:
        none = unknown(reason, n_cases, method=METHOD)
        untold = np.full(len(x), np.nan)
        return MatchedEffect(none, none, int(is_coached.sum()), n_compared, n_cases, n_hits, None, None, untold)
    before, later = [_by_period(a * is_before) for a in (x, n, e)], _by_period(e * after)
    learned = _learned(before, np.ones(len(x)))
    unit, own = _expected(before, later, learned)
    total = float(unit.sum())
    inflation = _inflation(before, learned)
    group = np.arange(len(x)) % MOST_LEFT_OUT
    # A unit left out of what is learned is still judged: only the change over time does without it.
    left_out = np.array(
        [
            _expected(before, later, _learned(before, (group != g).astype(float), learned))[0].sum()
            for g in np.unique(group)
        ]
    )
    m = left_out.size
    change = (m - 1) / m * float(((left_out - left_out.mean()) ** 2).sum())
    t = float(special.stdtrit(n_compared - 1, (1 + level) / 2))
    rate = (n_hits + 1) / (n_cases + 2)
    chance = inflation * n_cases * rate * (1 - rate)
    error = float(np.sqrt(inflation * own + chance + change))
    difference = _difference(n_hits, total, t * error, n_cases, level)
    relative = (inflation * own + change) / total**2 if total > 0 else 0.0
    ratio = _ratio(n_hits, total, relative, chance, t, n_cases, level)
    earlier = [(a * is_before)[is_coached].sum() for a in (x, n)]
    plain = float(n_hits / n_cases - earlier[0] / earlier[1]) if earlier[1] else None
    unit = np.where(is_coached, unit, np.nan)
    return MatchedEffect(ratio, difference, int(is_coached.sum()), n_compared, n_cases, n_hits, total, plain, unit)


def _check(x: NDArray, n: NDArray, e: NDArray, started: NDArray) -> None:
    if not x.shape == n.shape == e.shape or started.shape != x.shape[:1]:
        raise ValueError(
            f"hits, cases, expected, coached_month: got shapes {x.shape}, {n.shape}, {e.shape}, {started.shape}; must "
            "be (n_units, n_months) three times and (n_units,)."
        )
    if (~((x >= 0) & (x <= n + 1e-9))).any() or (~(e >= 0)).any():
        raise ValueError(
            "hits and expected: must be 0 or more, and hits at most the cases. Check how they were counted."
        )


def _too_little(n_coached: int, n_compared: int, n_cases: int, noun: str) -> str:
    if n_coached < FEWEST_COACHED:
        return f"Not compared: {n_coached} coached with {noun} before and after; it needs {FEWEST_COACHED}."
    if n_compared < FEWEST_COMPARED:
        return f"Not compared: {n_compared} not coached to compare with; it needs {FEWEST_COMPARED}."
    if n_cases < FEWEST_CASES:
        return f"Not compared: {n_cases} {noun} since the coaching; it needs {FEWEST_CASES}."
    return ""


def _by_period(a: NDArray) -> NDArray:
    """Sums of the columns by quarters; the last one may be shorter. Shape (n_units, n_periods)."""
    return np.add.reduceat(a, np.arange(0, a.shape[1], PERIOD_MONTHS), axis=1)


def _learned(before: list[NDArray], is_used: NDArray, first: _Learned | None = None) -> _Learned:
    """Level by period and phi, from the units used (1, else 0; shape (n_units,)).

    before: hits, cases, expected by unit and period before coaching. first: what all units say; phi is then taken
    from there. Each step sets the units' levels given the periods', then the periods' given the units'.
    """
    x, n, e = before
    weight = is_used[:, None]
    total = (weight * x).sum(axis=0)
    level = total.sum() / max((weight * e).sum(), 1e-12)
    change = np.full(x.shape[1], level) if first is None else first.change
    hits, cases = x.sum(axis=1), n.sum(axis=1)
    is_there = (cases > 0) & (is_used > 0)
    phi, n_used = float("inf"), int(is_there.sum())
    for _ in range(MOST_STEPS):
        mean = np.minimum(e @ change, cases)
        phi = _phi(hits[is_there], mean[is_there], cases[is_there]) if first is None else first.phi
        like = (is_used * _levels(before, _Learned(change, phi, n_used))[0]) @ e
        # A period in which nobody was left uncoached takes the level of all.
        updated = np.where(like > 0, total / np.maximum(like, 1e-12), level)
        is_settled = np.abs(updated - change).max() < SMALLEST_STEP
        change = updated
        if is_settled:
            break
    return _Learned(change, phi, n_used)


def _levels(before: list[NDArray], learned: _Learned) -> tuple[NDArray, NDArray]:
    """Level of each unit, 1 = as like cases, and its variance.

    That phi is itself an estimate would draw units too far in, on average, and say too little of the doubt: the weight
    of the others is lowered and the variance raised as in Morris (1983), J. Am. Stat. Assoc. 78:47.
    """
    x, n, e = before
    hits, cases = x.sum(axis=1), n.sum(axis=1)
    mean = np.minimum(e @ learned.change, cases)
    estimate, sd = empirical_bayes(hits, mean, learned.phi, cases)
    drawn = estimate - hits
    free = max(learned.n - 1, 3)
    estimate = hits + drawn * (free - 2) / free
    variance = sd**2 + 2 / (free - 2) * drawn**2
    one = np.divide(estimate, mean, out=np.ones(mean.size), where=mean > 0)
    return one, np.divide(variance, mean**2, out=np.zeros(mean.size), where=mean > 0)


def _expected(before: list[NDArray], later: NDArray, learned: _Learned) -> tuple[NDArray, float]:
    """Hits expected of each unit after, and the variance of their sum. later: case mix of the coached units after."""
    one, variance = _levels(before, learned)
    carried = later @ learned.change
    return one * carried, float(variance @ carried**2)


def _phi(hits: NDArray, mean: NDArray, cases: NDArray) -> float:
    """Overdispersion by likelihood (normal), with the degree of freedom that fitting the level took given back.

    Not by moments: units with many hits are coached early, and stop being counted, so that their share of the squares
    is not their share of the units. The likelihood does not mind why a unit stopped.
    """
    known = mean > 0
    x, m, n = hits[known], mean[known], cases[known]
    if x.size < 2:
        return float("inf")
    chance = m * (1 - np.minimum(m / n, 0.99))
    away = (x - m) ** 2 * x.size / (x.size - 1)

    def slope(spread: float) -> float:
        variance = chance + m**2 * spread
        return float((m**2 * (away / variance - 1) / variance).sum())

    if slope(0.0) <= 0:
        return float("inf")
    return 1 / float(optimize.brentq(slope, 0.0, MOST_SPREAD, xtol=1e-9)) if slope(MOST_SPREAD) < 0 else 1 / MOST_SPREAD


def _inflation(before: list[NDArray], learned: _Learned) -> float:
    """Mean square of the units' yearly residuals against chance, a degree of freedom less for each unit; at least 1."""
    x, n, e = before
    theta = _levels(before, learned)[0]
    year = np.arange(0, x.shape[1], 12 // PERIOD_MONTHS)
    hits, cases, thought = (np.add.reduceat(a, year, axis=1) for a in (x, n, theta[:, None] * e * learned.change))
    share = np.divide(thought, cases, out=np.zeros(thought.shape), where=cases > 0)
    variance = thought * (1 - np.minimum(share, 0.99))
    is_full = thought >= 1
    n_free = int(is_full.sum()) - int(is_full.any(axis=1).sum())
    if n_free < 1:
        return 1.0
    return max(1.0, float(((hits - thought)[is_full] ** 2 / variance[is_full]).sum()) / n_free)


def _difference(n_hits: float, total: float, half: float, n_cases: int, level: float) -> Estimate:
    gap = (n_hits - total) / n_cases
    low, high = max(gap - half / n_cases, -1.0), min(gap + half / n_cases, 1.0)
    words = f"{numeral(100 * gap, '+.1f')} points against what was to be expected (between {numeral(100 * low, '+.1f')} and {numeral(100 * high, '+.1f')})."
    return Estimate(gap, low, high, n_cases, None, METHOD, words, level)


def _ratio(n_hits: float, total: float, relative: float, chance: float, t: float, n: int, level: float) -> Estimate:
    if total <= 0:
        return unknown("Nothing was to be expected in this period, so there is no comparison.", n, method=METHOD)
    value = n_hits / total / (1 + relative)
    if n_hits == 0:
        low, high = 0.0, float(-np.log(1 - level) / total)
    else:
        half = t * np.sqrt(chance / n_hits**2 + relative) / (1 + relative)
        low, high = value * np.exp(-half), value * np.exp(half)
    words = f"{numeral(value, '.2f')} times what was to be expected without coaching (between {numeral(low, '.2f')} and {numeral(high, '.2f')})."
    return Estimate(value, float(low), float(high), n, None, METHOD, words, level)
