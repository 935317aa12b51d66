"""Switches pulled, and which of them were tested: by what stood on paper at closing, never by the result."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pyarrow as pa

from pipelines.contract import codes
from pipelines.contract.units import INCH_OF_WATER_PA
from synthetic_data import causes
from synthetic_data.columns import MINUTES_PER_DAY, coded, flags, identifiers, numbers, table_of, timestamps
from synthetic_data.evidence import CODE_ONLY
from synthetic_data.places import RATED_MAKE_INCH, TOLERANCE_INCH, Places
from synthetic_data.scenario import BlockPlan, Scenario

SELECTIONS = codes.SELECTION.values()
HANDLINGS = codes.HANDLING.values()
RANDOM, CHOSEN, RETURNED_ONLY = (SELECTIONS.index(word) for word in ("random", "chosen", "returned_only"))
_RETURNED_ONLY_SHARE = 0.04
BENCH_SCALE_INCH, BENCH_STEP_INCH, BENCH_ACCURACY_PERCENT = 2.0, 0.005, 0.25


def make_swaps(jobs: pd.DataFrame, visits: pd.DataFrame) -> pd.DataFrame:
    """One row per switch fitted in the export: job, visit (row), day. Sorted by visit."""
    is_last = np.where(
        visits["part"].to_numpy() == 2, True, (visits["part"].to_numpy() == 1) & ~visits["waits"].to_numpy(bool)
    )
    rows = np.flatnonzero(is_last)
    job = visits["source"].to_numpy()[rows]
    has_swap = jobs["has_swap"].to_numpy()[job]
    rows, job = rows[has_swap], job[has_swap]
    swaps = jobs.iloc[job].reset_index(drop=True)
    swaps["diagnosed_by"] = swaps["technician"]
    swaps["job"], swaps["visit"] = job, rows
    swaps["swapped_day"] = visits["day"].to_numpy()[rows]
    swaps["swapped_by"] = visits["technician"].to_numpy()[rows]
    return swaps


def choose_tests(
    rng: np.random.Generator, scenario: Scenario, swaps: pd.DataFrame, plan: BlockPlan, branch: np.ndarray
) -> None:
    """Add which swaps are tested and how they were chosen, in place.

    Every removed switch enters a random draw with a recorded probability. Of the others the testers pick by evidence,
    tier, branch and season: the suspicious ones most. `testing_on_result` adds the forbidden look at the result.
    New columns: selection (-1 = not tested), tested_minute, handling.
    """
    n = len(swaps)
    evidence, tier = swaps["evidence"].to_numpy(), swaps["tier"].to_numpy()
    recorded = swaps["recorded"].to_numpy()
    blames_switch = (recorded >= 0) & causes.IS_SWITCH[recorded] & (tier > CODE_ONLY)
    # Log odds of being picked, by what is on paper.
    lean = np.array([0.15, 0.75, -0.9, 0.1])[evidence] + np.array([0.55, 0.30, -0.55, -0.75])[tier]
    lean = lean - 0.5 * blames_switch
    season = (swaps["swapped_day"].to_numpy() - scenario.lead_in_days) // 365
    place = 0.25 * np.cos(1.7 * (branch + plan.first_branch)) + 0.15 * np.cos(2.1 * season)
    odds = -1.0 + scenario.testing_strength * 1.25 * lean + place
    odds = odds + scenario.testing_on_result * (swaps["is_good"].to_numpy() - 0.5)
    picked = rng.random(n) < np.clip(scenario.testing_level, 0, 1) / (1 + np.exp(-odds))
    drawn = rng.random(n) < scenario.random_draw_probability
    came_back = swaps["callback_days"].between(1, 12).to_numpy() & (rng.random(n) < _RETURNED_ONLY_SHARE)
    selection = np.where(drawn, RANDOM, np.where(picked, CHOSEN, np.where(came_back, RETURNED_ONLY, -1)))
    delay = 1 + np.minimum(rng.gamma(1.8, 2.2, n).astype(np.int64), 12)
    delay = np.where(rng.random(n) < 0.03, rng.integers(16, 45, n), delay)
    delay = np.where(selection == RETURNED_ONLY, swaps["callback_days"].clip(lower=0) + 1, delay)
    minute = (swaps["swapped_day"].to_numpy() + delay) * MINUTES_PER_DAY + rng.integers(8 * 60, 16 * 60, n)
    in_export = minute < scenario.n_days * MINUTES_PER_DAY
    swaps["selection"] = np.where(in_export, selection, -1)
    swaps["tested_minute"] = minute
    handling = np.searchsorted([0.93, 0.945, 0.955, 1.0], rng.random(n), side="right")
    swaps["handling"] = np.minimum(handling, len(HANDLINGS) - 1)


def bench_tests(
    rng: np.random.Generator, scenario: Scenario, swaps: pd.DataFrame, places: Places, plan: BlockPlan
) -> pa.Table:
    """The bench tests of a block as delivered, and adds `bench_verdict` to swaps (1 good, 0 faulty, -1 other) in place.

    The verdict here is a plain reading of the true state and the handling, used for claims and truth only.
    """
    rows = np.flatnonzero(swaps["selection"].to_numpy() >= 0)
    tested = swaps.iloc[rows]
    n = len(tested)
    cause = tested["cause"].to_numpy()
    torn = (cause == causes.NUMBER["diaphragm_leak"]) & (rng.random(n) < 0.75)
    leaks = cause == causes.NUMBER["diaphragm_leak"]
    wet = cause == causes.NUMBER["water_in_switch"]
    resistive = cause == causes.NUMBER["contact_stuck_or_resistive"]
    ohms = np.where(resistive, rng.uniform(8, 900, n), rng.gamma(2.0, 0.12, n))
    rig_bias = rng.normal(0, 0.002)
    make_inch = tested["make_pa"].to_numpy() / INCH_OF_WATER_PA
    shift = np.where(leaks | wet, rng.uniform(0.18, 0.40, n) * make_inch, 0.0)
    model = places.switch_model[tested["appliance"].to_numpy()]
    n_readings = np.where(rng.random(n) < 0.82, 3, np.where(rng.random(n) < 0.8, 2, 1))
    given: dict[str, pa.Array] = {}
    for turn in (1, 2, 3):
        noise = rng.normal(0, 0.0025, n) * (1 + 3 * wet)
        make = np.round((make_inch + shift + rig_bias + noise) / BENCH_STEP_INCH) * BENCH_STEP_INCH
        give = make_inch - make_inch * rng.uniform(0.16, 0.22, n)
        given[f"make_{turn}"] = numbers(make, 3, n_readings >= turn)
        given[f"break_{turn}"] = numbers(np.round(give / BENCH_STEP_INCH) * BENCH_STEP_INCH, 3, n_readings >= turn)
    has_tag = tested["has_tag"].to_numpy()
    handling = tested["handling"].to_numpy()
    is_drawn = tested["selection"].to_numpy() == RANDOM
    has_rating = rng.random(n) > 0.1
    given |= {
        "bench_test_id": identifiers("B", _number(plan, tested["visit"].to_numpy()), 7),
        "removed_tag": identifiers("TAG", _number(plan, tested["visit"].to_numpy()), 7, has_tag),
        "visit_id": identifiers("V", _number(plan, tested["visit"].to_numpy()), 7, ~has_tag | (rng.random(n) < 0.5)),
        "tested_at": timestamps(scenario.starts_on, tested["tested_minute"].to_numpy(), scenario.times),
        "tester_id": identifiers("BT", plan.number * 10 + rng.integers(1, 4, n), 2),
        "gauge_id": identifiers("GB", np.full(n, plan.number + 1), 2),
        "pressure_unit": pa.array(np.full(n, "[in_i'H2O]", dtype=object), pa.string()),
        "rated_make_pressure": numbers(RATED_MAKE_INCH[model], 2, has_rating),
        "make_tolerance": numbers(TOLERANCE_INCH[model], 2, has_rating & (rng.random(n) > 0.05)),
        "is_leak_down_passed": flags(~leaks, rng.random(n) > 0.06),
        "contact_ohms": numbers(ohms, 2, rng.random(n) > 0.04),
        "has_water_inside": flags(wet & (handling != HANDLINGS.index("drained")), rng.random(n) > 0.02),
        "is_diaphragm_torn": flags(torn, rng.random(n) > 0.02),
        "handling": coded(HANDLINGS, np.where(rng.random(n) < 0.02, -1, handling)),
        "selection": coded(SELECTIONS, tested["selection"].to_numpy()),
        "selection_probability": numbers(np.full(n, scenario.random_draw_probability), 4, is_drawn),
        "remark": coded(_REMARKS, np.where(rng.random(n) < 0.12, rng.integers(0, len(_REMARKS), n), -1)),
    }
    verdict = np.full(len(swaps), -1)
    spoiled = np.isin(handling, [HANDLINGS.index("drained"), HANDLINGS.index("dropped")]) | (
        tested["tested_minute"].to_numpy() - tested["swapped_day"].to_numpy() * MINUTES_PER_DAY > 14 * MINUTES_PER_DAY
    )
    verdict[rows] = np.where(~tested["is_good"].to_numpy(), 0, np.where(spoiled, -1, 1))
    swaps["bench_verdict"] = verdict
    return table_of("bench_tests", given)


def _number(plan: BlockPlan, rows: np.ndarray) -> np.ndarray:
    return (plan.number + 1) * 1_000_000 + rows


_REMARKS = (
    "hard to read at first, then steady",
    "tested twice, same",
    "label half gone",
    "tag was loose in the box",
    "case scratched",
    "smells of condensate",
    "clicks cleanly",
    "came without its hose",
)
