"""Small questions the pages ask of the facts: a handful of rows each, the newest first."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from dashboard import claimed_switch, figures_access, roles, store_access
from models.figures.scope import Scope

# Most rows of a list where no other number is asked for. How many there are in all is told beside them.
ROWS = 25
EVERYTHING = Scope()

# Everything "of this week" is counted back from the last day with a visit, not from today's clock.
_LAST_DAY = "(SELECT max(arrived_on) FROM visit)"


@dataclass(frozen=True)
class First:
    """The first rows of a list, and how many it holds in all."""

    rows: pd.DataFrame
    n: int


def _first(frame: pd.DataFrame) -> First:
    """frame: with n_in_all, the count over all rows, which is taken off."""
    return First(frame.drop(columns="n_in_all"), 0 if frame.empty else int(frame["n_in_all"].iloc[0]))


def _limited(limit: int | None) -> str:
    return "" if limit is None else f"LIMIT {int(limit)}"


def latest_week(scope: Scope) -> dict[str, Any]:
    """The newest week with a draft fault: week_on, n_draft_faults, n_swaps, n_without_cause, and records_end_on, the last
    day of all records, where no filter ends before it; empty without one.
    """
    roles.require_page("this_week", "seasons")
    where, bound = scope.where("arrived_on")
    found = store_access.row(
        f"""
        WITH newest AS (SELECT draft_fault_id, week_on FROM draft_fault WHERE {where}
                        QUALIFY week_on = max(week_on) OVER ())
        SELECT any_value(n.week_on) AS week_on, count(DISTINCT n.draft_fault_id) AS n_draft_faults,
               count(s.swap_id) AS n_swaps, count(s.swap_id) FILTER (NOT s.has_root_cause) AS n_without_cause
        FROM newest AS n LEFT JOIN swap_case AS s USING (draft_fault_id) HAVING count(*) > 0
        """,
        bound,
    )
    end_on = store_access.row("SELECT CAST(max(arrived_on) AS VARCHAR) AS last_on FROM visit").get("last_on")
    is_cut = scope.end_on is not None and end_on is not None and scope.end_on < dt.date.fromisoformat(end_on)
    return found | {"records_end_on": None if is_cut else end_on} if found else found


def safety_items(scope: Scope) -> pd.DataFrame:
    """Visits with a safety reason that is still open, however old: see models.figures.safety."""
    roles.require_page("this_week")
    return figures_access.safety_items(scope)


def quick_returns(scope: Scope, limit: int | None = ROWS) -> First:
    """Second visits within 14 days for a draft fault at the same site, with what the gauge said the first time.

    One row a second visit, the newest first; where it follows two draft faults, the later of them. Columns first_... are
    of that fault, under the id of its first visit. limit: None = all.
    """
    roles.require_page("this_week")
    where, bound = scope.where("arrived_on", prefix="f.")
    return _first(
        store_access.frame(
            f"""
            WITH returned AS (
                SELECT l.next_visit_id AS visit_id, n.arrived_on AS visit_on, f.site_id, n.technician_id,
                       l.days_between AS days, f.draft_fault_id AS first_visit_id, e.evidence AS first_evidence,
                       e.draft_pa AS first_draft_pa, e.make_pa AS first_make_pa, e.margin_pa AS first_margin_pa,
                       n.arrived_at
                FROM draft_fault AS f
                JOIN visit_link AS l USING (draft_fault_id)
                JOIN visit AS n ON n.visit_id = l.next_visit_id
                LEFT JOIN field_evidence AS e USING (draft_fault_id)
                WHERE {where} AND f.arrived_on >= {_LAST_DAY} - 28 AND n.arrived_on >= {_LAST_DAY} - 14
                  AND l.days_between <= 14 AND l.link_class IN ('callback', 'uncertain')
                QUALIFY row_number() OVER (PARTITION BY l.next_visit_id ORDER BY f.arrived_at DESC, f.draft_fault_id) = 1)
            SELECT * EXCLUDE (arrived_at), count(*) OVER () AS n_in_all FROM returned
            ORDER BY arrived_at DESC, visit_id {_limited(limit)}
            """,
            bound,
        )
    )


def maturing(scope: Scope, limit: int | None = ROWS) -> First:
    """Swaps without a root cause whose thirtieth day falls into the 7 days after the last day on record, the soonest first.

    limit: None = all.
    """
    roles.require_page("this_week")
    where, bound = scope.where("arrived_on", prefix="f.")
    return _first(
        store_access.frame(
            f"""
            SELECT c.draft_fault_id AS visit_id, f.arrived_on AS visit_on, f.site_id, c.owner_id AS technician_id, r.tier,
                   count(*) OVER () AS n_in_all
            FROM callback AS c JOIN draft_fault AS f USING (draft_fault_id) JOIN root_cause AS r USING (draft_fault_id)
            WHERE {where} AND c.swap_id IS NOT NULL AND NOT r.has_root_cause AND c.callback_days IS NULL
              AND f.arrived_on >= {_LAST_DAY} - 60
              AND c.starts_on::DATE BETWEEN {_LAST_DAY} - 30 AND {_LAST_DAY} - 24
            ORDER BY c.starts_on, c.draft_fault_id {_limited(limit)}
            """,
            bound,
        )
    )


def recent_swaps(scope: Scope) -> int:
    """Swaps of the last 7 days on record."""
    roles.require_page("this_week")
    where, bound = scope.where("swapped_on")
    return int(
        store_access.row(f"SELECT count(*) AS n FROM swap_case WHERE {where} AND swapped_on > {_LAST_DAY} - 7", bound)[
            "n"
        ]
    )


def missing_evidence(scope: Scope, limit: int | None = ROWS) -> First:
    """Visits with a swap in the last 7 days without a gauge reading of the draft, a root cause or a tag, the newest first.

    One row a visit: what one of its swaps lacks, the visit lacks. limit: None = all.
    """
    roles.require_page("this_week")
    where, bound = scope.where("swapped_on")
    return _first(
        store_access.frame(
            f"""
            SELECT visit_id, max(swapped_on) AS visit_on, any_value(site_id) AS site_id,
                   any_value(technician_id) AS technician_id,
                   concat_ws(', ', CASE WHEN bool_or(NOT coalesce(has_gauge_reading, false)) THEN 'gauge reading' END,
                             CASE WHEN bool_or(NOT has_root_cause) THEN 'cause' END,
                             CASE WHEN bool_or(removed_tag IS NULL) THEN 'tag' END) AS missing,
                   count(*) OVER () AS n_in_all
            FROM swap_case
            WHERE {where} AND swapped_on > {_LAST_DAY} - 7
              AND (NOT coalesce(has_gauge_reading, false) OR NOT has_root_cause OR removed_tag IS NULL)
            GROUP BY visit_id ORDER BY max(swapped_at) DESC, visit_id {_limited(limit)}
            """,
            bound,
        )
    )


def coaching_log(technician_id: str | None = None, scope: Scope = EVERYTHING) -> pd.DataFrame:
    """The coaching sessions, the newest first: everybody's, or those of one technician (to a technician: their own).

    scope: its period and the technician's branch narrow them; a session has no region and no appliance.
    """
    roles.require_sheet(technician_id)
    where, bound = scope.where("held_on", ("branch",))
    return store_access.frame(
        f"""
        SELECT session_id, held_on, technician_id, topic, coach_id, remark
        FROM coaching_session LEFT JOIN technician USING (technician_id)
        WHERE {where} AND (?::VARCHAR IS NULL OR technician_id = ?) ORDER BY held_on DESC, session_id
        """,
        [*bound, technician_id, technician_id],
    )


def own_extent(technician_id: str, scope: Scope) -> dict[str, Any]:
    """One technician's visits: n_visits, first_on, last_on; n_held_back is 0, since a row held back is nobody's yet.

    Raises NotAllowed where the reader is another technician.
    """
    roles.require_sheet(technician_id)
    where, bound = scope.where("arrived_on")
    return store_access.row(
        "SELECT count(*) AS n_visits, min(arrived_on) AS first_on, max(arrived_on) AS last_on, 0 AS n_held_back "
        f"FROM visit WHERE {where} AND technician_id = ?",
        [*bound, technician_id],
    )


def margins(site_id: str, scope: Scope = EVERYTHING) -> pd.DataFrame:
    """Draft margin of each draft fault at one site within the scope, oldest first."""
    roles.require_page("sites")
    where, bound = scope.where("arrived_on", prefix="f.")
    return store_access.frame(
        f"""
        SELECT f.arrived_on, f.draft_fault_id AS visit_id, coalesce(f.appliance_key, 'appliance not '
        'proven') AS appliance,
               e.draft_pa, e.make_pa, e.margin_pa
        FROM draft_fault AS f JOIN field_evidence AS e USING (draft_fault_id)
        WHERE f.site_id = ? AND e.margin_pa IS NOT NULL AND {where} ORDER BY f.arrived_at, f.draft_fault_id
        """,
        [site_id, *bound],
    )


def refusals(scope: Scope) -> pd.DataFrame:
    """Refused warranty claims on draft switches by the reason given, the most frequent first: refusal_reason, n_claims."""
    roles.require_page("parts_waste")
    where, bound = scope.where("swapped_on")
    return store_access.frame(
        f"""
        SELECT coalesce(nullif(trim(w.refusal_reason), ''), 'no reason given') AS refusal_reason, count(*) AS n_claims
        FROM warranty_claim AS w JOIN (SELECT DISTINCT visit_id FROM swap_case WHERE {where}) AS s USING (visit_id)
        WHERE w.outcome = 'refused' GROUP BY ALL ORDER BY n_claims DESC, refusal_reason
        """,
        bound,
    )


def claims(scope: Scope, outcomes: Sequence[str] = ("refused", "open")) -> pd.DataFrame:
    """Warranty claims on draft switches with one of these outcomes, the newest first.

    claim_id, filed_on, decided_on, outcome, refusal_reason, part_number, visit_id, verdict (of the bench). Part and verdict
    are of the switch that is claimed: the one with the claim's tag; without a tag, what all switches of the visit share.
    """
    roles.require_page("parts_waste")
    where, bound = scope.where("swapped_on")
    return store_access.frame(
        f"""
        WITH swapped AS (SELECT visit_id, swap_id, removed_tag, part_number, verdict FROM swap_case WHERE {where})
        SELECT w.claim_id, w.filed_on, w.decided_on, w.outcome, w.refusal_reason, w.visit_id,
            {claimed_switch.shared("part_number")}, {claimed_switch.shared("verdict")}
        FROM warranty_claim AS w JOIN swapped AS s USING (visit_id)
        WHERE w.outcome IN (SELECT unnest(?))
        GROUP BY w.claim_id, w.filed_on, w.decided_on, w.outcome, w.refusal_reason, w.visit_id
        ORDER BY w.filed_on DESC NULLS LAST, w.claim_id
        """,
        [*bound, list(outcomes)],
    )
