"""Every figure, once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from typing import Any

import duckdb
import numpy as np
import pandas as pd
from threadpoolctl import threadpool_limits

from models.figures.callback_ends import callback_chains
from models.figures.callbacks import Callbacks, callbacks
from models.figures.coaching_effect import CoachingEffect, coaching_effect
from models.figures.control import ControlChart, control
from models.figures.coverage import coverage
from models.figures.good_switch import GROUPINGS, GoodSwitch, rate_of, rates_by
from models.figures.missing import Missing, missing
from models.figures.missing_counts import more_tests_by_stratum
from models.figures.pulls import good_pulls
from models.figures.safety import all_open_items
from models.figures.scope import Scope
from models.figures.seasons import Season, seasons
from models.figures.sites import sites
from models.figures.strata import swaps_for_rate
from models.figures.technicians import TechnicianFigures, technicians
from models.figures.waste import Waste, waste
from models.misdiagnosis.scores import Scores, score_swaps

Progress = Callable[[str, float | None], None]


@dataclass(frozen=True)
class Figures:
    """Everything the pages, reports and the command line show, over the whole store.

    as_of: last day with a visit. good_switch_by: frames by branch, part_number, technician_id, week_on and month.
    callback_chains: see models.figures.callback_ends; kept for narrower scopes. scores: swap scores and the model card. safety_items: models.figures.safety.all_open_items; kept for narrower scopes. sites: see models.figures.sites.
    """

    as_of: date | None
    coverage: dict[str, Any]
    good_switch: GoodSwitch
    good_switch_by: dict[str, pd.DataFrame]
    callbacks: Callbacks
    callback_chains: pd.DataFrame
    seasons: dict[str, Season]
    scores: Scores
    technicians: TechnicianFigures
    safety_items: pd.DataFrame
    sites: pd.DataFrame
    control: dict[str, ControlChart]
    waste: Waste
    coaching: CoachingEffect
    missing: Missing


# One thread in sums of products: the same digits on any number of cores.
@threadpool_limits.wrap(limits=1, user_api="blas")
def compute(
    con: duckdb.DuckDBPyConnection,
    settings: Any,
    rng: np.random.Generator | None = None,
    progress: Progress | None = None,
) -> Figures:
    """Every figure over everything in the store.

    rng: for simulations; default seeded with settings.random_seed, so that the same store gives the same figures.
    progress: called with what is being worked out and the share done.
    """
    rng = np.random.default_rng(int(settings.random_seed)) if rng is None else rng
    say = progress or (lambda text, share: None)
    everything = Scope()
    say("Coverage", 0.0)
    covered = coverage(con, everything)
    say("Good-switch rate", 0.02)
    swaps = swaps_for_rate(con, everything, settings)
    good_switch = rate_of(swaps)
    by = {name: rates_by(swaps, name) for name in GROUPINGS}
    testing = more_tests_by_stratum(swaps)
    del swaps
    say("Callbacks", 0.15)
    chains = callback_chains(con)
    came_back = callbacks(con, everything, settings, chains)
    say("Seasons", 0.35)
    year = seasons(con, everything, settings, rng)
    say("Likely misdiagnosis", 0.45)
    scores = score_swaps(con, everything, settings)
    say("Technicians", 0.6)
    pulls = good_pulls(con, everything, scores)
    people = technicians(con, everything, settings, scores, rng, pulls)
    say("Sites", 0.8)
    unsafe = all_open_items(con)
    places = sites(con, everything, settings, unsafe)
    say("Weekly control", 0.88)
    charts = control(con, everything, settings)
    say("Parts waste", 0.9)
    cost = waste(con, everything, settings, scores, rng, pulls)
    say("Coaching", 0.97)
    coached = coaching_effect(con, everything, settings, pulls)
    say("What is missing", 0.99)
    lacking = missing(con, everything, settings, covered, testing, good_switch, came_back, year, cost.estimated)
    say("Done", 1.0)
    last_on = con.execute("SELECT max(arrived_on) FROM visit").fetchone()[0]  # type: ignore[index]
    return Figures(
        last_on,
        covered,
        good_switch,
        by,
        came_back,
        chains,
        year,
        scores,
        people,
        unsafe,
        places,
        charts,
        cost,
        coached,
        lacking,
    )
