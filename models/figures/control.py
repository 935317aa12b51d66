"""Weekly control charts."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import duckdb
import numpy as np
import pandas as pd

from models.figures.scope import Scope
from models.methods.control_chart import FEWEST_BASELINE_POINTS, p_chart

CHARTS = ("no_root_cause", "good_switch", "callback_30")
BASELINE_WEEKS = 52
NAMES = {
    "no_root_cause": "Share of swaps without a root cause",
    "good_switch": "Good switches among those with a clear bench result",
    "callback_30": "Swaps that came back within 30 days",
}
# What a week must have to count as one of the baseline's.
CASE = {
    "no_root_cause": "a swap",
    "good_switch": "a clear bench result",
    "callback_30": "a swap followed up",
}
# What is counted of each week's swaps, and of how many. `c.` is the follow-up of the swap, `s.` the swap.
COUNTS = {
    "no_root_cause": ("count(*)", "count(*) FILTER (NOT coalesce(s.has_root_cause, false))"),
    "good_switch": ("count(*) FILTER (s.verdict IN ('good', 'faulty'))", "count(*) FILTER (s.verdict = 'good')"),
    "callback_30": (
        "count(*) FILTER (c.callback_days <= 30 OR c.observed_days >= 30)",
        "count(*) FILTER (c.callback_days <= 30)",
    ),
}


@dataclass(frozen=True)
class ControlChart:
    """One chart.

    weeks: DataFrame[week_on, n, count, share, centre, lower, upper, is_signal, is_mature]; share NaN in a week without
    cases; limits NaN before there is a baseline. baseline_from, baseline_to: weeks the frozen limits rest on.
    method: 'exact binomial limits', 'Laney p-prime' or both, or why there is none. sentence: in words.
    """

    name: str
    weeks: pd.DataFrame
    baseline_from: date | None
    baseline_to: date | None
    method: str
    sentence: str


def control(con: duckdb.DuckDBPyConnection, scope: Scope, settings: Any) -> dict[str, ControlChart]:
    """{'no_root_cause', 'good_switch', 'callback_30'}.

    Weeks are those in which the switch was fitted. The baseline is frozen: the first 52 weeks that are complete, or
    the first
    half of the record if it is shorter than two years. A week is mature once its window has passed: 30 days for
    callbacks, the
    longest time to the bench for bench results, the week itself for the record.
    """
    last_on = con.execute("SELECT max(arrived_on) FROM visit").fetchone()[0]  # type: ignore[index]
    wait = {"no_root_cause": 0, "good_switch": int(settings.maximum_days_to_bench), "callback_30": 30}
    counted = _counts(con, scope)
    return {name: _chart(name, counted, last_on, wait[name]) for name in CHARTS}


def _counts(con: duckdb.DuckDBPyConnection, scope: Scope) -> pd.DataFrame:
    condition, values = scope.where("swapped_on", prefix="s.")
    columns = ", ".join(f"{n} AS n_{name}, {count} AS count_{name}" for name, (n, count) in COUNTS.items())
    counted = con.execute(
        f"""
        SELECT s.week_on, {columns} FROM swap_case s
        LEFT JOIN (SELECT swap_id, callback_days, observed_days FROM callback WHERE swap_id IS NOT NULL) c USING
        (swap_id)
        WHERE {condition} GROUP BY s.week_on ORDER BY s.week_on""",
        values,
    ).df()
    if counted.empty:
        return counted
    counted["week_on"] = pd.to_datetime(counted["week_on"])
    every = pd.date_range(counted["week_on"].min(), counted["week_on"].max(), freq="7D", name="week_on")
    return counted.set_index("week_on").reindex(every, fill_value=0).reset_index()


def _chart(name: str, counted: pd.DataFrame, last_on: date | None, wait_days: int) -> ControlChart:
    if counted.empty or last_on is None:
        columns = ["week_on", "n", "count", "share", "centre", "lower", "upper", "is_signal", "is_mature"]
        return ControlChart(
            name, pd.DataFrame(columns=columns), None, None, "none", "No swaps yet, so there is no chart."
        )
    n = counted[f"n_{name}"].to_numpy(float)
    count = counted[f"count_{name}"].to_numpy(float)
    week_on = counted["week_on"]
    mature_on = week_on + pd.Timedelta(days=6 + wait_days)
    is_mature = (mature_on <= pd.Timestamp(last_on)).to_numpy(bool)
    usable = np.flatnonzero(is_mature & (n > 0))
    # Frozen: it starts at the first week and does not move as weeks are added, once there are two years of them.
    length = BASELINE_WEEKS if usable.size >= 2 * BASELINE_WEEKS else max(usable.size // 2, FEWEST_BASELINE_POINTS)
    base = usable[:length]
    found = p_chart(count, n, base, ~is_mature)
    weeks = pd.DataFrame(
        {
            "week_on": week_on.dt.date,
            "n": n.astype("int64"),
            "count": count.astype("int64"),
            "share": found.share,
            "centre": np.full(n.size, found.centre),
            "lower": found.lower,
            "upper": found.upper,
            "is_signal": found.is_signal,
            "is_mature": is_mature,
        }
    )
    if not found.is_drawn:
        return ControlChart(name, weeks, None, None, "none", found.reason)
    kinds = {"exact": "exact binomial limits", "laney": "Laney p-prime", "normal": "normal limits"}
    method = " and ".join(kinds[kind] for kind in sorted(set(found.limit_kind[n > 0])))
    first, last = weeks["week_on"].iloc[base[0]], weeks["week_on"].iloc[base[-1]]
    return ControlChart(
        name, weeks, first, last + timedelta(days=6), method, _sentence(name, weeks, found.centre, base)
    )


def _sentence(name: str, weeks: pd.DataFrame, centre: float, base: np.ndarray) -> str:
    after = weeks.iloc[base[-1] + 1 :]
    signals = after[after["is_signal"]]
    start = f"{NAMES[name]}: {centre:.0%} in the first {len(base)} weeks with {CASE[name]}."
    if after.empty or not after["is_mature"].any():
        return f"{start} No complete week since."
    if signals.empty:
        return f"{start} No week since then differs by more than chance."
    latest = signals.iloc[-1]
    side = "above" if latest["share"] > centre else "below"
    return f"{start} {len(signals)} of {int(after['is_mature'].sum())} weeks since lie outside; the latest, {latest['week_on']}, {side} it."
