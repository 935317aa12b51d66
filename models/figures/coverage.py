"""What the figures rest on, and what is missing."""

from __future__ import annotations

from typing import Any

import duckdb

from models.figures.scope import Scope


def coverage(con: duckdb.DuckDBPyConnection, scope: Scope) -> dict[str, Any]:
    """Counts over the scope.

    Keys: n_visits, n_draft_faults, n_swaps, n_tested, n_with_tag, n_with_reading, n_with_cause, n_appliance_unproven,
    n_technicians, n_sites, n_appliances (whole store), n_held_back, n_corrections (whole store), first_on, last_on (ISO dates or None),
    n_seasons (heating seasons with visits).
    """
    raise NotImplementedError
