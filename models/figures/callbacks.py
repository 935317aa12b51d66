"""How often a draft fault came back after a swap, with and without a recorded root cause."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import duckdb
import numpy as np
import pandas as pd

from models.figures.callback_ends import COMPETING_ENDS, callback_chains, competing_windows, repeats
from models.figures.scope import Scope
from models.methods.estimate import Estimate, unknown
from models.methods.numeral import numeral
from models.methods.site_jackknife import METHOD, site_jackknife
from models.methods.survival import kaplan_meier_at, logrank

CURVE_DAYS = np.arange(0, 181)
# Which root-cause tiers count as "with a root cause", by the name of the cut.
CUTS: dict[str, tuple[str, ...]] = {
    "measured": ("measured",),
    "described": ("measured", "described"),
    "code_only": ("measured", "described", "code_only"),
}
HEADLINE_CUT = "described"
STRATUM_KINDS = ("symptom", "evidence", "appliance", "branch", "season")
MINIMUM_IN_STRATUM = 20
# What a comparison looks at; the rest of the swaps need not be copied for each stratum.
COMPARED = ["days", "is_event", "site"]
ASSOCIATION = (
    "This is an association: a recorded cause may also mark the easier faults, or the more careful technicians."
)

Windows = dict[int, dict[str, Estimate]]


@dataclass(frozen=True)
class Callbacks:
    """Callbacks after a swap.

    windows: {days: {'with_cause', 'without_cause', 'difference', 'ratio'}} of Estimates; certain callbacks only.
    difference = without - with, ratio = without / with. possible: the same with uncertain ones counted (the upper
    bound).
    logrank_p: log-rank p-value of with against without, None if it cannot be computed.
    cuts: {'measured' | 'described' | 'code_only': windows} for the other places to draw the line.
    by_stratum: DataFrame[stratum_kind, stratum, n_with, n_without, with_cause, without_cause, difference, low, high] at
    the headline window. within_strata: the difference averaged over strata of like symptom, appliance and season.
    heating_clock: windows on the clock of heating days. curve: DataFrame[days, group, value] 1 - Kaplan-Meier.
    competing: windows with removal and the next swap as ends of their own (models.figures.callback_ends); n_ends: how
    many watches ended so, by end. repeats: {days: {'with_cause', 'without_cause'}} mean number of callbacks per swap,
    later ones counted too.
    n_swaps (draft faults with a swap that can be followed), n_callbacks, n_uncertain: counts.
    sentence: the comparison in words, as an association.
    """

    windows: Windows
    possible: Windows
    logrank_p: float | None
    cuts: dict[str, Windows]
    by_stratum: pd.DataFrame
    within_strata: Estimate
    heating_clock: Windows
    curve: pd.DataFrame
    n_swaps: int
    n_callbacks: int
    n_uncertain: int
    sentence: str
    competing: Windows
    n_ends: dict[str, int]
    repeats: Windows


def callbacks(
    con: duckdb.DuckDBPyConnection, scope: Scope, settings: Any, chains: pd.DataFrame | None = None
) -> Callbacks:
    """Callbacks after a swap over the scope.

    chains: callback_chains of the store, where they have been worked out already; they do not hang on the scope.

    One draft fault with a swap counts once, from the day its job was declared complete; the last swap's record says
    whether a root cause was recorded. Unknown values never become NaN: they are unknown Estimates with the reason.
    """
    swaps = _followed(con, scope)
    headline = int(settings.headline_window)
    at = tuple(sorted({*(int(days) for days in settings.callback_windows), headline}))
    cuts = {name: _windows(swaps, swaps["tier"].isin(tiers), at) for name, tiers in CUTS.items()}
    is_with = swaps["tier"].isin(CUTS[HEADLINE_CUT]).to_numpy(bool)
    windows = cuts[HEADLINE_CUT]
    p = logrank(swaps["days"], swaps["is_event"], is_with)[1] if len(swaps) else float("nan")
    by_stratum = _by_stratum(swaps, is_with, headline)
    return Callbacks(
        windows=windows,
        possible=_windows(swaps, is_with, at, "possible_days", "is_possible_event"),
        logrank_p=float(p) if np.isfinite(p) else None,
        cuts=cuts,
        by_stratum=by_stratum,
        within_strata=_within(swaps, is_with, headline),
        heating_clock=_windows(swaps, is_with, at, "heating_days", "is_event"),
        curve=_curve(swaps, is_with),
        n_swaps=len(swaps),
        n_callbacks=int(swaps["is_event"].sum()),
        n_uncertain=int((swaps["is_possible_event"] & ~swaps["is_event"]).sum()),
        sentence=_sentence(windows[headline], headline),
        competing=competing_windows(swaps, is_with, at),
        n_ends={end: int((swaps["ended_by"] == end).sum()) for end in COMPETING_ENDS},
        repeats=repeats(callback_chains(con) if chains is None else chains, swaps, is_with, at),
    )


def _followed(con: duckdb.DuckDBPyConnection, scope: Scope) -> pd.DataFrame:
    """One row per draft fault with a swap whose follow-up began, ordered by draft_fault_id."""
    condition, values = scope.where("starts_on", (), "c.")
    more, more_values = scope.where(None, prefix="s.")
    frame = con.execute(
        f"""
        SELECT c.draft_fault_id, c.site_id, coalesce(s.tier, 'none') AS tier,
            c.observed_days AS days, c.callback_days IS NOT NULL AS is_event,
            c.possible_observed_days AS possible_days, c.possible_callback_days IS NOT NULL AS is_possible_event,
            c.heating_days_observed AS heating_days, c.censored_because AS ended_by,
            coalesce(s.symptom, 'not recorded') AS symptom, coalesce(s.evidence, 'no_reading') AS evidence,
            coalesce(s.appliance_kind, 'not recorded')
                || CASE WHEN s.is_condensing THEN ', condensing' WHEN s.is_condensing IS NULL THEN ''
                    ELSE ', not condensing' END AS appliance,
            coalesce(s.branch, 'not recorded') AS branch, CAST(s.season AS VARCHAR) AS season
        FROM callback c JOIN swap_case s USING (swap_id)
        WHERE c.swap_id IS NOT NULL AND c.observed_days >= 0 AND {condition} AND {more}
        ORDER BY c.draft_fault_id""",
        [*values, *more_values],
    ).df()
    frame["site"] = pd.factorize(frame["site_id"], sort=True)[0]
    frame["is_competing"] = frame["ended_by"].isin(COMPETING_ENDS) & frame["is_event"].eq(False)
    for column in ("is_event", "is_possible_event"):
        frame[column] = frame[column].astype(bool)
    return frame


def _windows(
    swaps: pd.DataFrame, is_with: Any, at: tuple[int, ...], clock: str = "days", event: str = "is_event"
) -> Windows:
    time = pd.to_numeric(swaps[clock]).to_numpy(float, na_value=np.nan)
    known = np.isfinite(time)
    group = np.asarray(is_with, dtype=bool)
    if not known.any():
        words = (
            "No swap has been followed yet."
            if clock != "heating_days"
            else "No weather records to count heating days by."
        )
        none = unknown(words, method=METHOD)
        return {days: {"with_cause": none, "without_cause": none, "difference": none, "ratio": none} for days in at}
    found = site_jackknife(
        time[known], swaps[event].to_numpy(bool)[known], group[known], swaps["site"].to_numpy()[known], at
    )
    return {
        int(w.window): {
            "with_cause": w.with_cause,
            "without_cause": w.without_cause,
            "difference": w.difference,
            "ratio": w.ratio,
        }
        for w in found
    }


def _compare(rows: pd.DataFrame, is_with: np.ndarray, window: int) -> Any:
    return site_jackknife(
        rows["days"].to_numpy(float), rows["is_event"].to_numpy(bool), is_with, rows["site"], [window]
    )[0]


def _by_stratum(swaps: pd.DataFrame, is_with: np.ndarray, window: int) -> pd.DataFrame:
    rows, compared = [], swaps[COMPARED]
    for kind in STRATUM_KINDS:
        for name, index in sorted(swaps.groupby(kind, sort=True).indices.items()):
            part, group = compared.iloc[index], is_with[index]
            if min(group.sum(), (~group).sum()) < MINIMUM_IN_STRATUM:
                continue
            found = _compare(part, group, window)
            estimate = found.difference
            shares = (found.with_cause.value, found.without_cause.value)
            rows.append(
                (
                    kind,
                    name,
                    int(group.sum()),
                    int((~group).sum()),
                    *shares,
                    estimate.value,
                    estimate.low,
                    estimate.high,
                )
            )
    columns = [
        "stratum_kind",
        "stratum",
        "n_with",
        "n_without",
        "with_cause",
        "without_cause",
        "difference",
        "low",
        "high",
    ]
    out = pd.DataFrame(rows, columns=columns)
    return out.astype(dict.fromkeys(columns[4:], "float64"))


def _within(swaps: pd.DataFrame, is_with: np.ndarray, window: int) -> Estimate:
    """Difference averaged over strata of like symptom, appliance and season, each weighted n_with n_without / n."""
    method = f"{METHOD}, averaged within strata"
    differences, errors, weights, used = [], [], [], 0
    compared = swaps[COMPARED]
    for _, index in sorted(swaps.groupby(["symptom", "appliance", "season"], sort=True).indices.items()):
        group = is_with[index]
        n_with, n_without = int(group.sum()), int((~group).sum())
        if min(n_with, n_without) < MINIMUM_IN_STRATUM:
            continue
        found = _compare(compared.iloc[index], group, window).difference
        if found.value is None or found.low is None or found.high is None:
            continue
        differences.append(found.value)
        errors.append((found.high - found.low) / 2 / 1.96)
        weights.append(n_with * n_without / (n_with + n_without))
        used += n_with + n_without
    coverage = used / len(swaps) if len(swaps) else None
    if not weights:
        words = (
            f"Too few swaps with and without a cause in like cases to compare (at least {MINIMUM_IN_STRATUM} of each)."
        )
        return unknown(words, used, coverage, method)
    weight = np.array(weights) / np.sum(weights)
    value = float(weight @ np.array(differences))
    half = 1.96 * float(np.sqrt(weight**2 @ np.square(errors)))
    words = (
        f"Among like cases (same symptom, appliance and season) {numeral(100 * value, '+.1f')} points without a cause "
        f"(between {numeral(100 * (value - half), '+.1f')} and {numeral(100 * (value + half), '+.1f')}). {ASSOCIATION}"
    )
    return Estimate(value, max(value - half, -1.0), min(value + half, 1.0), used, coverage, method, words)


def _curve(swaps: pd.DataFrame, is_with: np.ndarray) -> pd.DataFrame:
    parts = []
    for name, mask in (("with_cause", is_with), ("without_cause", ~is_with)):
        if mask.any():
            value = kaplan_meier_at(
                swaps["days"].to_numpy(float)[mask], swaps["is_event"].to_numpy(bool)[mask], CURVE_DAYS
            )
            parts.append(pd.DataFrame({"days": CURVE_DAYS, "group": name, "value": value}))
    if not parts:
        return pd.DataFrame(
            {"days": pd.Series(dtype="int64"), "group": pd.Series(dtype=object), "value": pd.Series(dtype=float)}
        )
    return pd.concat(parts, ignore_index=True).dropna().reset_index(drop=True)


def _sentence(window: dict[str, Estimate], days: int) -> str:
    one, two, difference = window["with_cause"], window["without_cause"], window["difference"]
    if one.value is None or two.value is None:
        return next(e.sentence for e in (one, two) if e.value is None)
    words = (
        f"Within {days} days {two.value:.0%} came back where no root cause was recorded, {one.value:.0%} where one was"
    )
    if difference.low is not None and difference.high is not None and difference.low <= 0 <= difference.high:
        return f"{words}; the difference is within what chance can do. {ASSOCIATION}"
    return f"{words}. {ASSOCIATION}"
