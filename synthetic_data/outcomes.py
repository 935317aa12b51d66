"""One attendance of draft faults: who reads the gauge, who finds the cause, who swaps, what comes back and when."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from synthetic_data import causes
from synthetic_data.scenario import CALLBACK_HORIZON_DAYS
from synthetic_data.technicians import Technicians

# How a switch came to be pulled.
NO_SWAP, SWITCH_AT_FAULT, ALONGSIDE_REPAIR, BLIND = 0, 1, 2, 3

LATENT_FAULT_PROBABILITY = 0.015
REPAIR_HOLDS_PROBABILITY = 0.965
RETURNS_AFTER_BLIND_SWAP = 0.47
RETURNS_AFTER_RESET = 0.70
FINDS_AFTER_USELESS_SWAP = 0.80
WRONG_CAUSE_PROBABILITY = 0.10
_SECOND_LOOK = 0.14


@dataclass(frozen=True)
class Triggers:
    """When masked causes come back. events: weather word -> next day of that weather, (n_regions, n_days).

    heating_days: running count of days with heat demand, (n_regions, n_days): an idle appliance does not fail.
    """

    events: dict[str, np.ndarray]
    heating_days: np.ndarray


def attend(
    rng: np.random.Generator,
    technicians: Technicians,
    triggers: Triggers,
    region: np.ndarray,
    cause: np.ndarray,
    day: np.ndarray,
    technician: np.ndarray,
    is_after_hours: np.ndarray,
    round_no: int,
) -> dict[str, np.ndarray]:
    """What happened on each job. All arguments are arrays (n_jobs,); round_no counts earlier visits for the same cause.

    Returns arrays (n_jobs,): is_away, has_before, has_after, is_found, recorded, contributing, is_described, swap_way,
    is_good, waits_days (0 = finished at once), is_complete, next_day (-1 = does not come back), good_pull_probability.
    """
    n = len(cause)
    skill = _skills(technicians, technician, day, cause, is_after_hours, round_no)
    is_away = rng.random(n) < causes.AWAY_PROBABILITY[cause]
    is_read = rng.random(n) < skill["gauge"]
    is_switch = causes.IS_SWITCH[cause]
    finds = np.where(is_read, skill["find_with_gauge"], skill["find_without"])
    is_found = rng.random(n) < finds
    swap_way = _swap_way(rng, cause, is_found, skill)
    is_blind = swap_way == BLIND
    # A new switch that does not help makes most look again.
    is_cured = np.where(is_switch, True, rng.random(n) < causes.SEEMS_CURED[cause])
    is_found_late = is_blind & ~is_cured & (rng.random(n) < FINDS_AFTER_USELESS_SWAP)
    is_wrong = ~is_found & ~is_found_late & ~is_switch & (rng.random(n) < WRONG_CAUSE_PROBABILITY)
    knows = is_found | is_found_late
    has_before = is_read & (is_found | (rng.random(n) < 0.62))
    recorded, contributing, is_described = _recorded(rng, cause, knows, is_wrong, swap_way, skill["record"])
    has_after = np.where(
        knows, is_read & (rng.random(n) < 0.35 + 0.6 * skill["record"]), has_before & (rng.random(n) < 0.30)
    )
    next_day = _next_day(rng, triggers, region, cause, day, knows, swap_way, is_cured)
    escalates = is_found & causes.MUST_ESCALATE[cause] & (cause != causes.NUMBER["wrong_switch_or_altitude"])
    waits = (swap_way != NO_SWAP) & (rng.random(n) < 0.11)
    part_step = np.isin(causes.STEP[cause], [causes.STEPS.index("fan"), causes.STEPS.index("electrical")])
    waits |= is_found & part_step & (rng.random(n) < 0.22)
    waits_days = np.where(waits & ~escalates, 1 + np.minimum(rng.gamma(1.6, 1.4, n).astype(np.int64), 12), 0)
    next_day = np.where(next_day >= 0, next_day + waits_days, -1)
    is_latent = rng.random(n) < LATENT_FAULT_PROBABILITY
    return {
        "is_away": is_away,
        "has_before": has_before,
        "has_after": has_after & (swap_way != NO_SWAP) | has_after & knows,
        "is_found": knows,
        "recorded": recorded,
        "contributing": contributing,
        "is_described": is_described,
        "swap_way": swap_way,
        "is_good": ~is_switch & ~is_latent & (swap_way != NO_SWAP),
        "is_latent": is_latent & ~is_switch,
        "waits_days": waits_days,
        "is_complete": ~escalates & (rng.random(n) > 0.015),
        "is_shut_down": escalates,
        "next_day": np.where(escalates, -1, next_day),
        "good_pull_probability": _good_pull_probability(cause, skill),
    }


def _skills(
    technicians: Technicians,
    technician: np.ndarray,
    day: np.ndarray,
    cause: np.ndarray,
    is_after_hours: np.ndarray,
    round_no: int,
) -> dict[str, np.ndarray]:
    """Probabilities of each step on each job: skill, less the gap of a new starter, plus what coaching changed."""
    gap = technicians.experience_gap(technician, day)
    improved = technicians.is_improved(technician, day)
    step = technicians.skill[technician, causes.STEP[cause]] - gap + 0.08 * improved
    step = (step + _SECOND_LOOK * (round_no > 0)) * np.where(is_after_hours, 0.93, 1.0)
    is_switch = causes.IS_SWITCH[cause]
    return {
        "gauge": np.clip(technicians.gauge[technician] - gap + 0.18 * improved, 0.02, 0.98),
        "record": np.clip(technicians.record[technician] - gap + 0.10 * improved, 0.02, 0.98),
        "blind": np.clip((technicians.swap_blind[technician] + 0.5 * gap) * np.where(improved, 0.70, 1.0), 0, 0.98),
        "anyway": np.clip((technicians.swap_anyway[technician] + 0.3 * gap) * np.where(improved, 0.75, 1.0), 0, 0.98),
        "find_with_gauge": np.clip(np.where(is_switch, 0.94, step * 1.12), 0.02, 0.97),
        "find_without": np.clip(np.where(is_switch, 0.30, step * 0.82), 0.02, 0.97),
    }


def _swap_way(
    rng: np.random.Generator, cause: np.ndarray, is_found: np.ndarray, skill: dict[str, np.ndarray]
) -> np.ndarray:
    chance = rng.random(len(cause))
    found = np.where(
        causes.IS_SWITCH[cause] | (cause == causes.NUMBER["wrong_switch_or_altitude"]),
        np.where(causes.IS_SWITCH[cause], SWITCH_AT_FAULT, ALONGSIDE_REPAIR),
        np.where((chance < skill["anyway"]) & ~causes.MUST_ESCALATE[cause], ALONGSIDE_REPAIR, NO_SWAP),
    )
    return np.where(is_found, found, np.where(chance < skill["blind"], BLIND, NO_SWAP))


def _good_pull_probability(cause: np.ndarray, skill: dict[str, np.ndarray]) -> np.ndarray:
    """Probability that this technician pulls a good switch on this job, given its true cause."""
    finds = skill["gauge"] * skill["find_with_gauge"] + (1 - skill["gauge"]) * skill["find_without"]
    anyway = np.where(causes.MUST_ESCALATE[cause], 0.0, skill["anyway"])
    anyway = np.where(cause == causes.NUMBER["wrong_switch_or_altitude"], 1.0, anyway)
    pulls = finds * anyway + (1 - finds) * skill["blind"]
    return np.where(causes.IS_SWITCH[cause], 0.0, pulls * (1 - LATENT_FAULT_PROBABILITY))


_SWITCH_CODES = np.array([causes.NUMBER[c] for c in ("diaphragm_leak", "setpoint_drift", "contact_stuck_or_resistive")])
_BEHIND_WATER = np.array([causes.NUMBER[c] for c in ("hose_water", "trap_fouled", "collector_water")])
_CUMULATIVE_SHARE = np.cumsum(causes.SHARE)


def _recorded(
    rng: np.random.Generator,
    cause: np.ndarray,
    knows: np.ndarray,
    is_wrong: np.ndarray,
    swap_way: np.ndarray,
    record: np.ndarray,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Cause written down (-1 = blank), contributing cause, and whether the finding is described."""
    n = len(cause)
    chance = rng.random(n)
    wrong = np.minimum(np.searchsorted(_CUMULATIVE_SHARE, rng.random(n)), causes.N_CAUSES - 1)
    wrong = np.where(causes.IS_SWITCH[wrong] | causes.MUST_ESCALATE[wrong], causes.NUMBER["hose_water"], wrong)
    claimed = np.where(knows, cause, wrong)
    is_claimed = knows | is_wrong
    is_coded = chance < record + 0.55 * (1 - record)
    is_described = is_claimed & (chance < record)
    # Without a finding most leave the cause blank; some blame the switch, some say so.
    guess = rng.random(n)
    blamed = _SWITCH_CODES[rng.integers(0, len(_SWITCH_CODES), n)]
    blame_limit = np.where(swap_way == BLIND, 0.24, 0.0)
    unknown = np.where(
        guess < blame_limit,
        blamed,
        np.where(
            guess < blame_limit + 0.10,
            causes.NUMBER["not_found"],
            np.where(guess < blame_limit + 0.18, causes.NUMBER["not_reproduced"], -1),
        ),
    )
    recorded = np.where(is_claimed, np.where(is_coded, claimed, -1), unknown)
    behind = _BEHIND_WATER[rng.integers(0, len(_BEHIND_WATER), n)]
    is_water = is_described & (recorded == causes.NUMBER["water_in_switch"])
    contributing = np.where(is_water & (rng.random(n) < 0.75), behind, -1)
    return recorded, contributing, is_described


def _next_day(
    rng: np.random.Generator,
    triggers: Triggers,
    region: np.ndarray,
    cause: np.ndarray,
    day: np.ndarray,
    knows: np.ndarray,
    swap_way: np.ndarray,
    is_cured: np.ndarray,
) -> np.ndarray:
    """Day of the visit this one leads to, -1 where the fault does not come back within the horizon."""
    n = len(cause)
    swapped = swap_way != NO_SWAP
    by_switch = causes.IS_CURED_BY_SWITCH[cause] & swapped
    returns_unrepaired = np.where(swapped, RETURNS_AFTER_BLIND_SWAP, RETURNS_AFTER_RESET)
    chance = np.where(knows, 1 - REPAIR_HOLDS_PROBABILITY, returns_unrepaired)
    # Water in the switch has a cause of its own, which the finder mostly repairs too.
    is_water = cause == causes.NUMBER["water_in_switch"]
    chance = np.where(is_water & knows, 0.15, chance)
    chance = np.where(by_switch, 0.0, chance)
    returns = rng.random(n) < chance
    low, high = causes.DAYS_LOW[cause], causes.DAYS_HIGH[cause]
    # A fault that the new switch did not even seem to cure shows again soon.
    high = np.where(swapped & ~is_cured & ~knows, np.minimum(high, low + 7), high)
    high = np.where(causes.IS_CURED_BY_SWITCH[cause] & ~swapped, 12, high)
    delay = low + np.floor((high - low + 1) * rng.beta(1.1, 2.4, n)).astype(np.int64)
    next_day = _after_heating_days(triggers.heating_days, region, day, np.maximum(delay, 1))
    for word, events in triggers.events.items():
        waits = np.array([returns_with == word for returns_with in causes.RETURNS_WITH])[cause]
        event_day = events[region, np.minimum(day, events.shape[1] - 1)]
        next_day = np.where(waits, event_day + rng.integers(0, 2, n), next_day)
    in_horizon = (next_day > day) & (next_day - day <= CALLBACK_HORIZON_DAYS) & (next_day < _last_day(triggers))
    return np.where(returns & in_horizon, next_day, -1)


def _last_day(triggers: Triggers) -> int:
    return triggers.heating_days.shape[1]


def _after_heating_days(running: np.ndarray, region: np.ndarray, day: np.ndarray, delay: np.ndarray) -> np.ndarray:
    """First day on which `delay` more days with heat demand have passed than on `day`."""
    result = np.empty(len(day), np.int64)
    for number in range(running.shape[0]):
        rows = region == number
        start = np.minimum(day[rows], running.shape[1] - 1)
        result[rows] = np.searchsorted(running[number], running[number][start] + delay[rows])
    return result
