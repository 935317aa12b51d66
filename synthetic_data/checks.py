"""Checks ticked on visits, the gauges, and who came along, as delivered."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pyarrow as pa

from pipelines.contract import codes
from synthetic_data import causes
from synthetic_data.bench import BENCH_ACCURACY_PERCENT, BENCH_SCALE_INCH, BENCH_STEP_INCH
from synthetic_data.columns import coded, dates, flags, identifiers, numbers, table_of
from synthetic_data.evidence import FIELD_ACCURACY_PERCENT_FULL_SCALE, GAUGE_UNITS
from synthetic_data.readings import UNIT_AT, UNIT_WORDS
from synthetic_data.routine import KIND
from synthetic_data.scenario import BlockPlan, Scenario
from synthetic_data.technicians import Technicians

CHECKS = codes.CHECK_CODE.values()
CHECK = {name: number for number, name in enumerate(CHECKS)}
OUTCOMES = codes.OUTCOME.values()
SOUND, FAULT, NOT_DONE = (OUTCOMES.index(word) for word in ("sound", "fault", "not_done"))


def gauges(rng: np.random.Generator, scenario: Scenario, technicians: Technicians, plan: BlockPlan) -> pa.Table:
    """One gauge per technician, and the bench's own."""
    n = technicians.n
    unit = technicians.gauge_unit
    known = np.r_[rng.random(n) > 0.05, True]
    spelled = np.r_[np.where(unit == 0, 5, np.where(unit == 1, UNIT_AT["Pa"], UNIT_AT["mbar"])), 5]
    names = pa.concat_arrays(
        [
            identifiers("G", plan.first_technician + 1 + np.arange(n), 4),
            identifiers("GB", np.array([plan.number + 1]), 2),
        ]
    )
    calibrated = np.r_[rng.integers(scenario.n_days - 700, scenario.n_days - 20, n), scenario.n_days - 60]
    scale = np.r_[np.array([unit[3] for unit in GAUGE_UNITS])[unit], BENCH_SCALE_INCH]
    step = np.r_[np.array([unit[2] for unit in GAUGE_UNITS])[unit], BENCH_STEP_INCH]
    accuracy = np.r_[np.full(n, FIELD_ACCURACY_PERCENT_FULL_SCALE), BENCH_ACCURACY_PERCENT]
    table = table_of(
        "gauges",
        {
            "gauge_id": names,
            "full_scale": numbers(scale, 3),
            "resolution": numbers(step, 3),
            "unit": coded(UNIT_WORDS, spelled),
            "accuracy_percent_full_scale": numbers(accuracy, 2),
            "calibrated_on": dates(scenario.starts_on, calibrated, np.r_[rng.random(n) > 0.1, True]),
        },
    )
    return table.filter(pa.array(known))


def checks(
    rng: np.random.Generator,
    jobs: pd.DataFrame,
    visits: pd.DataFrame,
    technicians: Technicians,
    plan: BlockPlan,
) -> pa.Table:
    """Checks ticked on visits. Only a described finding has a check marked fault on a draft-fault visit."""
    part, source = visits["part"].to_numpy(), visits["source"].to_numpy()
    firsts = np.flatnonzero(part == 1)
    job = source[firsts]
    n, n_checks = len(firsts), len(CHECKS)
    technician = visits["technician"].to_numpy()[firsts]
    diligence = technicians.skill[technician].mean(axis=1) * 0.55
    ticked = rng.random((n, n_checks)) < diligence[:, None]
    has_before = jobs["has_before"].to_numpy()[job]
    ticked[:, CHECK["draft_at_switch"]] = has_before & (rng.random(n) < 0.9)
    outcome = np.full((n, n_checks), SOUND)
    outcome[rng.random((n, n_checks)) < 0.06] = NOT_DONE
    recorded = jobs["recorded"].to_numpy()[job]
    described = jobs["is_described"].to_numpy()[job]
    check = np.array([CHECK.get(name, -1) for name in causes.CHECK])[np.maximum(recorded, 0)]
    # One in five describes the finding in the notes only.
    marks = np.flatnonzero(described & (recorded >= 0) & (check >= 0) & (rng.random(n) < 0.8))
    ticked[marks, check[marks]] = True
    outcome[marks, check[marks]] = FAULT
    row, column = np.nonzero(ticked)
    visit, code, result = firsts[row], column, outcome[row, column]
    planned = np.flatnonzero((part == 0) & (visits["kind"].to_numpy() == KIND["maintenance"]))
    planned = planned[rng.random(len(planned)) < 0.45]
    usual = np.array([CHECK[name] for name in ("trap_and_drain", "combustion", "hose")])
    visit = np.r_[visit, np.repeat(planned, len(usual))]
    code = np.r_[code, np.tile(usual, len(planned))]
    routine = np.where(rng.random(len(planned) * len(usual)) < 0.95, SOUND, FAULT)
    result = np.r_[result, routine]
    order = np.lexsort((code, visit))
    return table_of(
        "checks",
        {
            "visit_id": identifiers("V", (plan.number + 1) * 1_000_000 + visit[order], 7),
            "check_code": coded(CHECKS, code[order]),
            "outcome": coded(OUTCOMES, result[order]),
        },
    )


def visit_crew(rng: np.random.Generator, visits: pd.DataFrame, technicians: Technicians, plan: BlockPlan) -> pa.Table:
    """Lead and second hand of the visits made by two."""
    rows = np.flatnonzero(rng.random(len(visits)) < 0.05)
    lead = visits["technician"].to_numpy()[rows]
    day = visits["day"].to_numpy()[rows]
    second = technicians.send(rng, technicians.branch[lead], day, np.zeros(len(rows), bool))
    rows, lead, second = rows[second != lead], lead[second != lead], second[second != lead]
    first = plan.first_technician + 1
    return table_of(
        "visit_crew",
        {
            "visit_id": identifiers("V", (plan.number + 1) * 1_000_000 + np.repeat(rows, 2), 7),
            "technician_id": identifiers("T", first + np.stack([lead, second], axis=1).ravel(), 3),
            "is_lead": flags(np.tile([True, False], len(rows))),
        },
    )
