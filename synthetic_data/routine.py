"""Everything that is not a draft fault: maintenance, other faults, inspections, installations."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipelines.contract import codes
from synthetic_data.places import Places
from synthetic_data.scenario import Scenario
from synthetic_data.technicians import Technicians
from synthetic_data.weather import DAYS_PER_YEAR, Weather

KINDS = codes.VISIT_KIND.values()
SYMPTOMS = codes.SYMPTOM.values()
KIND = {name: number for number, name in enumerate(KINDS)}
SYMPTOM = {name: number for number, name in enumerate(SYMPTOMS)}

# Visits per appliance and year at the default routine_visit_rate of 1.80.
_MAINTENANCE, _NO_HEAT, _OTHER_FAULT, _INSPECTION, _OTHER = 0.85, 0.42, 0.30, 0.10, 0.09
_ENROLLED_SHARE = 0.84
_RETURNS_SHARE = 0.10


def make_routine(
    rng: np.random.Generator,
    scenario: Scenario,
    places: Places,
    technicians: Technicians,
    weather: Weather,
    first_weekday: int,
) -> pd.DataFrame:
    """One row per routine visit: appliance, day, kind, symptom (-1 none), technician, is_after_hours, waits, follows.

    follows: row of the visit whose part it brings, -1 otherwise.
    """
    level = scenario.routine_visit_rate / 1.80
    parts = [_maintenance(rng, scenario, places, level)]
    heat = weather.heating_degree_days_c[:, : scenario.n_days]
    flat = np.ones_like(heat)
    for name, rate, curve in (
        ("no_heat", _NO_HEAT, 0.15 + heat / 10.0),
        ("other_fault", _OTHER_FAULT, 0.5 + heat / 25.0),
        ("inspection", _INSPECTION, flat),
        ("other", _OTHER, flat),
    ):
        parts.append(_at_random(rng, scenario, places, KIND[name], rate * level, curve))
    new = np.flatnonzero((places.installed_day >= 0) & (places.installed_day < scenario.n_days))
    parts.append((new, places.installed_day[new], np.full(len(new), KIND["installation"])))
    appliance, day, kind = (np.concatenate([part[k] for part in parts]) for k in range(3))
    is_urgent = np.isin(kind, [KIND["no_heat"], KIND["other_fault"]])
    weekday = (day + first_weekday) % 7
    chance = rng.random(len(day))
    stays = (weekday < 5) | (is_urgent & (chance < 0.5))
    day = day + np.where(stays, 0, 7 - weekday)
    is_after_hours = is_urgent & np.where(weekday >= 5, stays, chance > 0.90)
    there = (day >= places.installed_day[appliance]) & (day < places.removed_day[appliance]) & (day < scenario.n_days)
    rows = np.flatnonzero(there)
    frame = pd.DataFrame(
        {
            "appliance": appliance[rows],
            "day": day[rows],
            "kind": kind[rows],
            "symptom": _symptom(rng, kind[rows]),
            "is_after_hours": is_after_hours[rows],
            "waits": False,
            "follows": -1,
        }
    )
    frame["technician"] = technicians.send(
        rng, places.branch[frame["appliance"]], frame["day"].to_numpy(), frame["is_after_hours"].to_numpy()
    )
    return _with_returns(rng, scenario, frame)


def _maintenance(
    rng: np.random.Generator, scenario: Scenario, places: Places, level: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Once a year for those enrolled, most of it before the season: May to October."""
    n_years = int(np.ceil(scenario.n_days / DAYS_PER_YEAR)) + 1
    enrolled = rng.random(places.n_appliances) < _ENROLLED_SHARE * min(level, 1.15)
    habit = rng.beta(1.6, 2.0, places.n_appliances)[:, None]
    offset = np.clip(habit + rng.normal(0, 0.12, (places.n_appliances, n_years)), 0, 1) * 210
    day = (np.arange(n_years)[None, :] * DAYS_PER_YEAR + offset).astype(np.int64)
    done = enrolled[:, None] & (rng.random(day.shape) < 0.94) & (day < scenario.n_days)
    appliance, year = np.nonzero(done)
    return appliance, day[appliance, year], np.full(len(appliance), KIND["maintenance"])


def _at_random(
    rng: np.random.Generator, scenario: Scenario, places: Places, kind: int, rate: float, curve: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Visits that come by chance with the weather's curve, shape (n_regions, n_days)."""
    counts = rng.poisson(rate * scenario.n_days / DAYS_PER_YEAR, places.n_appliances)
    appliance = np.repeat(np.arange(places.n_appliances), counts)
    region = places.region[appliance]
    cumulative = np.cumsum(curve, axis=1) / curve.sum(axis=1, keepdims=True)
    chance = rng.random(len(appliance))
    day = np.empty(len(appliance), np.int64)
    for number in range(curve.shape[0]):
        rows = region == number
        day[rows] = np.searchsorted(cumulative[number], chance[rows])
    return appliance, np.minimum(day, scenario.n_days - 1), np.full(len(appliance), kind)


def _symptom(rng: np.random.Generator, kind: np.ndarray) -> np.ndarray:
    chance = rng.random(len(kind))
    fault = np.where(chance < 0.35, SYMPTOM["noise"], np.where(chance < 0.75, SYMPTOM["leak"], SYMPTOM["other"]))
    symptom = np.where(kind == KIND["no_heat"], SYMPTOM["no_heat_other"], -1)
    symptom = np.where(kind == KIND["other_fault"], fault, symptom)
    return np.where((kind == KIND["other"]) & (chance < 0.4), SYMPTOM["other"], symptom)


def _with_returns(rng: np.random.Generator, scenario: Scenario, frame: pd.DataFrame) -> pd.DataFrame:
    """Some faults wait for a part and are finished on a planned return, mostly by the same technician."""
    is_fault = np.isin(frame["kind"].to_numpy(), [KIND["no_heat"], KIND["other_fault"]])
    waits = is_fault & (rng.random(len(frame)) < _RETURNS_SHARE)
    frame["waits"] = waits
    rows = np.flatnonzero(waits)
    back = frame.iloc[rows].copy()
    back["day"] = back["day"] + rng.integers(1, 8, len(rows))
    back["kind"] = KIND["return_for_part"]
    back["is_after_hours"] = False
    back["waits"] = False
    back["follows"] = rows
    back = back[back["day"] < scenario.n_days]
    return pd.concat([frame, back], ignore_index=True)
