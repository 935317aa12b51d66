"""All visits of a block in the order they were made: draft faults, their planned returns, and routine work."""

from __future__ import annotations

import numpy as np
import pandas as pd

from synthetic_data.places import Places
from synthetic_data.routine import KIND
from synthetic_data.scenario import Scenario
from synthetic_data.technicians import Technicians

ROUTINE, DRAFT_FIRST, DRAFT_RETURN = 0, 1, 2


def make_visits(
    rng: np.random.Generator,
    scenario: Scenario,
    places: Places,
    technicians: Technicians,
    jobs: pd.DataFrame,
    routine: pd.DataFrame,
) -> pd.DataFrame:
    """One row per exported visit, sorted by arrival.

    Columns: part (ROUTINE, DRAFT_FIRST, DRAFT_RETURN), source (row in jobs or routine), appliance, technician, day,
    minute (arrival, from midnight of the first day), n_minutes, kind, symptom, recorded, contributing, is_complete,
    waits, is_after_hours, job (number), is_job_recorded, follows (row in this frame, -1), is_follow_recorded.
    """
    first, back = _draft(rng, jobs, technicians)
    other = pd.DataFrame(
        {
            "part": ROUTINE,
            "source": np.arange(len(routine)),
            **{
                name: routine[name]
                for name in ("appliance", "technician", "day", "kind", "symptom", "is_after_hours", "waits")
            },
            "recorded": -1,
            "contributing": -1,
            "is_complete": ~routine["waits"],
            "job": len(jobs) + np.where(routine["follows"] >= 0, routine["follows"], np.arange(len(routine))),
            "n_minutes": 30 + rng.gamma(2.5, 16, len(routine)).astype(np.int64),
        }
    )
    visits = pd.concat([first, back, other], ignore_index=True)
    visits = visits[visits["day"] < scenario.n_days].reset_index(drop=True)
    visits["minute"] = visits["day"] * 1440 + _minute_of_day(rng, visits["is_after_hours"].to_numpy())
    order = np.lexsort((visits["part"].to_numpy(), visits["minute"].to_numpy()))
    visits = visits.iloc[order].reset_index(drop=True)
    return _linked(rng, visits, jobs)


def _draft(rng: np.random.Generator, jobs: pd.DataFrame, technicians: Technicians) -> tuple[pd.DataFrame, pd.DataFrame]:
    """First visits of draft-fault jobs, and the planned returns of those that waited for a part."""
    n = len(jobs)
    waits = jobs["waits_days"].to_numpy() > 0
    swaps = jobs["has_swap"].to_numpy()
    kind = np.where(rng.random(n) < 0.93, KIND["no_heat"], KIND["other_fault"])
    first = pd.DataFrame(
        {
            "part": DRAFT_FIRST,
            "source": np.arange(n),
            "appliance": jobs["appliance"],
            "technician": jobs["technician"],
            "day": jobs["day"],
            "kind": kind,
            "symptom": jobs["symptom"],
            "is_after_hours": jobs["is_after_hours"],
            "waits": waits,
            "recorded": jobs["recorded"],
            "contributing": jobs["contributing"],
            "is_complete": jobs["is_complete"] & ~waits,
            "job": np.arange(n),
            "n_minutes": 40 + rng.gamma(2.5, 18, n).astype(np.int64) + 25 * (swaps & ~waits),
        }
    )
    back = first[waits].copy()
    back["part"] = DRAFT_RETURN
    back["day"] = jobs["completed_day"].to_numpy()[waits]
    back["kind"] = KIND["return_for_part"]
    back["waits"] = False
    back["is_after_hours"] = False
    back["is_complete"] = jobs["is_complete"].to_numpy()[waits]
    back["n_minutes"] = 35 + rng.gamma(2.0, 15, len(back)).astype(np.int64)
    somebody_else = rng.random(len(back)) < 0.2
    branch = technicians.branch[back["technician"].to_numpy()]
    other = technicians.send(rng, branch, back["day"].to_numpy(), np.zeros(len(back), bool))
    back["technician"] = np.where(somebody_else, other, back["technician"])
    return first, back


def _minute_of_day(rng: np.random.Generator, is_after_hours: np.ndarray) -> np.ndarray:
    n = len(is_after_hours)
    by_day = rng.integers(7 * 60 + 15, 16 * 60 + 30, n)
    late = np.where(rng.random(n) < 0.75, rng.integers(17 * 60 + 30, 23 * 60, n), rng.integers(6 * 60, 17 * 60, n))
    return np.where(is_after_hours, late, by_day)


def _linked(rng: np.random.Generator, visits: pd.DataFrame, jobs: pd.DataFrame) -> pd.DataFrame:
    """Add which earlier visit each one follows: returns follow their first visit, callbacks the job they come from."""
    part, source = visits["part"].to_numpy(), visits["source"].to_numpy()
    row_of_first = np.full(len(jobs), -1, np.int64)
    is_first = part == DRAFT_FIRST
    row_of_first[source[is_first]] = np.flatnonzero(is_first)
    row_of_last = row_of_first.copy()
    is_back = part == DRAFT_RETURN
    row_of_last[source[is_back]] = np.flatnonzero(is_back)
    follows = np.full(len(visits), -1, np.int64)
    follows[is_back] = row_of_first[source[is_back]]
    parent = jobs["parent"].to_numpy()[source[is_first]]
    follows[is_first] = np.where(parent >= 0, row_of_last[parent], -1)
    visits["follows"] = follows
    chance = rng.random(len(visits))
    visits["is_follow_recorded"] = (follows >= 0) & np.where(is_back, chance < 0.7, chance < 0.3)
    is_return = visits["kind"].to_numpy() == KIND["return_for_part"]
    needed = is_return | visits["waits"].to_numpy()
    visits["is_job_recorded"] = needed | (rng.random(len(visits)) > 0.10)
    # A few calls leave the complaint blank.
    blank = (rng.random(len(visits)) < 0.006) & ~is_return
    visits["symptom"] = np.where(blank, -1, visits["symptom"])
    return visits
