"""What a fleet's figures would be in the long run: the same technicians and weather, but very many sites.

A range allows for chance in who calls, what is wrong and what is done about it. The share that happened in one export
has that chance in it already, so a 95% range holds it more often than 95 times in 100; what the range is meant to hold
is the rate behind it. That rate is the mean of the same simulation over `COPIES` times as many sites.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from synthetic_data import causes
from synthetic_data.bench import choose_tests
from synthetic_data.evidence import DESCRIBED, MEASURED, add_paper_facts, add_readings
from synthetic_data.faults import draw_faults, fault_rates
from synthetic_data.generate import _STREAMS, make_surroundings
from synthetic_data.jobs import make_jobs, true_callback_days
from synthetic_data.places import make_places
from synthetic_data.scenario import CALLBACK_HORIZON_DAYS, DAYS_SIMULATED_AFTER_END, Scenario, plan_blocks
from synthetic_data.technicians import make_technicians

COPIES = 60
WINDOW_DAYS = 30


def long_run(seed: int, scenario: Scenario) -> dict[str, Any]:
    """Good-switch rate and 30-day callbacks of the fleet that `generate` makes from this seed and (scaled) scenario.

    Raises ValueError for a fleet of more than one block.
    """
    plans = plan_blocks(scenario)
    if len(plans) != 1:
        raise ValueError(f"the fleet has {len(plans)} blocks; the long run is worked out for fleets of one.")
    plan = plans[0]
    shared, block = np.random.SeedSequence(seed).spawn(2)
    # The streams of the fleet itself for what it keeps: weather, technicians, mix of causes by branch.
    weather_rng, climate_rng, _ = (np.random.default_rng(child) for child in shared.spawn(3))
    own = dict(zip(_STREAMS, block.spawn(len(_STREAMS)), strict=True))
    surroundings = make_surroundings(weather_rng, climate_rng, scenario)
    technicians = make_technicians(np.random.default_rng(own["technicians"]), scenario, plan)
    fresh = np.random.default_rng([seed, COPIES])
    places = make_places(fresh, scenario, replace(plan, n_sites=COPIES * plan.n_sites))
    rates = fault_rates(np.random.default_rng(own["rates"]), places, scenario, plan.n_branches)
    faults = draw_faults(fresh, places, rates, surroundings.intensity, scenario.n_days + DAYS_SIMULATED_AFTER_END)
    weekday = scenario.starts_on.weekday()
    jobs = make_jobs(fresh, places, technicians, surroundings.weather, faults, weekday)
    jobs["callback_days"] = true_callback_days(jobs, places.removed_day, CALLBACK_HORIZON_DAYS)
    add_readings(fresh, scenario, jobs, places, technicians, surroundings.weather)
    add_paper_facts(jobs, technicians)
    swaps = jobs[jobs["has_swap"] & (jobs["completed_day"] < scenario.n_days)].reset_index(drop=True)
    swaps["swapped_day"] = swaps["completed_day"]
    choose_tests(fresh, scenario, swaps, plan, technicians.branch[swaps["technician"].to_numpy()])
    return _rates(swaps)


def _rates(swaps: pd.DataFrame) -> dict[str, Any]:
    recorded = swaps["recorded"].to_numpy()
    is_tested = swaps["selection"].to_numpy() >= 0
    # A switch blamed, tested and found faulty is measured.
    is_shown = (
        is_tested & ~swaps["is_good"].to_numpy(bool) & (recorded >= 0) & causes.IS_SWITCH[np.maximum(recorded, 0)]
    )
    has_cause = np.where(is_shown, MEASURED, swaps["tier"].to_numpy()) >= DESCRIBED
    is_closed = swaps["is_complete"].to_numpy(bool)
    is_back = swaps["callback_days"].between(1, WINDOW_DAYS).to_numpy(bool)
    return {
        "good_switch_rate": float(swaps["is_good"].mean()),
        "callbacks_with_cause": float(is_back[is_closed & has_cause].mean()),
        "callbacks_without_cause": float(is_back[is_closed & ~has_cause].mean()),
        "n_swaps": len(swaps),
    }
