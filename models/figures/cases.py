"""The visits behind a figure."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

import duckdb
import pandas as pd

from models.figures.safety import CODES_SQL
from models.figures.scope import Scope
from models.figures.steps import RATES

CASE_COLUMNS = (
    "visit_id", "visit_on", "site_id", "appliance_key", "technician_id", "branch", "symptom", "cause_code", "tier",
    "evidence", "margin_pa", "verdict", "part_number", "callback_days", "notes",
)  # fmt: skip
NOTE_CHARACTERS = 200
_SWAPS = """
    SELECT s.visit_id, s.swapped_on AS visit_on, s.site_id, s.appliance_key, s.diagnosed_by AS technician_id, s.branch,
        s.symptom, s.cause_code, s.tier, s.evidence, s.margin_pa, s.verdict, s.part_number, c.callback_days, s.region,
        s.appliance_kind, s.week_on, s.month, s.season, s.has_root_cause, c.possible_callback_days, s.draft_fault_id,
        c.swap_id = s.swap_id AND (c.callback_days <= 30 OR c.observed_days >= 30) AS is_followed_30,
        s.removed_tag, s.rated_make_pa, c.swap_id = s.swap_id AS is_followed, s.claim_outcome, s.has_gauge_reading,
        s.n_checks_done, s.has_after_reading, s.n_note_characters
    FROM swap_case s LEFT JOIN callback c ON c.draft_fault_id = s.draft_fault_id"""
_FAULTS = """
    SELECT f.draft_fault_id AS visit_id, f.arrived_on AS visit_on, f.site_id, f.appliance_key, f.technician_id,
    f.branch,
        f.symptom, r.cause_code, r.tier, e.evidence, e.margin_pa, NULL AS verdict, NULL AS part_number, c.callback_days,
        f.region, f.appliance_kind, f.week_on, f.month, f.season, r.has_root_cause, c.possible_callback_days,
        f.draft_fault_id,
        coalesce(k.family, o.family) AS family, month(f.week_on + 3) AS week_month,
        CAST((dayofyear(f.week_on + 3) - 1) // 7 AS INTEGER) AS week_of_year
    FROM draft_fault f LEFT JOIN root_cause r USING (draft_fault_id) LEFT JOIN field_evidence e USING (draft_fault_id)
    LEFT JOIN callback c USING (draft_fault_id)
    LEFT JOIN cause k ON k.cause_code = r.cause_code LEFT JOIN cause o ON o.cause_code = r.contributing_cause_code"""
_VISITS = """
    SELECT v.visit_id, v.arrived_on AS visit_on, v.site_id, v.appliance_key, v.technician_id, v.branch, v.symptom,
    v.cause_code,
        NULL AS tier, NULL AS evidence, NULL AS margin_pa, NULL AS verdict, NULL AS part_number, NULL AS
        callback_days, v.region,
        v.appliance_kind, v.week_on, month(v.arrived_on) AS month, v.season, v.contributing_cause_code
    FROM visit v"""
# Of a draft reading that does not decide: which half is missing.
READING_LACKS = {
    "not_read": "evidence = 'no_reading'",
    "not_before": "reason = 'draft was read, but not before the repair'",
    "no_contacts": "reason = 'draft was read, but not whether the contacts were open or closed'",
}
_READ = "draft_fault_id IN (SELECT draft_fault_id FROM field_evidence"
# What a record lacks, as a condition on a swap (first three) or a draft fault; see models.figures.missing.
LACKS = {
    "removed_tag": "removed_tag IS NULL",
    "reading": f"{_READ} WHERE {' OR '.join(f'({one})' for one in READING_LACKS.values())})",
    "make_point": "rated_make_pa IS NULL",
    "cause": "cause_code IS NULL",
    "appliance": "appliance_key IS NULL",
}
# what -> rows to choose from, and which of them.
_CHOICE: dict[str, tuple[str, str]] = {
    "draft_faults": (_FAULTS, "true"),
    "swaps": (_SWAPS, "true"),
    "without_cause": (_SWAPS, "NOT coalesce(has_root_cause, false)"),
    "with_cause": (_SWAPS, "has_root_cause"),
    "bench_good": (_SWAPS, "verdict = 'good'"),
    "bench_faulty": (_SWAPS, "verdict = 'faulty'"),
    "bench_inconclusive": (_SWAPS, "verdict = 'inconclusive'"),
    "bench_clear": (_SWAPS, "verdict IN ('good', 'faulty')"),
    "followed_30": (_SWAPS, "is_followed_30"),
    "untested": (_SWAPS, "verdict IS NULL"),
    "without_clear_result": (_SWAPS, "verdict IS NULL OR verdict = 'inconclusive'"),
    "bench_tested": (_SWAPS, "verdict IS NOT NULL"),
    "tested_and_credited": (_SWAPS, "verdict IS NOT NULL AND claim_outcome = 'paid'"),
    **{f"skipped_{name}": (_SWAPS, f"NOT ({test})") for name, test in RATES.items()},
    "callbacks": (_SWAPS, "callback_days IS NOT NULL"),
    "uncertain_callbacks": (_SWAPS, "callback_days IS NULL AND possible_callback_days IS NOT NULL"),
    "condensate": (_FAULTS, "family = 'condensate'"),
    "blockage": (_FAULTS, "family = 'blockage'"),
    "safety": (_VISITS, f"cause_code IN {CODES_SQL} OR contributing_cause_code IN {CODES_SQL}"),
    "visits": (_VISITS, "true"),
    **{f"lacks_{name}": (_SWAPS, LACKS[name]) for name in ("removed_tag", "reading", "make_point")},
    **{f"lacks_{name}": (_FAULTS, LACKS[name]) for name in ("cause", "appliance")},
}
WHAT = tuple(_CHOICE)
# And what came back within any number of days, such as back_30, back_30_with_cause or back_30_without_cause: the days of
# the settings are the company's.
_BACK = re.compile(r"back_([1-9][0-9]{0,2})(?:_(with_cause|without_cause))?", re.ASCII)
KEYS = (
    "branch", "region", "technician_id", "site_id", "part_number", "week_on", "month", "season", "visit_id", "appliance_key",
    "week_month", "week_of_year",
)  # fmt: skip


def visits_behind(
    con: duckdb.DuckDBPyConnection, scope: Scope, what: str, limit: int | None = 500, **key: Any
) -> pd.DataFrame:
    """The visits a figure counts, newest first.

    what: one of WHAT, or back_DAYS, back_DAYS_with_cause, back_DAYS_without_cause. key: narrows to a group, names in KEYS (value None = not recorded). technician_id: who diagnosed
    (swaps, draft faults) or led the visit. week_month, week_of_year: of the middle of the week (draft faults), the latter in sevenths of days from 0. limit: most rows (None = all).
    Returns DataFrame[CASE_COLUMNS]; notes cut to 200 characters, shown as text only.
    Raises ValueError naming an unknown `what` or key and what is allowed.
    """
    chosen, values = _chosen(scope, what, key)
    bounded = "" if limit is None else f" LIMIT {int(limit)}"
    columns = ", ".join(f"x.{name}" for name in CASE_COLUMNS if name != "notes")
    return con.execute(
        f"""
        WITH chosen AS (
            SELECT * {chosen} ORDER BY visit_on DESC, visit_id{bounded})
        SELECT {columns}, left(v.notes, {NOTE_CHARACTERS}) AS notes
        FROM chosen x LEFT JOIN delivered.visits v USING (visit_id) ORDER BY x.visit_on DESC, x.visit_id""",
        values,
    ).df()


def count_behind(con: duckdb.DuckDBPyConnection, scope: Scope, what: str, **key: Any) -> int:
    """How many rows visits_behind gives without a limit; the same arguments, the same errors."""
    chosen, values = _chosen(scope, what, key)
    return con.execute(f"SELECT count(*) {chosen}", values).fetchall()[0][0]


def _chosen(scope: Scope, what: str, key: Mapping[str, Any]) -> tuple[str, list[Any]]:
    """The visits of a choice as FROM and WHERE, with the values bound in them."""
    rows, test = _choice(what)
    unknown = [name for name in key if name not in KEYS]
    if unknown:
        raise ValueError(f"key: got {unknown[0]!r}; must be one of {', '.join(KEYS)}.")
    condition, values = scope.where("visit_on")
    narrowed = "".join(f" AND {name} IS NOT DISTINCT FROM ?" for name in key)
    return f"FROM ({rows}) WHERE ({test}) AND {condition}{narrowed}", [*values, *key.values()]


def _choice(what: str) -> tuple[str, str]:
    """The rows to choose from, and which of them."""
    back = _BACK.fullmatch(what)
    if back:
        days, group = back.groups()
        # As models.figures.callbacks counts: the last swap of a draft fault, from the day its job was declared complete.
        return _SWAPS, f"is_followed AND callback_days <= {int(days)} AND ({_CHOICE[group][1] if group else 'true'})"
    if what not in _CHOICE:
        raise ValueError(f"what: got {what!r}; must be one of {', '.join(WHAT)}, or back_DAYS.")
    return _CHOICE[what]
