"""Readings on visits, as delivered: draft before and after the repair, probes, combustion, spellings of all kinds."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from pipelines.contract import codes
from synthetic_data import causes
from synthetic_data.columns import coded, identifiers, table_of, whole
from synthetic_data.evidence import (
    AS_READ,
    AT_REST,
    GAUGE_UNITS,
    WITHOUT_UNIT,
)
from synthetic_data.physics import draft_pa
from synthetic_data.places import Places
from synthetic_data.routine import KIND
from synthetic_data.scenario import BlockPlan, Scenario
from synthetic_data.technicians import Technicians
from synthetic_data.weather import Weather

QUANTITIES = codes.QUANTITY.values()
QUANTITY = {name: number for number, name in enumerate(QUANTITIES)}
CONDITIONS = codes.CONDITION.values()
CONDITION = {name: number for number, name in enumerate(CONDITIONS)}
TAKEN = codes.TAKEN.values()
CONTACTS = codes.CONTACTS.values()

_INCH_SPELLINGS = ("in. w.c.", "inH2O", '"WC', "iwc", "in wc", "[in_i'H2O]", "in wg")
UNIT_WORDS = (*_INCH_SPELLINGS, "Pa", "mbar", "V", "ppm", "Cel", "degF")
UNIT_AT = {"Pa": 7, "mbar": 8, "V": 9, "ppm": 10, "Cel": 11, "degF": 12}
_UNIT_PA = np.array([unit[1] for unit in GAUGE_UNITS])
# Quantities read beside the draft: centre, spread, decimals, unit.
_BESIDE = {
    "contact_voltage": (0.4, 0.3, 1, "V"),
    "draft_fan_voltage": (119.0, 2.0, 0, "V"),
    "co_air_free": (28.0, 14.0, 0, "ppm"),
    "flue_temperature": (58.0, 9.0, 0, "Cel"),
    "manifold_pressure": (870.0, 20.0, 0, "Pa"),
    "other": (21.0, 2.0, 0, "Cel"),
}


def readings(
    rng: np.random.Generator,
    scenario: Scenario,
    jobs: pd.DataFrame,
    visits: pd.DataFrame,
    places: Places,
    technicians: Technicians,
    weather: Weather,
    plan: BlockPlan,
) -> pa.Table:
    """Every reading of a block. Draft before the repair stands on the first visit, after it on the last."""
    part, source = visits["part"].to_numpy(), visits["source"].to_numpy()
    waits = visits["waits"].to_numpy(bool)
    batches: list[dict[str, np.ndarray]] = []

    def add(visit: np.ndarray, quantity: str, **given: np.ndarray | float | int) -> None:
        full = {"condition": -1, "closed": -1, "taken": -1, "unit": -1, "fate": AS_READ, "order": 1} | given
        batch = {name: np.broadcast_to(np.asarray(value), len(visit)) for name, value in full.items()}
        batches.append({"visit": visit, "quantity": np.full(len(visit), QUANTITY[quantity]), **batch})

    firsts = np.flatnonzero(part == 1)
    before = jobs["before_pa"].to_numpy()[source[firsts]]
    rows, value = firsts[np.isfinite(before)], before[np.isfinite(before)]
    of_job = source[rows]
    at_rest = jobs["before_state"].to_numpy()[of_job] == AT_REST
    running = rng.choice(
        [CONDITION["start"], CONDITION["cold_running"], CONDITION["hot_running"]], len(rows), p=[0.5, 0.2, 0.3]
    )
    closed = jobs["before_closed"].to_numpy()[of_job].astype(int)
    add(
        rows,
        "draft_at_switch",
        value=value,
        condition=np.where(at_rest, CONDITION["at_rest"], running),
        closed=closed,
        taken=0,
        fate=jobs["before_fate"].to_numpy()[of_job],
    )
    _probes(rng, add, jobs, rows, of_job, value)
    lasts = np.flatnonzero((part == 2) | ((part == 1) & ~waits))
    after = jobs["after_pa"].to_numpy()[source[lasts]]
    rows, value = lasts[np.isfinite(after)], after[np.isfinite(after)]
    add(rows, "draft_at_switch", value=value, condition=CONDITION["hot_running"], closed=1, taken=1, order=5)
    _combustion(rng, add, lasts[rng.random(len(lasts)) < 0.2])
    _maintenance(rng, add, visits, places, weather)
    frame = pd.DataFrame({name: np.concatenate([batch[name] for batch in batches]) for name in batches[0] | {}})
    return _as_table(rng, scenario, frame, visits, technicians, plan)


def _probes(rng, add, jobs: pd.DataFrame, rows: np.ndarray, of_job: np.ndarray, value: np.ndarray) -> None:
    """Further readings of careful technicians: at the port, with a pipe off, voltages."""
    chance = rng.random(len(rows))
    cause = jobs["cause"].to_numpy()[of_job]
    path = np.array(causes.PATH)[cause]
    running = value > 0
    nominal = np.maximum(value, 1.0)
    port = running & (chance < 0.22)
    better = np.where(path == "hose", 1.6, 1.02)
    add(
        rows[port],
        "draft_at_port",
        value=(nominal * better)[port],
        condition=CONDITION["hot_running"],
        taken=0,
        order=2,
    )
    intake = running & (chance > 0.93)
    gain = np.where(path == "intake", 1.7, 1.03)
    add(
        rows[intake],
        "draft_at_port",
        value=(nominal * gain)[intake],
        condition=CONDITION["intake_open"],
        taken=0,
        order=2,
    )
    vent = running & (chance > 0.88) & (chance <= 0.93)
    gain = np.where(path == "vent", 1.7, 1.03)
    add(rows[vent], "draft_at_port", value=(nominal * gain)[vent], condition=CONDITION["vent_open"], taken=0, order=2)
    blower = running & (chance > 0.85) & (chance <= 0.88)
    add(
        rows[blower],
        "draft_at_port",
        value=(nominal * 0.98)[blower],
        condition=CONDITION["circulator_on"],
        taken=0,
        order=2,
    )
    for quantity, low, high in (("contact_voltage", 0.22, 0.42), ("draft_fan_voltage", 0.42, 0.52)):
        chosen = (chance >= low) & (chance < high)
        centre, spread, digits, unit = _BESIDE[quantity]
        read = np.abs(np.round(rng.normal(centre, spread, len(rows)), digits))
        weak = quantity == "draft_fan_voltage"
        read = np.where(weak & (cause == causes.NUMBER["fan_supply"]), np.round(read * 0.82), read)
        open_contacts = jobs["before_closed"].to_numpy()[of_job] == 0
        read = np.where((not weak) & open_contacts, np.round(rng.normal(26.5, 0.8, len(rows)), 1), read)
        add(rows[chosen], quantity, value=read[chosen], unit=UNIT_AT[unit], taken=0, order=3)


def _combustion(rng, add, rows: np.ndarray) -> None:
    for quantity in ("co_air_free", "flue_temperature"):
        centre, spread, digits, unit = _BESIDE[quantity]
        value = np.abs(np.round(rng.normal(centre, spread, len(rows)), digits))
        add(rows, quantity, value=value, unit=UNIT_AT[unit], condition=CONDITION["hot_running"], taken=1, order=6)


def _maintenance(rng, add, visits: pd.DataFrame, places: Places, weather: Weather) -> None:
    """Maintenance readings: draft on a running, sound appliance, and combustion."""
    rows = np.flatnonzero((visits["part"].to_numpy() == 0) & (visits["kind"].to_numpy() == KIND["maintenance"]))
    rows = rows[rng.random(len(rows)) < 0.35]
    appliance = visits["appliance"].to_numpy()[rows]
    region, day = places.region[appliance], visits["day"].to_numpy()[rows]
    value = draft_pa(
        places.nominal_draft_pa[appliance],
        outdoor_c=weather.mean_c[region, day],
        gust_m_s=weather.gust_m_s[region, day] * 0.6,
        wind_exposure=places.wind_exposure[appliance],
    ) * (1 + 0.012 * rng.standard_normal(len(rows)))
    add(rows, "draft_at_switch", value=value, condition=CONDITION["hot_running"], closed=1, taken=1)
    _combustion(rng, add, rows[rng.random(len(rows)) < 0.6])
    for quantity in ("manifold_pressure", "other"):
        some = rows[rng.random(len(rows)) < 0.12]
        centre, spread, digits, unit = _BESIDE[quantity]
        add(some, quantity, value=np.round(rng.normal(centre, spread, len(some)), digits), unit=UNIT_AT[unit], order=7)


def _as_table(
    rng: np.random.Generator,
    scenario: Scenario,
    frame: pd.DataFrame,
    visits: pd.DataFrame,
    technicians: Technicians,
    plan: BlockPlan,
) -> pa.Table:
    order = np.lexsort((frame["order"].to_numpy(), frame["visit"].to_numpy()))
    frame = frame.iloc[order].reset_index(drop=True)
    n = len(frame)
    visit = frame["visit"].to_numpy()
    starts = np.flatnonzero(np.r_[True, visit[1:] != visit[:-1]])
    reading_no = np.arange(n) - np.repeat(starts, np.diff(np.r_[starts, n])) + 1
    technician = visits["technician"].to_numpy()[visit]
    own_unit = technicians.gauge_unit[technician]
    is_draft = frame["unit"].to_numpy() < 0
    per_unit = np.where(is_draft, _UNIT_PA[own_unit], 1.0)
    value = frame["value"].to_numpy() / per_unit
    value = np.where(is_draft & (own_unit == 1), np.round(value), np.round(value, 2))
    fate = frame["fate"].to_numpy()
    spelling = technician % len(_INCH_SPELLINGS)
    unit = np.where(own_unit == 0, spelling, np.where(own_unit == 1, UNIT_AT["Pa"], UNIT_AT["mbar"]))
    unit = np.where(is_draft, unit, frame["unit"].to_numpy())
    unit = np.where(fate == WITHOUT_UNIT, -1, np.where(fate > WITHOUT_UNIT, UNIT_AT["Pa"], unit))
    text, unit = _as_text(rng, scenario, value, unit, is_draft & (fate == AS_READ), technician, technicians)
    quantity = frame["quantity"].to_numpy()
    closed = frame["closed"].to_numpy()
    gauge_known = np.isin(quantity, [QUANTITY["draft_at_switch"], QUANTITY["draft_at_port"]]) & (rng.random(n) > 0.06)
    first_gauge = plan.first_technician + 1
    return table_of(
        "readings",
        {
            "visit_id": identifiers("V", (plan.number + 1) * 1_000_000 + visit, 7),
            "reading_no": whole(reading_no),
            "quantity": coded(QUANTITIES, quantity),
            "value": text,
            "unit": coded(UNIT_WORDS, unit),
            "condition": coded(CONDITIONS, frame["condition"].to_numpy()),
            "contacts": coded(CONTACTS, closed),
            "taken": coded(TAKEN, frame["taken"].to_numpy()),
            "gauge_id": identifiers("G", first_gauge + technician, 4, gauge_known),
        },
    )


def _as_text(
    rng: np.random.Generator,
    scenario: Scenario,
    value: np.ndarray,
    unit: np.ndarray,
    is_free: np.ndarray,
    technician: np.ndarray,
    technicians: Technicians,
) -> tuple[pa.Array, np.ndarray]:
    """The reading as its writer writes it: suction with a minus, no leading zero, a comma, the unit in the cell."""
    n = len(value)
    negative = is_free & technicians.writes_suction_negative[technician] & (value != 0)
    text = pa.array(np.where(negative, -value, value)).cast(pa.string())
    text = pc.replace_substring_regex(text, r"\.0$", "")
    hand = technicians.hand[technician]
    bare = pa.array(is_free & (hand % 3 == 1))
    text = pc.if_else(bare, pc.replace_substring_regex(text, r"^(-?)0\.", r"\1."), text)
    chance = rng.random(n)
    comma = pa.array(is_free & (chance < 0.012 * scenario.dirt))
    text = pc.if_else(comma, pc.replace_substring(text, ".", ","), text)
    dash = pa.array(negative & (chance > 1 - 0.02 * scenario.dirt))
    text = pc.if_else(dash, pc.replace_substring(text, "-", "\u2212"), text)
    in_cell = (
        is_free & (unit < len(_INCH_SPELLINGS)) & (unit >= 0) & (chance > 0.4) & (chance < 0.4 + 0.02 * scenario.dirt)
    )
    text = pc.if_else(pa.array(in_cell), pc.binary_join_element_wise(text, pa.scalar('"'), ""), text)
    return text, np.where(in_cell, -1, unit)
