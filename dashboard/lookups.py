"""Small questions the pages ask of the facts: a handful of rows each, the newest first."""

from __future__ import annotations

from typing import Any

import pandas as pd

from dashboard import roles, store_access
from models.figures.scope import SCOPE_COLUMNS, Scope
from pipelines.contract.codes import CAUSES

ESCALATED = tuple(cause.code for cause in CAUSES if cause.must_escalate)
ROWS = 25
# Safety items are never cut short silently: so many are on one page, and more than a company can have open.
SAFETY_ROWS = 1000
SAFETY_RULE = "no later visit to that appliance records a sound combustion test or another cause"

# Everything "of this week" is counted back from the last day with a visit, not from today's clock.
_LAST_DAY = "(SELECT max(arrived_on) FROM visit)"


def latest_week(scope: Scope) -> dict[str, Any]:
    """The newest week with a draft fault: week_on, n_draft_faults, n_swaps, n_without_cause; empty without one."""
    where, bound = scope.where("arrived_on")
    return store_access.row(
        f"""
        WITH newest AS (SELECT draft_fault_id, week_on FROM draft_fault WHERE {where}
                        QUALIFY week_on = max(week_on) OVER ())
        SELECT any_value(n.week_on) AS week_on, count(DISTINCT n.draft_fault_id) AS n_draft_faults,
               count(s.swap_id) AS n_swaps, count(s.swap_id) FILTER (NOT s.has_root_cause) AS n_without_cause
        FROM newest AS n LEFT JOIN swap_case AS s USING (draft_fault_id) HAVING count(*) > 0
        """,
        bound,
    )


def safety_items(scope: Scope) -> pd.DataFrame:
    """Visits with a cause that must be escalated, until the records show that it was looked into (SAFETY_RULE).

    However old. A later visit counts only where it is known to be to the same appliance, or where neither says which;
    maintenance alone closes nothing. An appliance taken out closes its items; one recorded again is listed once.
    """
    # Few, and the search for what closed them reads every visit: found once for everybody, then narrowed.
    items = _open_safety_items()
    within = pd.Series(True, index=items.index)
    if scope.start_on is not None:
        within &= items["visit_on"] >= pd.Timestamp(scope.start_on)
    if scope.end_on is not None:
        within &= items["visit_on"] <= pd.Timestamp(scope.end_on)
    for column in SCOPE_COLUMNS:
        if getattr(scope, column) is not None:
            within &= (items[column] == getattr(scope, column)).fillna(False).astype(bool)
    return items.loc[within].head(SAFETY_ROWS).drop(columns=[*SCOPE_COLUMNS]).reset_index(drop=True)


def _open_safety_items() -> pd.DataFrame:
    marks = ", ".join(f"'{code}'" for code in ESCALATED)
    return store_access.frame(
        f"""
        WITH item AS (
            SELECT visit_id, arrived_at, arrived_on, site_id, technician_id, appliance_key, branch, region,
                appliance_kind,
                CASE WHEN cause_code IN ({marks}) THEN cause_code ELSE contributing_cause_code END AS cause_code
            FROM visit WHERE cause_code IN ({marks}) OR contributing_cause_code IN ({marks})),
        tested AS (SELECT DISTINCT visit_id FROM visit_check WHERE check_code = 'combustion' AND outcome = 'sound'),
        closing AS (
            SELECT v.site_id, v.appliance_key, v.arrived_at FROM visit AS v LEFT JOIN tested AS t USING (visit_id)
            WHERE v.site_id IN (SELECT site_id FROM item)
              AND (t.visit_id IS NOT NULL OR v.visit_id IN (SELECT visit_id FROM item)
                   OR (v.cause_code IS NOT NULL AND v.cause_group IS DISTINCT FROM 'none_found')))
        SELECT i.visit_id, i.arrived_on AS visit_on, i.site_id, i.technician_id, i.cause_code, i.branch, i.region,
            i.appliance_kind
        FROM item AS i LEFT JOIN appliance AS a ON a.appliance_id = i.appliance_key
        WHERE NOT coalesce(a.removed_on >= i.arrived_on, false)
          AND NOT EXISTS (FROM closing AS c WHERE c.site_id = i.site_id AND c.arrived_at > i.arrived_at
                          AND c.appliance_key IS NOT DISTINCT FROM i.appliance_key)
        ORDER BY i.arrived_at DESC, i.visit_id
        """
    )


def quick_returns(scope: Scope) -> pd.DataFrame:
    """Second visits within 14 days for a draft fault at the same site, with what the gauge said the first time."""
    where, bound = scope.where("arrived_on", prefix="f.")
    return store_access.frame(
        f"""
        SELECT l.next_visit_id AS visit_id, n.arrived_on AS visit_on, f.site_id, n.technician_id,
               l.days_between AS days, e.evidence, e.margin_pa
        FROM draft_fault AS f
        JOIN visit_link AS l USING (draft_fault_id)
        JOIN visit AS n ON n.visit_id = l.next_visit_id
        LEFT JOIN field_evidence AS e USING (draft_fault_id)
        WHERE {where} AND f.arrived_on >= {_LAST_DAY} - 28 AND n.arrived_on >= {_LAST_DAY} - 14
          AND l.days_between <= 14 AND l.link_class IN ('callback', 'uncertain')
        ORDER BY n.arrived_at DESC, l.next_visit_id LIMIT {ROWS}
        """,
        bound,
    )


def maturing(scope: Scope) -> pd.DataFrame:
    """Swaps without a root cause whose thirtieth day falls into the 7 days after the last day on record."""
    where, bound = scope.where("arrived_on", prefix="f.")
    return store_access.frame(
        f"""
        SELECT c.draft_fault_id AS visit_id, f.arrived_on AS visit_on, f.site_id, c.owner_id AS technician_id, r.tier
        FROM callback AS c JOIN draft_fault AS f USING (draft_fault_id) JOIN root_cause AS r USING (draft_fault_id)
        WHERE {where} AND c.swap_id IS NOT NULL AND NOT r.has_root_cause AND c.callback_days IS NULL
          AND f.arrived_on >= {_LAST_DAY} - 60
          AND c.starts_on::DATE BETWEEN {_LAST_DAY} - 30 AND {_LAST_DAY} - 24
        ORDER BY c.starts_on, c.draft_fault_id LIMIT {ROWS}
        """,
        bound,
    )


def recent_swaps(scope: Scope) -> int:
    """Swaps of the last 7 days on record."""
    where, bound = scope.where("swapped_on")
    return int(
        store_access.row(f"SELECT count(*) AS n FROM swap_case WHERE {where} AND swapped_on > {_LAST_DAY} - 7", bound)[
            "n"
        ]
    )


def missing_evidence(scope: Scope) -> pd.DataFrame:
    """Swaps of the last 7 days without a gauge reading before the repair, or without a root cause."""
    where, bound = scope.where("swapped_on")
    return store_access.frame(
        f"""
        SELECT visit_id, swapped_on AS visit_on, site_id, technician_id,
               concat_ws(', ', CASE WHEN NOT coalesce(has_gauge_reading, false) THEN 'gauge reading' END,
                         CASE WHEN NOT has_root_cause THEN 'cause' END,
                         CASE WHEN removed_tag IS NULL THEN 'tag' END) AS missing
        FROM swap_case
        WHERE {where} AND swapped_on > {_LAST_DAY} - 7
          AND (NOT coalesce(has_gauge_reading, false) OR NOT has_root_cause OR removed_tag IS NULL)
        ORDER BY swapped_at DESC, swap_id LIMIT {ROWS}
        """,
        bound,
    )


def coaching_log(technician_id: str | None = None) -> pd.DataFrame:
    """The newest coaching sessions: everybody's, or those of one technician (to a technician: their own)."""
    roles.require_technician(technician_id)
    return store_access.frame(
        "SELECT held_on, technician_id, topic, coach_id, remark FROM coaching_session "
        "WHERE ?::VARCHAR IS NULL OR technician_id = ? "
        f"ORDER BY held_on DESC, session_id LIMIT {ROWS}",
        [technician_id, technician_id],
    )


def own_extent(technician_id: str, scope: Scope) -> dict[str, Any]:
    """One technician's visits: n_visits, first_on, last_on; n_held_back is 0, since a row held back is nobody's yet.

    Raises NotAllowed where the reader is another technician.
    """
    roles.require_technician(technician_id)
    where, bound = scope.where("arrived_on")
    return store_access.row(
        "SELECT count(*) AS n_visits, min(arrived_on) AS first_on, max(arrived_on) AS last_on, 0 AS n_held_back "
        f"FROM visit WHERE {where} AND technician_id = ?",
        [*bound, technician_id],
    )


def margins(site_id: str) -> pd.DataFrame:
    """Draft margin of each draft fault at one site, oldest first."""
    return store_access.frame(
        """
        SELECT f.arrived_on, f.draft_fault_id AS visit_id, coalesce(f.appliance_key, 'appliance not '
        'proven') AS appliance,
               e.draft_pa, e.make_pa, e.margin_pa
        FROM draft_fault AS f JOIN field_evidence AS e USING (draft_fault_id)
        WHERE f.site_id = ? AND e.margin_pa IS NOT NULL ORDER BY f.arrived_at, f.draft_fault_id
        """,
        [site_id],
    )


def refusals(scope: Scope) -> pd.DataFrame:
    """Refused warranty claims on draft switches by the reason given: refusal_reason, n_claims."""
    where, bound = scope.where("swapped_on")
    return store_access.frame(
        f"""
        SELECT coalesce(nullif(trim(w.refusal_reason), ''), 'no reason given') AS refusal_reason, count(*) AS n_claims
        FROM warranty_claim AS w JOIN (SELECT DISTINCT visit_id FROM swap_case WHERE {where}) AS s USING (visit_id)
        WHERE w.outcome = 'refused' GROUP BY ALL ORDER BY n_claims DESC, refusal_reason LIMIT {ROWS}
        """,
        bound,
    )
