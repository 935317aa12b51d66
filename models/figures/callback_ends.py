"""Callbacks counted two other ways: beside the other ends a watch can have, and with their repeats."""

from __future__ import annotations

from typing import Any

import duckdb
import numpy as np
import pandas as pd

from models.methods.estimate import Estimate, unknown
from models.methods.mean_cumulative import METHOD as REPEATS_METHOD
from models.methods.mean_cumulative import mean_cumulative_at
from models.methods.site_jackknife import site_jackknife

Windows = dict[int, dict[str, Estimate]]

COMPETING_METHOD = "Aalen-Johansen cumulative incidence, leave-one-site-out jackknife"
# Ends after which this swap can bring no callback any more.
COMPETING_ENDS = ("removed", "next_swap")
ENDS_RULE = (
    "A watch ends with the callback, the end of the records, the removal of the appliance or its next swap. In the "
    "headline figure the last two are censorings: it says how many would come back if nothing else ended the watch. "
    "Counted as ends of their own, the figure says how many of all swaps did come back before such an end."
)


def competing_windows(swaps: pd.DataFrame, is_with: Any, at: tuple[int, ...]) -> Windows:
    """Cumulative incidence of the first callback, removal and the next swap being ends of their own.

    swaps: DataFrame[days, is_event, is_competing, site]. Returns {days: {'with_cause', 'without_cause', 'difference',
    'ratio'}}, as models.figures.callbacks gives them.
    """
    if swaps.empty:
        return _nothing(at, ("with_cause", "without_cause", "difference", "ratio"), COMPETING_METHOD)
    found = site_jackknife(
        swaps["days"].to_numpy(float),
        swaps["is_event"].to_numpy(bool),
        np.asarray(is_with, dtype=bool),
        swaps["site"].to_numpy(),
        at,
        is_competing=swaps["is_competing"].to_numpy(bool),
    )
    return {
        int(w.window): {
            name: _named(getattr(w, name)) for name in ("with_cause", "without_cause", "difference", "ratio")
        }
        for w in found
    }


def repeats(chains: pd.DataFrame, swaps: pd.DataFrame, is_with: np.ndarray, at: tuple[int, ...]) -> Windows:
    """Mean number of callbacks per swap by each window, the second and later ones counted too.

    chains: as `callback_chains` gives. swaps: DataFrame[draft_fault_id, site, days]. A callback that is itself a draft fault leads on to its own callback, and so
    forth; a watch ends where that of the last one ends. Sites are taken as alike within, independent between.
    Returns {days: {'with_cause', 'without_cause'}} with Lawless-Nadeau intervals.
    """
    if swaps.empty:
        return _nothing(at, ("with_cause", "without_cause"), REPEATS_METHOD)
    events, follow_up = _of_swaps(chains, swaps)
    out: Windows = {int(days): {} for days in at}
    for name, mask in (("with_cause", is_with), ("without_cause", ~is_with)):
        number = np.full(len(swaps), -1)
        number[mask] = np.arange(int(mask.sum()))
        who = number[events["row"].to_numpy(int)]
        mine = who >= 0
        estimates = mean_cumulative_at(
            who[mine], events["days"].to_numpy(float)[mine], follow_up[mask], at, swaps["site"].to_numpy()[mask]
        )
        for days, estimate in zip(at, estimates, strict=True):
            out[int(days)][name] = estimate
    return out


def callback_chains(con: duckdb.DuckDBPyConnection) -> pd.DataFrame:
    """Every callback in the chain of every swap, whatever the scope: DataFrame[draft_fault_id, days, until_days].

    days: from the start of the swap's watch to the callback; until_days: to the end of the watch after it.
    """
    return con.execute("""
        WITH RECURSIVE edge AS (
            SELECT c.draft_fault_id, d.draft_fault_id AS next_id,
                c.starts_on + CAST(c.callback_days AS INTEGER) AS back_on
            FROM callback c LEFT JOIN draft_visit d ON d.visit_id = c.callback_visit_id
            WHERE c.callback_days IS NOT NULL),
        chain AS (
            SELECT c.draft_fault_id, c.starts_on, e.next_id, e.back_on, 1 AS n
            FROM callback c JOIN edge e USING (draft_fault_id) WHERE c.swap_id IS NOT NULL
            UNION ALL
            SELECT k.draft_fault_id, k.starts_on, e.next_id, e.back_on, k.n + 1
            FROM chain k JOIN edge e ON e.draft_fault_id = k.next_id WHERE k.n < 100)
        SELECT k.draft_fault_id, k.back_on - k.starts_on AS days,
            greatest(k.back_on, coalesce(n.starts_on + CAST(n.observed_days AS INTEGER), k.back_on)) - k.starts_on
                AS until_days
        FROM chain k LEFT JOIN callback n ON n.draft_fault_id = k.next_id
        ORDER BY k.draft_fault_id, days, k.next_id""").df()


def _of_swaps(events: pd.DataFrame, swaps: pd.DataFrame) -> tuple[pd.DataFrame, np.ndarray]:
    """The chains of these swaps: DataFrame[row (of swaps), days]; and how long each swap was followed."""
    row = pd.Index(swaps["draft_fault_id"]).get_indexer(events["draft_fault_id"])
    events = events.assign(row=row)[row >= 0]
    follow_up = pd.to_numeric(swaps["days"]).to_numpy(float, copy=True)
    np.maximum.at(follow_up, events["row"].to_numpy(int), events["until_days"].to_numpy(float))
    return events, follow_up


def _named(estimate: Estimate) -> Estimate:
    return Estimate(
        estimate.value, estimate.low, estimate.high, estimate.n, estimate.coverage, COMPETING_METHOD,
        estimate.sentence, estimate.level,
    )  # fmt: skip


def _nothing(at: tuple[int, ...], names: tuple[str, ...], method: str) -> Windows:
    none = unknown("No swap has been followed yet.", method=method)
    return {int(days): dict.fromkeys(names, none) for days in at}
