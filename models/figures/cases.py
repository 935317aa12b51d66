"""The visits behind a figure."""

from __future__ import annotations

from typing import Any

import duckdb
import pandas as pd

from models.figures.scope import Scope

CASE_COLUMNS = (
    "visit_id", "visit_on", "site_id", "appliance_key", "technician_id", "branch", "symptom", "cause_code", "tier",
    "evidence", "margin_pa", "verdict", "part_number", "callback_days", "notes",
)  # fmt: skip
WHAT = (
    "draft_faults", "swaps", "without_cause", "with_cause", "bench_good", "bench_faulty", "bench_inconclusive", "untested",
    "callbacks", "uncertain_callbacks", "condensate", "blockage", "safety",
)  # fmt: skip
KEYS = (
    "branch",
    "region",
    "technician_id",
    "site_id",
    "part_number",
    "week_on",
    "month",
    "season",
    "visit_id",
    "appliance_key",
)


def visits_behind(
    con: duckdb.DuckDBPyConnection, scope: Scope, what: str, limit: int | None = 500, **key: Any
) -> pd.DataFrame:
    """The visits a figure counts, newest first.

    what: one of WHAT. key: narrows to a group, names in KEYS (value None = not recorded).
    limit: most rows (None = all). Returns DataFrame[CASE_COLUMNS]; notes cut to 200 characters.
    Raises ValueError naming an unknown `what` or key and what is allowed.
    """
    raise NotImplementedError
