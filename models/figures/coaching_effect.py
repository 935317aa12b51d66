"""Did coaching change anything? Process first, outcome second, against technicians who were not coached."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import duckdb
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from models.figures.pulls import Pulls
from models.figures.scope import Scope
from models.methods.estimate import Estimate, unknown
from models.methods.matched_before_after import METHOD, MONTHS_AFTER, MatchedEffect, matched_before_after
from models.misdiagnosis.case_mix import draft_faults, expected_rate

NEW_STARTER_DAYS = 365
# Measure -> kind, what is counted (lower is better in each), of how many.
MEASURES = {
    "no_reading": ("process", "Swaps without a gauge reading of the draft", "swaps"),
    "no_cause": ("process", "Swaps without a root cause recorded", "swaps"),
    "good_pulls": ("outcome", "Good switches pulled per draft fault attended", "draft faults"),
    "came_back": ("outcome", "Swaps that came back within 30 days", "swaps"),
}
CALLBACK_DAYS = 30
HONEST = (
    "This is an association. Who was coached had been chosen for what was seen before, and the unluckiest of a group get "
    "better by themselves; that part is taken out by drawing each one's own past towards that of like technicians, and "
    "by how those not yet coached changed over the same months. What else happened to the coached alone is not."
)


@dataclass(frozen=True)
class MeasureEffect:
    """One measure. name: key of MEASURES. kind: 'process' or 'outcome'. about, noun: in words.

    difference: rate after coaching - rate to be expected without (under 0 = better). ratio: after / expected.
    plain_difference: rate after - rate before, which is what a naive comparison would show; None if not known.
    n_coached, n_compared: technicians. observed, expected: hits after.
    """

    name: str
    kind: str
    about: str
    noun: str
    difference: Estimate
    ratio: Estimate
    plain_difference: float | None
    n_coached: int
    n_compared: int
    observed: float
    expected: float | None


@dataclass(frozen=True)
class CoachingEffect:
    """measures: process first. people: DataFrame[technician_id, first_on, measure, n_before, hits_before, n_after,
    hits_after, expected_after (NaN where unknown)], one row per coached technician and measure. n_sessions, n_coached
    (technicians with a session), n_new_starters (of these left out): counts. sentence: in words.
    """

    measures: list[MeasureEffect]
    people: pd.DataFrame
    n_sessions: int
    n_coached: int
    n_new_starters: int
    sentence: str


def coaching_effect(con: duckdb.DuckDBPyConnection, scope: Scope, settings: Any, pulls: Pulls) -> CoachingEffect:
    """Effect of coaching over the scope. pulls: models.figures.pulls.good_pulls of the same scope.

    A technician counts as coached from the month of the first session on record; the twelve months after it are
    compared. The first year of a new starter is left out for everybody (they improve anyway), and with it who was coached
    in it. A callback counts for a swap that has been followed for 30 days on an appliance
    that is named; where nobody can tell whether the same one came back, the swap is no case.
    """
    sessions = con.execute(
        "SELECT technician_id, min(held_on) AS first_on, count(*) AS n FROM coaching_session "
        "WHERE technician_id IS NOT NULL AND held_on IS NOT NULL GROUP BY technician_id ORDER BY technician_id"
    ).df()
    n_sessions = int(sessions["n"].sum())
    if sessions.empty:
        return CoachingEffect([], _no_people(), 0, 0, 0, "No coaching session is on record, so nothing is compared.")
    faults = _faults(con, scope, pulls)
    if faults.empty:
        words = "No draft fault is on record, so nothing is compared."
        return CoachingEffect([], _no_people(), n_sessions, len(sessions), 0, words)
    units = _units(con, faults, sessions)
    coached = units["coached_month"].to_numpy(int)
    measures, people = [], []
    for name, (kind, about, noun) in MEASURES.items():
        hit, case, expected = _counted(name, faults, pulls)
        months = _by_month(faults, units, (hit, case, expected))
        found = matched_before_after(months[0], months[1], months[2], coached, noun=noun)
        if name == "good_pulls" and not pulls.is_available:
            none = unknown("Not compared: too few bench results to tell good switches.", method=METHOD)
            found = replace(found, difference=none, ratio=none)
        measures.append(_measure(name, kind, about, noun, found))
        people.append(_people(name, units, months, found.unit_expected))
    table = pd.concat(people, ignore_index=True)
    n_new = int(units["is_left_out"].sum())
    return CoachingEffect(measures, table, n_sessions, len(sessions), n_new, _sentence(measures, len(sessions), n_new))


def _faults(con: duckdb.DuckDBPyConnection, scope: Scope, pulls: Pulls) -> pd.DataFrame:
    """Draft faults with their case mix and what was done on them, in the order of `pulls`."""
    frame = draft_faults(con, scope)
    done = con.execute(
        f"""
        WITH ended AS (SELECT max(arrived_on) AS last_on FROM visit)
        SELECT s.draft_fault_id, bool_or(NOT coalesce(s.has_gauge_reading, false)) AS no_reading,
            bool_or(NOT coalesce(s.has_root_cause, false)) AS no_cause,
            bool_or(c.callback_days <= {CALLBACK_DAYS}) AS came_back,
            bool_or(c.starts_on <= e.last_on - {CALLBACK_DAYS} AND s.is_appliance_proven
                AND (c.callback_days <= {CALLBACK_DAYS} OR c.observed_days >= {CALLBACK_DAYS})
                AND NOT coalesce(c.callback_days IS NULL AND c.possible_callback_days <= {CALLBACK_DAYS}, false))
                AS is_followed
        FROM swap_case s CROSS JOIN ended e
        LEFT JOIN callback c ON c.swap_id IS NOT NULL AND c.draft_fault_id = s.draft_fault_id
        GROUP BY s.draft_fault_id"""
    ).df()
    frame = frame.merge(done, on="draft_fault_id", how="left")
    frame["has_swap"] = frame["no_reading"].notna()
    for column in ("no_reading", "no_cause", "came_back", "is_followed"):
        frame[column] = frame[column].fillna(False).astype(bool)
    day = pd.to_datetime(frame["arrived_on"])
    month = day.dt.year * 12 + day.dt.month
    frame["month_no"] = (month - month.min()).astype("int64") if len(frame) else month
    return frame


def _units(con: duckdb.DuckDBPyConnection, faults: pd.DataFrame, sessions: pd.DataFrame) -> pd.DataFrame:
    """One row per technician, in the order of the codes: coached_month (-1 = not), experienced_month, is_left_out."""
    units = pd.DataFrame({"technician_id": np.sort(faults["technician_id"].dropna().unique())})
    about = con.execute("SELECT technician_id, min(started_on) AS started_on FROM technician GROUP BY ALL").df()
    units = units.merge(about, on="technician_id", how="left").merge(sessions, on="technician_id", how="left")
    zero = pd.to_datetime(faults["arrived_on"]).min()
    first = pd.to_datetime(units["first_on"])
    coached = (first.dt.year - zero.year) * 12 + first.dt.month - zero.month
    experienced = pd.to_datetime(units["started_on"]) + pd.Timedelta(days=NEW_STARTER_DAYS)
    since = (experienced.dt.year - zero.year) * 12 + experienced.dt.month - zero.month
    units["experienced_month"] = since.fillna(0).clip(lower=0).astype("int64")
    units["is_left_out"] = (first < experienced).fillna(False)
    # Coached before the records begin: nothing to compare with, and no longer one of the uncoached.
    units["coached_month"] = coached.clip(lower=0).fillna(-1).astype("int64")
    return units


def _counted(name: str, faults: pd.DataFrame, pulls: Pulls) -> tuple[NDArray, NDArray, NDArray]:
    """Of each draft fault: hits, cases and the hits expected from its case mix; shape (n_faults,)."""
    case = np.ones(len(faults), dtype=bool)
    if name == "good_pulls":
        if not pulls.is_available:
            return np.zeros(len(faults)), np.zeros(len(faults)), np.zeros(len(faults))
        return (
            np.nan_to_num(pulls.probability()),
            case.astype(float),
            np.nan_to_num(pulls.expected * pulls.chance_left()),
        )
    case = faults["has_swap"].to_numpy(bool) & (name != "came_back" or faults["is_followed"].to_numpy(bool))
    hit, expected = faults[name].to_numpy(bool) & case, np.zeros(len(faults))
    if case.any():
        rows = faults[case].reset_index(drop=True)
        rows["cell"] = pd.factorize(rows["cell"], sort=True)[0]
        unit = pd.factorize(rows["technician_id"], sort=True)[0]
        expected[case] = expected_rate(rows, hit[case].astype(float), unit)
    return hit.astype(float), case.astype(float), expected


def _by_month(faults: pd.DataFrame, units: pd.DataFrame, counts: tuple[NDArray, ...]) -> tuple[NDArray, ...]:
    """Sums by technician and month; months of a first year, and technicians coached in one, are empty."""
    who = pd.Index(units["technician_id"]).get_indexer(faults["technician_id"])
    month = faults["month_no"].to_numpy(int)
    shape = (len(units), int(month.max()) + 1)
    known = who >= 0
    cell = who[known] * shape[1] + month[known]
    is_used = np.arange(shape[1]) >= units["experienced_month"].to_numpy()[:, None]
    is_used &= ~units["is_left_out"].to_numpy(bool)[:, None]
    return tuple(
        np.bincount(cell, weights=count[known], minlength=shape[0] * shape[1]).reshape(shape) * is_used
        for count in counts
    )


def _measure(name: str, kind: str, about: str, noun: str, found: MatchedEffect) -> MeasureEffect:
    return MeasureEffect(
        name,
        kind,
        about,
        noun,
        found.difference,
        found.ratio,
        found.plain_difference,
        found.n_coached,
        found.n_compared,
        found.n_hits,
        found.expected,
    )


def _people(name: str, units: pd.DataFrame, months: tuple[NDArray, ...], expected: NDArray) -> pd.DataFrame:
    hits, cases, _ = months
    number, started = np.arange(hits.shape[1]), units["coached_month"].to_numpy()[:, None]
    before, after = number < started, (number > started) & (number <= started + MONTHS_AFTER)
    table = pd.DataFrame(
        {
            "technician_id": units["technician_id"],
            "first_on": pd.to_datetime(units["first_on"]),
            "measure": name,
            "n_before": (cases * before).sum(axis=1).astype("int64"),
            "hits_before": (hits * before).sum(axis=1),
            "n_after": (cases * after).sum(axis=1).astype("int64"),
            "hits_after": (hits * after).sum(axis=1),
            "expected_after": expected,
        }
    )
    is_shown = (units["coached_month"] >= 0) & ~units["is_left_out"]
    return table[is_shown.to_numpy(bool)].reset_index(drop=True)


def _no_people() -> pd.DataFrame:
    numbers = ("n_before", "hits_before", "n_after", "hits_after", "expected_after")
    words = {name: pd.Series(dtype=object) for name in ("technician_id", "first_on", "measure")}
    return pd.DataFrame({**words, **{name: pd.Series(dtype=float) for name in numbers}})


def _sentence(measures: list[MeasureEffect], n_coached: int, n_new: int) -> str:
    known = [m for m in measures if m.difference.is_known]
    left = f" {n_new} of the {n_coached} coached in their first year are left out." if n_new else ""
    if not known:
        return f"{measures[0].difference.sentence}{left}"
    better = [m.about.lower() for m in known if m.difference.high is not None and m.difference.high < 0]
    worse = [m.about.lower() for m in known if m.difference.low is not None and m.difference.low > 0]
    told = []
    if better:
        told.append(f"fewer than expected: {'; '.join(better)}")
    if worse:
        told.append(f"more than expected: {'; '.join(worse)}")
    if not told:
        told.append("no measure differs from what was to be expected without it by more than chance")
    return f"After coaching, {'; '.join(told)}.{left}"


__all__ = ["HONEST", "MEASURES", "METHOD", "CoachingEffect", "MeasureEffect", "coaching_effect"]
