"""The smaller tables: sites, appliances, technicians, warranty claims, coaching sessions, weather."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pyarrow as pa

from pipelines.contract import codes
from synthetic_data.columns import coded, dates, flags, identifiers, numbers, table_of
from synthetic_data.parts import SWITCH_COST
from synthetic_data.places import KINDS, RATED_BREAK_INCH, RATED_MAKE_INCH, STAYS, TOLERANCE_INCH, Places
from synthetic_data.scenario import REGIONS, STATIONS, BlockPlan, Scenario, branch_name
from synthetic_data.technicians import Technicians
from synthetic_data.weather import Weather

# Invented given names and family names, for invented people.
_GIVEN = (
    "Arlo", "Bettine", "Corwin", "Dorrit", "Edda", "Fenn", "Gisla", "Hob", "Isolt", "Jory", "Kester", "Lowen",
    "Merrin", "Nessa", "Osric", "Petra", "Quill", "Runa", "Senn", "Tamsin",
)  # fmt: skip
_FAMILY = (
    "Ashdown-Test", "Bramblecog", "Coldharrow", "Dripwell", "Emberly", "Fluehart", "Gantrice", "Hobnettle", "Inkpenny",
    "Jarrowby", "Kettlewick", "Lampreth", "Mossgate", "Nettlerow", "Oxenbold",
)  # fmt: skip
CLAIM_OUTCOMES = codes.CLAIM_OUTCOME.values()
TOPICS = codes.TOPIC.values()
_REFUSALS = (
    "tested good on return",
    "no fault found",
    "within specification",
    "out of warranty period",
    "part shows water damage",
    "paperwork incomplete",
)
_COACH_REMARKS = (
    "went through two jobs on site",
    "practised teeing in the gauge",
    "talked about writing down the cause",
    "rode along for a morning",
    "looked at three returned switches together",
)


def sites(places: Places, plan: BlockPlan) -> pa.Table:
    """Sites on record; about one in a hundred is missing."""
    region = places.site_region
    table = table_of(
        "sites",
        {
            "site_id": identifiers("S", (plan.number + 1) * 100_000 + np.arange(places.n_sites), 6),
            "region": coded(REGIONS, region),
            "elevation_m": numbers(places.site_elevation_m, 0),
            "weather_station_id": coded(STATIONS, region),
        },
    )
    return table.filter(pa.array(places.site_is_recorded))


def appliances(rng: np.random.Generator, scenario: Scenario, places: Places, plan: BlockPlan) -> pa.Table:
    """Every appliance, with its rating where the plate was read."""
    n = places.n_appliances
    model = places.switch_model
    gone = (places.removed_day < scenario.n_days) & (places.removed_day != STAYS)
    there = places.installed_day < scenario.n_days
    rated = places.is_rating_recorded
    spelled = np.where(rated, plan.number % 2, -1)
    table = table_of(
        "appliances",
        {
            "appliance_id": identifiers("A", (plan.number + 1) * 100_000 + np.arange(n), 6),
            "site_id": identifiers("S", (plan.number + 1) * 100_000 + places.appliance_site, 6),
            "appliance_kind": coded(KINDS, places.kind),
            "is_condensing": flags(places.is_condensing, rng.random(n) > 0.03),
            "installed_on": dates(scenario.starts_on, places.installed_day, rng.random(n) > 0.06),
            "removed_on": dates(scenario.starts_on, np.where(gone, places.removed_day, 0), gone),
            "model_code": identifiers("MK", model * 7 + places.kind, 3),
            "serial_number": identifiers("SN", rng.integers(10**8, 10**9, n), 9, rng.random(n) > 0.15),
            "rated_make_pressure": numbers(RATED_MAKE_INCH[model], 2, rated),
            "rated_break_pressure": numbers(RATED_BREAK_INCH[model], 2, rated),
            "make_tolerance": numbers(TOLERANCE_INCH[model], 2, rated & (rng.random(n) > 0.1)),
            "pressure_unit": coded(("in. w.c.", "inH2O"), spelled),
        },
    )
    return table.filter(pa.array(there))


def technicians_table(scenario: Scenario, technicians: Technicians, plan: BlockPlan) -> pa.Table:
    """Technicians with their branch and employment."""
    number = plan.first_technician + np.arange(technicians.n)
    given, family = coded(_GIVEN, number % len(_GIVEN)), coded(_FAMILY, (number * 7) % len(_FAMILY))
    branches = [branch_name(plan.first_branch + place) for place in range(plan.n_branches)]
    left = technicians.left_day < scenario.n_days
    return table_of(
        "technicians",
        {
            "technician_id": identifiers("T", number + 1, 3),
            "technician_name": pa.array(
                [f"{a} {b}" for a, b in zip(given.to_pylist(), family.to_pylist(), strict=True)]
            ),
            "branch": coded(branches, technicians.branch),
            "started_on": dates(scenario.starts_on, technicians.started_day),
            "left_on": dates(scenario.starts_on, np.where(left, technicians.left_day, 0), left),
        },
    )


def warranty_claims(rng: np.random.Generator, scenario: Scenario, swaps: pd.DataFrame, plan: BlockPlan) -> pa.Table:
    """Claims for part of the switches pulled: mostly refused when the switch was good."""
    rows = np.flatnonzero(rng.random(len(swaps)) < 0.38)
    swap = swaps.iloc[rows]
    n = len(rows)
    filed = swap["swapped_day"].to_numpy() + rng.integers(2, 30, n)
    decided = filed + rng.integers(10, 75, n)
    is_good = swap["is_good"].to_numpy()
    paid = rng.random(n) < np.where(is_good, 0.18, 0.86)
    is_open = (decided >= scenario.n_days) | (rng.random(n) < 0.03)
    outcome = np.where(is_open, CLAIM_OUTCOMES.index("open"), np.where(paid, 0, CLAIM_OUTCOMES.index("refused")))
    reason = np.where(is_good, rng.integers(0, 3, n), rng.integers(3, 6, n))
    visit = (plan.number + 1) * 1_000_000 + swap["visit"].to_numpy()
    credit = SWITCH_COST[swap["model"].to_numpy()]
    table = table_of(
        "warranty_claims",
        {
            "claim_id": identifiers("C", visit, 7),
            "visit_id": identifiers("V", visit, 7),
            "removed_tag": identifiers("TAG", visit, 7, swap["has_tag"].to_numpy()),
            "filed_on": dates(scenario.starts_on, filed),
            "decided_on": dates(scenario.starts_on, decided, ~is_open),
            "outcome": coded(CLAIM_OUTCOMES, outcome),
            "credited_amount": numbers(credit, 2, outcome == 0),
            "currency": coded(("USD",), np.where(outcome == 0, 0, -1)),
            "refusal_reason": coded(_REFUSALS, np.where(outcome == 1, reason, -1)),
        },
    )
    return table.filter(pa.array(filed < scenario.n_days))


def coaching_sessions(
    rng: np.random.Generator, scenario: Scenario, technicians: Technicians, plan: BlockPlan
) -> pa.Table:
    """Two to four sessions for each coached technician, the first on the day from which it may have worked."""
    coached = np.flatnonzero(technicians.coached_day >= 0)
    times = rng.integers(2, 5, len(coached))
    row = np.repeat(coached, times)
    starts = np.repeat(np.cumsum(times) - times, times)
    turn = np.arange(len(row)) - starts
    held = technicians.coached_day[row] + turn * 21
    # Half of the sessions are about the steps that matter most, the others go through the whole list.
    usual = np.array([TOPICS.index(name) for name in ("gauge_use", "root_cause_record", "draft_at_switch")])
    others = np.setdiff1d(np.arange(len(TOPICS)), usual)
    is_usual = np.arange(len(row)) % 2 == 0
    turn_of_other = (plan.number * 7 + np.arange(len(row)) // 2) % len(others)
    topic = np.where(is_usual, usual[rng.integers(0, len(usual), len(row))], others[turn_of_other])
    first = plan.first_technician + 1
    table = table_of(
        "coaching_sessions",
        {
            "session_id": identifiers("K", (first + row) * 10 + turn, 5),
            "technician_id": identifiers("T", first + row, 3),
            "held_on": dates(scenario.starts_on, held),
            "topic": coded(TOPICS, topic),
            "coach_id": identifiers("COACH", plan.number * 2 + 1 + row % 2, 2),
            "remark": coded(_COACH_REMARKS, np.where(rng.random(len(row)) < 0.7, row % len(_COACH_REMARKS), -1)),
        },
    )
    return table.filter(pa.array(held < scenario.n_days))


def weather_days(rng: np.random.Generator, scenario: Scenario, weather: Weather) -> pa.Table:
    """Daily weather of every station within the export; a few days are missing."""
    n_days = scenario.n_days
    n = len(STATIONS) * n_days
    days = np.tile(np.arange(n_days), len(STATIONS))

    def flat(values: np.ndarray) -> np.ndarray:
        return values[:, :n_days].ravel()

    table = table_of(
        "weather_days",
        {
            "weather_station_id": coded(STATIONS, np.repeat(np.arange(len(STATIONS)), n_days)),
            "day_on": dates(scenario.starts_on, days),
            "min_temperature_c": numbers(flat(weather.minimum_c), 1),
            "max_temperature_c": numbers(flat(weather.maximum_c), 1),
            "precipitation_mm": numbers(flat(weather.precipitation_mm), 1),
            "snowfall_mm": numbers(flat(weather.snowfall_mm), 0),
            "max_gust_m_s": numbers(flat(weather.gust_m_s), 1),
        },
    )
    return table.filter(pa.array(rng.random(n) > 0.002 * scenario.dirt))
