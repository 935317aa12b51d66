"""The visits table as delivered, before copying errors."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pyarrow as pa

from synthetic_data import causes
from synthetic_data.columns import MINUTES_PER_DAY, coded, flags, identifiers, table_of, timestamps
from synthetic_data.places import Places
from synthetic_data.routine import KINDS, SYMPTOMS
from synthetic_data.scenario import BlockPlan, Scenario


def visits_table(
    rng: np.random.Generator,
    scenario: Scenario,
    visits: pd.DataFrame,
    places: Places,
    notes: pa.Array,
    plan: BlockPlan,
) -> pa.Table:
    """One row per visit in order of arrival. notes: text, shape (n_visits,)."""
    n = len(visits)
    first = (plan.number + 1) * 1_000_000
    appliance = visits["appliance"].to_numpy()
    minute = visits["minute"].to_numpy()
    last_minute = scenario.n_days * MINUTES_PER_DAY - 1
    left = np.minimum(minute + visits["n_minutes"].to_numpy(), last_minute)
    waits, complete = visits["waits"].to_numpy(bool), visits["is_complete"].to_numpy(bool)
    follows = visits["follows"].to_numpy()
    # Whether it is finished may be left blank, but not where a part is awaited.
    says_complete = waits | ~complete | (rng.random(n) > 0.02 * scenario.dirt)
    return table_of(
        "visits",
        {
            "visit_id": identifiers("V", first + np.arange(n), 7),
            "job_id": identifiers("J", first + visits["job"].to_numpy(), 7, visits["is_job_recorded"].to_numpy(bool)),
            "site_id": identifiers("S", (plan.number + 1) * 100_000 + places.appliance_site[appliance], 6),
            "appliance_id": identifiers(
                "A", (plan.number + 1) * 100_000 + appliance, 6, visits["is_appliance_recorded"].to_numpy(bool)
            ),
            "technician_id": identifiers("T", plan.first_technician + 1 + visits["technician"].to_numpy(), 3),
            "arrived_at": timestamps(scenario.starts_on, minute, scenario.times),
            "left_at": timestamps(scenario.starts_on, left, scenario.times, rng.random(n) > 0.03 * scenario.dirt),
            "visit_kind": coded(KINDS, visits["kind"].to_numpy()),
            "symptom": coded(SYMPTOMS, visits["symptom"].to_numpy()),
            "cause_code": coded(causes.CODES, visits["recorded"].to_numpy()),
            "contributing_cause_code": coded(causes.CODES, visits["contributing"].to_numpy()),
            "is_declared_complete": flags(complete, says_complete),
            "waits_for_part": flags(waits, waits | (rng.random(n) < 0.7)),
            "is_after_hours": flags(visits["is_after_hours"].to_numpy(bool), rng.random(n) > 0.02 * scenario.dirt),
            "follows_visit_id": identifiers(
                "V", first + np.maximum(follows, 0), 7, visits["is_follow_recorded"].to_numpy(bool)
            ),
            "notes": notes,
        },
    )
