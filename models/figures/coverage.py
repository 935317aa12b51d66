"""What the figures rest on, and what is missing."""

from __future__ import annotations

from typing import Any

import duckdb

from models.figures.scope import Scope
from models.methods.estimate import Estimate, unknown
from models.methods.numeral import numeral

WHOLE_STORE = ("n_held_back", "n_appliances", "n_part_lines", "n_part_lines_classed")


def coverage(con: duckdb.DuckDBPyConnection, scope: Scope, whole: dict[str, Any] | None = None) -> dict[str, Any]:
    """Counts over the scope.

    whole: coverage of the whole store, where it has been worked out already; WHOLE_STORE is taken from it.

    Keys: n_visits, n_draft_faults, n_swaps, n_tested (swaps with a bench test of any result), n_clear (of them good or
    faulty), n_with_tag, n_with_reading, n_with_cause, n_swaps_unproven (swaps that do not say on which appliance),
    n_swaps_never_complete (swaps whose job was never declared complete: no callback is counted after them),
    n_appliance_unproven (of draft faults), n_technicians, n_sites, n_seasons (heating seasons with visits), first_on,
    last_on (ISO dates or None), n_corrections (in force, on visits of the scope), and over the whole store n_held_back
    (rows neither mended, dismissed nor replaced by a later version), n_appliances, n_part_lines, n_part_lines_classed
    (those whose kind of part is known).
    """
    out: dict[str, Any] = {}
    out |= _row(
        con,
        scope,
        "arrived_on",
        "visit",
        """
        count(*) AS n_visits, count(DISTINCT technician_id) AS n_technicians, count(DISTINCT site_id) AS n_sites,
        count(DISTINCT season) AS n_seasons, CAST(min(arrived_on) AS VARCHAR) AS first_on, CAST(max(arrived_on) AS
        VARCHAR) AS last_on""",
    )
    out |= _row(
        con,
        scope,
        "arrived_on",
        "draft_fault",
        """
        count(*) AS n_draft_faults, count(*) FILTER (appliance_key IS NULL) AS n_appliance_unproven""",
    )
    out |= _row(
        con,
        scope,
        "swapped_on",
        "swap_case",
        """
        count(*) AS n_swaps, count(verdict) AS n_tested, count(*) FILTER (verdict IN ('good', 'faulty')) AS n_clear,
        count(*) FILTER (appliance_key IS NULL) AS n_swaps_unproven, count(removed_tag) AS n_with_tag,
        count(*) FILTER (has_gauge_reading) AS n_with_reading, count(*) FILTER (has_root_cause) AS n_with_cause""",
    )
    # As the callbacks have it: without a day on which the job was complete nothing says from when to watch.
    out |= _row(
        con,
        scope,
        "swapped_on",
        "swap_case SEMI JOIN (FROM draft_fault WHERE NOT is_closed) AS open_fault USING (draft_fault_id)",
        "count(*) AS n_swaps_never_complete",
    )
    out |= _row(con, scope, "arrived_on", "visit JOIN correction USING (visit_id)", "count(*) AS n_corrections")
    if whole is not None:
        return out | {name: whole[name] for name in WHOLE_STORE}
    counted = con.execute("""
        SELECT (SELECT count(DISTINCT (load_id, coalesce(row_no, -line_no))) FROM held_back_open) AS n_held_back,
            (SELECT count(*) FROM appliance) AS n_appliances, n_part_lines, n_part_lines_classed
        FROM (SELECT count(*) AS n_part_lines, count(part_class) AS n_part_lines_classed FROM part_line)""")
    out |= dict(zip([column[0] for column in counted.description or ()], counted.fetchone() or (), strict=True))
    return out


def is_mostly_unproven(facts: dict[str, Any]) -> bool:
    """Whether more than half of the swaps do not say on which appliance, so that callbacks cannot be counted.

    facts: as `coverage` gives.
    """
    return 2 * int(facts["n_swaps_unproven"]) > int(facts["n_swaps"])


def came_back(certain: Estimate, facts: dict[str, Any]) -> Estimate:
    """A callback figure as it may be shown: unknown, with the reason, where most swaps' appliances are not proven.

    certain: counted from certain callbacks alone, which are none where no appliance is proven.
    """
    if not certain.is_known or not is_mostly_unproven(facts):
        return certain
    words = (
        f"{numeral(facts['n_swaps_unproven'])} of {numeral(facts['n_swaps'])} swaps do not say on which appliance, so nobody can tell "
        "whether the same one came back. Fill appliance_id."
    )
    return unknown(words, certain.n, certain.coverage, certain.method)


def _row(con: duckdb.DuckDBPyConnection, scope: Scope, date_column: str, relation: str, counts: str) -> dict[str, Any]:
    condition, values = scope.where(date_column)
    cursor = con.execute(f"SELECT {counts} FROM {relation} WHERE {condition}", values)
    return dict(zip([column[0] for column in cursor.description or ()], cursor.fetchone() or (), strict=True))
