"""All draft-fault jobs of a block: new faults, and the chains of callbacks they lead to."""

from __future__ import annotations

import numpy as np
import pandas as pd

from synthetic_data import causes
from synthetic_data.outcomes import NO_SWAP, Triggers, attend
from synthetic_data.places import Places
from synthetic_data.technicians import Technicians
from synthetic_data.weather import (
    FREEZE_BELOW_C,
    GUST_ABOVE_M_S,
    HEATING_BASE_C,
    SNOW_ABOVE_MM,
    Weather,
    next_event_day,
)

MOST_ROUNDS = 7
_DAY_KEY = 100_000


def make_triggers(weather: Weather) -> Triggers:
    """When weather brings a masked cause back, and how many days with heat demand have passed."""
    return Triggers(
        events={
            "freeze": next_event_day(weather.minimum_c < FREEZE_BELOW_C),
            "snow": next_event_day(weather.snowfall_mm > SNOW_ABOVE_MM),
            "gust": next_event_day(weather.gust_m_s > GUST_ABOVE_M_S),
        },
        heating_days=np.cumsum(weather.mean_c < HEATING_BASE_C, axis=1),
    )


def make_jobs(
    rng: np.random.Generator,
    places: Places,
    technicians: Technicians,
    weather: Weather,
    faults: tuple[np.ndarray, np.ndarray, np.ndarray],
    first_weekday: int,
) -> pd.DataFrame:
    """Every draft-fault job, one row each, sorted by appliance and day; rounds of callbacks are simulated whole.

    faults: appliance, cause and day of the new faults. first_weekday: weekday of day 0 (0 = Monday).
    Adds to the outcome columns: appliance, cause, day, technician, is_after_hours, round_no, parent (row),
    symptom, has_swap, completed_day.
    """
    triggers = make_triggers(weather)
    appliance, cause, day = faults
    parent = np.full(len(day), -1, np.int64)
    sent_before = np.full(len(day), -1, np.int64)
    frames: list[pd.DataFrame] = []
    first_row = 0
    for round_no in range(MOST_ROUNDS):
        if not len(day):
            break
        day, is_after_hours = _attended(rng, day, first_weekday)
        branch, region = places.branch[appliance], places.region[appliance]
        technician = technicians.send(rng, branch, day, is_after_hours, causes.IS_SWITCH[cause])
        # Often the one who was there before is sent again.
        again = (sent_before >= 0) & (rng.random(len(day)) < 0.35)
        technician = np.where(again, sent_before, technician)
        result = attend(rng, technicians, triggers, region, cause, day, technician, is_after_hours, round_no)
        frame = pd.DataFrame(
            {
                "appliance": appliance,
                "cause": cause,
                "day": day,
                "technician": technician,
                "is_after_hours": is_after_hours,
                "round_no": np.full(len(day), round_no),
                "parent": parent,
                **result,
            }
        )
        frames.append(frame)
        comes_back = (result["next_day"] >= 0) & (result["next_day"] < places.removed_day[appliance])
        rows = np.flatnonzero(comes_back)
        parent = first_row + rows
        first_row += len(frame)
        appliance, cause, day = appliance[rows], cause[rows], result["next_day"][rows]
        sent_before = technician[rows]
    jobs = pd.concat(frames, ignore_index=True)
    jobs["symptom"] = _symptoms(rng, jobs)
    jobs["has_swap"] = jobs["swap_way"].to_numpy() != NO_SWAP
    return _sorted(jobs)


def _attended(rng: np.random.Generator, day: np.ndarray, first_weekday: int) -> tuple[np.ndarray, np.ndarray]:
    """Day the call is attended and whether out of hours: half the weekend's calls wait for Monday."""
    weekday = (day + first_weekday) % 7
    is_weekend = weekday >= 5
    waits = is_weekend & (rng.random(len(day)) < 0.5)
    is_after_hours = np.where(is_weekend, ~waits, rng.random(len(day)) < 0.13)
    return day + np.where(waits, 7 - weekday, 0), is_after_hours


def _symptoms(rng: np.random.Generator, jobs: pd.DataFrame) -> np.ndarray:
    """0 draft_not_proven, 1 runs_then_stops, 2 switch_closed_at_rest."""
    cause = jobs["cause"].to_numpy()
    chance = rng.random(len(jobs))
    stops_later = np.where(causes.AWAY_PROBABILITY[cause] >= 0.25, 0.5, 0.2)
    symptom = np.where(chance < stops_later, 1, 0)
    at_rest = np.isin(cause, [causes.NUMBER["contact_stuck_or_resistive"], causes.NUMBER["safety_bypassed"]])
    return np.where(at_rest & (rng.random(len(jobs)) < 0.5), 2, symptom)


def _sorted(jobs: pd.DataFrame) -> pd.DataFrame:
    """By appliance and day, with `parent` renumbered and the truth of what followed each job."""
    order = np.lexsort((jobs["round_no"].to_numpy(), jobs["day"].to_numpy(), jobs["appliance"].to_numpy()))
    new_number = np.empty(len(jobs), np.int64)
    new_number[order] = np.arange(len(jobs))
    jobs = jobs.iloc[order].reset_index(drop=True)
    parent = jobs["parent"].to_numpy()
    jobs["parent"] = np.where(parent >= 0, new_number[parent], -1)
    jobs["completed_day"] = jobs["day"] + jobs["waits_days"]
    return jobs


def true_callback_days(jobs: pd.DataFrame, removed_day: np.ndarray, horizon_days: int) -> np.ndarray:
    """Days from completion to the next unplanned draft-fault visit to the same appliance; -1 = none in the horizon.

    A callback counts whatever its true cause: the next fault of the same function on the same appliance.
    Jobs that were not declared complete have none (-1). Shape (n_jobs,), jobs sorted by appliance and day.
    """
    appliance, day = jobs["appliance"].to_numpy(), jobs["day"].to_numpy()
    completed = jobs["completed_day"].to_numpy()
    key = appliance * _DAY_KEY + day
    position = np.searchsorted(key, appliance * _DAY_KEY + completed, side="right")
    inside = position < len(jobs)
    follower = np.minimum(position, len(jobs) - 1)
    days = day[follower] - completed
    valid = inside & (appliance[follower] == appliance) & (days >= 1) & (days <= horizon_days)
    valid &= jobs["is_complete"].to_numpy() & (day[follower] <= removed_day[appliance])
    return np.where(valid, days, -1)
