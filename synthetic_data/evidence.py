"""Draft readings on draft-fault jobs, and what they say on paper: field evidence and the tier of the recorded cause.

The rules are those of the figures' definitions, computed here independently from what the simulation wrote down.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipelines.contract.units import INCH_OF_WATER_PA
from synthetic_data import causes
from synthetic_data.physics import draft_pa, faulty_draft_pa, gauge_reading_pa, true_make_pa
from synthetic_data.places import RATED_MAKE_PA, Places
from synthetic_data.scenario import Scenario
from synthetic_data.technicians import Technicians
from synthetic_data.weather import Weather

EVIDENCE = ("no_reading", "condemnation_not_supported", "switch_shown_faulty", "unclear")
TIER = ("none", "code_only", "described", "measured")
NONE, CODE_ONLY, DESCRIBED, MEASURED = range(4)

# Gauges of the field, by the unit their owner reads: UCUM code, pascal per unit, smallest step, full scale in units.
GAUGE_UNITS = (("[in_i'H2O]", INCH_OF_WATER_PA, 0.01, 5.0), ("Pa", 1.0, 1.0, 1250.0), ("mbar", 100.0, 0.01, 12.5))
FIELD_ACCURACY_PERCENT_FULL_SCALE = 0.5
_UNIT_PA = np.array([unit[1] for unit in GAUGE_UNITS])
_STEP = np.array([unit[2] for unit in GAUGE_UNITS])
_FULL_SCALE = np.array([unit[3] for unit in GAUGE_UNITS])
GUARD_FACTOR = 1.645

# State of the reading before the repair.
RUNNING, AT_REST = 0, 1
# What became of a reading on its way to paper.
AS_READ, WITHOUT_UNIT, WRONG_UNIT = 0, 1, 2
WRONG_UNIT_PA = 1.0


def add_readings(
    rng: np.random.Generator,
    scenario: Scenario,
    jobs: pd.DataFrame,
    places: Places,
    technicians: Technicians,
    weather: Weather,
) -> None:
    """Add what the gauge showed to `jobs`, in place.

    New columns: rated_pa, make_pa (true make of the appliance's switch), before_pa and after_pa (as read, NaN where not
    read), before_state, before_closed, after_closed, before_fate (AS_READ, WITHOUT_UNIT, WRONG_UNIT), outdoor_c.
    """
    n = len(jobs)
    appliance, cause = jobs["appliance"].to_numpy(), jobs["cause"].to_numpy()
    technician, day = jobs["technician"].to_numpy(), jobs["day"].to_numpy()
    region = places.region[appliance]
    today = np.minimum(day, weather.mean_c.shape[1] - 1)
    outdoor, gust = weather.mean_c[region, today], weather.gust_m_s[region, today] * 0.6
    nominal, exposure = places.nominal_draft_pa[appliance], places.wind_exposure[appliance]
    rated = RATED_MAKE_PA[places.switch_model[appliance]]
    drifted = (cause == causes.NUMBER["setpoint_drift"]) | jobs["is_latent"].to_numpy()
    make = true_make_pa(rng, rated, drifted)
    is_away = jobs["is_away"].to_numpy()
    before = faulty_draft_pa(rng, cause, nominal, make, outdoor, gust, exposure, is_away)
    is_drift = cause == causes.NUMBER["setpoint_drift"]
    make = np.where(is_drift, np.maximum(make, before * 1.06), make)
    keeps_open = np.isin(cause, [causes.NUMBER["diaphragm_leak"], causes.NUMBER["contact_stuck_or_resistive"]])
    keeps_open |= cause == causes.NUMBER["water_in_switch"]
    closed = (before >= make) & ~keeps_open
    at_rest = jobs["symptom"].to_numpy() == 2
    closed = np.where(at_rest, True, closed)
    before = np.where(at_rest, 0.0, before)
    step_pa = (_STEP * _UNIT_PA)[technicians.gauge_unit[technician]]
    bias = technicians.gauge_bias[technician]
    seen = np.round(gauge_reading_pa(rng, before, bias) / step_pa) * step_pa
    after = draft_pa(nominal, outdoor_c=outdoor, gust_m_s=gust, wind_exposure=exposure)
    after_seen = np.round(gauge_reading_pa(rng, after, bias) / step_pa) * step_pa
    chance = rng.random(n)
    fate = np.where(chance < 0.015 * scenario.dirt, WITHOUT_UNIT, AS_READ)
    # Inches written in a sheet that says pascal.
    is_wrong = (chance > 1 - 0.004 * scenario.dirt) & (technicians.gauge_unit[technician] == 0)
    fate = np.where(is_wrong, WRONG_UNIT, fate)
    jobs["rated_pa"], jobs["make_pa"], jobs["outdoor_c"] = rated, make, outdoor
    jobs["before_pa"] = np.where(jobs["has_before"], seen, np.nan)
    jobs["after_pa"] = np.where(jobs["has_after"], after_seen, np.nan)
    jobs["before_state"] = np.where(at_rest, AT_REST, RUNNING)
    jobs["before_closed"], jobs["after_closed"] = closed, True
    jobs["before_fate"] = fate


def paper_pa(jobs: pd.DataFrame, technicians: Technicians) -> np.ndarray:
    """The reading before the repair as paper gives it, pascal; NaN where there is none or no unit."""
    before, fate = jobs["before_pa"].to_numpy(), jobs["before_fate"].to_numpy()
    per_unit = _UNIT_PA[technicians.gauge_unit[jobs["technician"].to_numpy()]]
    value = np.where(fate == WITHOUT_UNIT, np.nan, before)
    return np.where(fate == WRONG_UNIT, before / per_unit * WRONG_UNIT_PA, value)


def add_paper_facts(jobs: pd.DataFrame, technicians: Technicians) -> None:
    """Add `evidence` and `tier` (numbers into EVIDENCE and TIER) as they can be read from the visit, in place."""
    seen = paper_pa(jobs, technicians)
    rated, closed = jobs["rated_pa"].to_numpy(), jobs["before_closed"].to_numpy()
    unit = technicians.gauge_unit[jobs["technician"].to_numpy()]
    limit = FIELD_ACCURACY_PERCENT_FULL_SCALE / 100 * (_FULL_SCALE * _UNIT_PA)[unit]
    guard = GUARD_FACTOR * np.hypot(limit / np.sqrt(3), (_STEP * _UNIT_PA)[unit] / np.sqrt(12))
    at_rest = jobs["before_state"].to_numpy() == AT_REST
    not_supported = ~at_rest & (((seen < rated) & ~closed) | ((seen >= rated) & closed))
    shown = (~at_rest & (seen > rated + guard) & ~closed) | (at_rest & closed & np.isfinite(seen))
    evidence = np.where(not_supported, 1, np.where(shown, 2, 3))
    after, recorded = jobs["after_pa"].to_numpy(), jobs["recorded"].to_numpy()
    # A reading after the repair alone says nothing about the old switch, but somebody did read.
    jobs["evidence"] = np.where(np.isfinite(seen), evidence, np.where(np.isfinite(after), 3, 0))
    is_coded = (recorded >= 0) & ~causes.IS_NONE_FOUND[recorded]
    is_switch = is_coded & causes.IS_SWITCH[recorded]
    # Draft faults: short before, made after. Electrical ones: the draft was there all along, and the switch had made.
    is_electrical = np.array([group == "electrical" for group in causes.GROUPS])[recorded]
    agrees = ~at_rest & np.where(is_electrical, (seen >= rated) & closed, (seen < rated) & ~closed) & (after >= rated)
    measured = np.where(is_switch, jobs["evidence"].to_numpy() == 2, agrees) & is_coded
    described = is_coded & jobs["is_described"].to_numpy()
    jobs["tier"] = np.where(measured, MEASURED, np.where(described, DESCRIBED, np.where(is_coded, CODE_ONLY, NONE)))
