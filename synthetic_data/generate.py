"""Make a fleet: its records in the form of the contract, and the truth beside them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pyarrow as pa

from synthetic_data.bench import bench_tests, choose_tests, make_swaps
from synthetic_data.checks import checks, gauges, visit_crew
from synthetic_data.dirt import soil
from synthetic_data.evidence import add_paper_facts, add_readings
from synthetic_data.faults import Intensity, draw_faults, fault_rates, make_climate, make_intensity
from synthetic_data.jobs import make_jobs, true_callback_days
from synthetic_data.notes import make_notes
from synthetic_data.paper import visits_table
from synthetic_data.parts import part_lines, parts_table
from synthetic_data.places import make_places
from synthetic_data.readings import readings
from synthetic_data.registers import (
    appliances,
    coaching_sessions,
    sites,
    technicians_table,
    warranty_claims,
    weather_days,
)
from synthetic_data.routine import make_routine
from synthetic_data.scenario import (
    CALLBACK_HORIZON_DAYS,
    DAYS_SIMULATED_AFTER_END,
    BlockPlan,
    Scenario,
    plan_blocks,
)
from synthetic_data.technicians import make_technicians
from synthetic_data.truth import Truth, average_pull_probability, write_truth
from synthetic_data.visits import make_visits
from synthetic_data.weather import Weather, simulate_weather
from synthetic_data.writing import Writer

PIECE_VISITS = 500_000
# Each concern draws from a stream of its own, so that a change to one leaves the others as they were.
_STREAMS = (
    "places",
    "technicians",
    "rates",
    "faults",
    "jobs",
    "readings",
    "routine",
    "visits",
    "tags",
    "tests",
    "bench",
    "lines",
    "paper",
    "registers",
    "notes",
    "dirt",
)


@dataclass(frozen=True)
class Surroundings:
    """What all blocks share: the weather, and how likely faults are under it."""

    weather: Weather
    intensity: Intensity


def generate(
    folder: Path,
    seed: int = 1,
    visits: int | None = None,
    format: str = "csv",
    scenario: Scenario | None = None,
    progress: Callable[[str, float | None], None] | None = None,
    piece_visits: int = PIECE_VISITS,
) -> None:
    """Write `folder/records/<table>.<format>` and `folder/truth/`.

    visits: about how many visits; sites and technicians are scaled to it. None: the scenario's own size.
    format: "csv" or "parquet". progress: called with words and the share done. The same seed gives the same bytes.
    piece_visits: a larger fleet is written in pieces of about this many visits; rows and order do not depend on it.
    Raises ValueError when the seed, the number of visits or the format is not allowed.
    """
    scenario = scenario or Scenario()
    if seed < 0:
        raise ValueError(f"seed is {seed}; must be 0 or more.")
    if visits is not None:
        if visits < 1_000:
            raise ValueError(f"visits is {visits}; must be at least 1,000.")
        scenario = scenario.scaled(visits)
    tell = progress or (lambda words, share: None)
    plans = plan_blocks(scenario)
    shared, *of_blocks = np.random.SeedSequence(seed).spawn(1 + len(plans))
    weather_rng, climate_rng, station_rng = (np.random.default_rng(child) for child in shared.spawn(3))
    surroundings = make_surroundings(weather_rng, climate_rng, scenario)
    folder = Path(folder)
    writer = Writer(folder / "records", format, len(plans), piece_visits)
    truth = Truth()
    writer.write("weather_days", weather_days(station_rng, scenario, surroundings.weather))
    writer.write("parts", parts_table())
    for plan, sequence in zip(plans, of_blocks, strict=True):
        tell("inventing visits", plan.number / len(plans))
        writer.add(make_block(sequence, scenario, plan, surroundings, truth))
    writer.close()
    write_truth(truth, folder / "truth", scenario, seed)
    tell("inventing visits", 1.0)


def make_surroundings(
    weather_rng: np.random.Generator, climate_rng: np.random.Generator, scenario: Scenario
) -> Surroundings:
    """Weather of the export and of the time in which callbacks may still come, and the intensities under it."""
    n_days = scenario.n_days + DAYS_SIMULATED_AFTER_END + CALLBACK_HORIZON_DAYS + 30
    weather = simulate_weather(weather_rng, scenario.starts_on, n_days)
    climate, climate_first_day = make_climate(climate_rng)
    return Surroundings(weather, make_intensity(weather, climate, scenario.starts_on, climate_first_day))


def make_block(
    sequence: np.random.SeedSequence, scenario: Scenario, plan: BlockPlan, surroundings: Surroundings, truth: Truth
) -> dict[str, pa.Table]:
    """Simulate one block, add its truth to `truth` and return its tables as delivered."""
    rng = {
        name: np.random.default_rng(child) for name, child in zip(_STREAMS, sequence.spawn(len(_STREAMS)), strict=True)
    }
    weather = surroundings.weather
    weekday = scenario.starts_on.weekday()
    places = make_places(rng["places"], scenario, plan)
    technicians = make_technicians(rng["technicians"], scenario, plan)
    rates = fault_rates(rng["rates"], places, scenario, plan.n_branches)
    n_days = scenario.n_days + DAYS_SIMULATED_AFTER_END
    faults = draw_faults(rng["faults"], places, rates, surroundings.intensity, n_days)
    jobs = make_jobs(rng["jobs"], places, technicians, weather, faults, weekday)
    jobs["callback_days"] = true_callback_days(jobs, places.removed_day, CALLBACK_HORIZON_DAYS)
    jobs["average_pull_probability"] = average_pull_probability(jobs)
    jobs["model"] = places.switch_model[jobs["appliance"].to_numpy()]
    add_readings(rng["readings"], scenario, jobs, places, technicians, weather)
    add_paper_facts(jobs, technicians)
    routine = make_routine(rng["routine"], scenario, places, technicians, weather, weekday)
    visits = make_visits(rng["visits"], scenario, places, technicians, jobs, routine)
    visits["is_appliance_recorded"] = rng["tags"].random(len(visits)) > scenario.blank_appliance_share
    swaps = make_swaps(jobs, visits)
    swaps["has_tag"] = rng["tags"].random(len(swaps)) > 0.07 * scenario.dirt
    choose_tests(rng["tests"], scenario, swaps, plan, technicians.branch[swaps["diagnosed_by"].to_numpy()])
    tested = bench_tests(rng["bench"], scenario, swaps, places, plan)
    notes = make_notes(rng["notes"], jobs, visits, technicians)
    tables = {
        "visits": visits_table(rng["paper"], scenario, visits, places, notes, plan),
        "part_lines": part_lines(rng["lines"], scenario, jobs, visits, swaps, places, plan),
        "readings": readings(rng["paper"], scenario, jobs, visits, places, technicians, weather, plan),
        "checks": checks(rng["paper"], jobs, visits, technicians, plan),
        "visit_crew": visit_crew(rng["paper"], visits, technicians, plan),
        "bench_tests": tested,
        "sites": sites(places, plan),
        "appliances": appliances(rng["registers"], scenario, places, plan),
        "technicians": technicians_table(scenario, technicians, plan),
        "gauges": gauges(rng["registers"], scenario, technicians, plan),
        "warranty_claims": warranty_claims(rng["registers"], scenario, swaps, plan),
        "coaching_sessions": coaching_sessions(rng["registers"], scenario, technicians, plan),
    }
    truth.add_block(scenario, plan, places, technicians, jobs, visits, swaps, rates, surroundings.intensity.mean_curve)
    return soil(rng["dirt"], scenario, tables, visits["part"].to_numpy() == 0)
