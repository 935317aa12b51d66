"""Sites where an unfound cause is likely, and sites with an open safety reason."""

from __future__ import annotations

from typing import Any

import duckdb
import numpy as np
import pandas as pd
from scipy import stats

from models.figures.margins import margin_trends
from models.figures.scope import Scope
from models.methods.shrinkage import benjamini_hochberg
from models.misdiagnosis.case_mix import draft_faults, expected_rate
from models.misdiagnosis.scores import Scores

SITE_COLUMNS = (
    "site_id", "region", "branch", "n_draft_faults", "n_swaps", "n_without_cause", "n_repeats", "expected_repeats", "p_value",
    "margin_slope_pa_per_year", "margin_slope_low", "margin_slope_high", "margin_p_value", "n_margins", "n_good_known",
    "last_visit_id", "last_visit_on", "is_safety", "is_flagged", "reasons",
)  # fmt: skip
# A draft fault counts as repeated when the same appliance has another within this time.
REPEAT_DAYS = 180
# So many repeats are shown without a flag, as "look at the visits", even when chance could do it.
SHOWN_REPEATS = 2
LIST_LIMIT = 2000
SAFETY_WORDS = {
    "exchanger_restricted": "heat exchanger recorded as restricted",
    "exchanger_breached": "heat exchanger recorded as breached",
    "safety_bypassed": "safety switch recorded as bypassed",
}


def sites(con: duckdb.DuckDBPyConnection, scope: Scope, settings: Any, scores: Scores) -> pd.DataFrame:
    """Listed sites only, safety first, then flagged, then the others with repeats, each by what stands behind it.

    A repeat is a draft fault without a recorded root cause after which the same appliance (or the site, where the
    appliance is not
    proven) had another within 180 days. Expected repeats follow from the case mix of its draft faults; a site is
    flagged when
    its Poisson p-value passes Benjamini-Hochberg at the false-discovery limit over all sites with a draft fault, or
    when
    its draft margin shrinks beyond chance (models.figures.margins), or for a safety reason whatever the statistics.
    Returns DataFrame[SITE_COLUMNS], at most 2,000 rows (safety always); reasons: list of sentences. n_good_known:
    switches
    from the site the bench found good. Empty frame with these columns when there is nothing to list.
    """
    faults = _faults(con, scope)
    limit = float(settings.false_discovery_limit)
    table = _repeats(faults, limit)
    table = table.merge(margin_trends(con, scope, limit), on="site_id", how="outer")
    table = table.merge(_safety(con, scope), on="site_id", how="outer")
    for column in ("is_repeat_flagged", "is_margin_flagged"):
        table[column] = table[column].astype("boolean").fillna(False).astype(bool)
    table["is_safety"] = table["safety"].notna()
    table["is_flagged"] = table["is_safety"] | table["is_repeat_flagged"] | table["is_margin_flagged"]
    repeats = table["n_repeats"].fillna(0)
    table = table[table["is_flagged"] | (repeats >= SHOWN_REPEATS)].copy()
    table["n_repeats"] = repeats
    order = ["is_safety", "is_flagged", "n_repeats", "site_id"]
    table = table.sort_values(order, ascending=[False, False, False, True], kind="stable")
    table = table[table["is_safety"] | (np.arange(len(table)) < LIST_LIMIT)].reset_index(drop=True)
    table = table.merge(_about(con, scope, table["site_id"].tolist()), on="site_id", how="left")
    table["reasons"] = [_reasons(row) for row in table.itertuples(index=False)]
    for column in ("n_draft_faults", "n_swaps", "n_without_cause", "n_repeats", "n_margins", "n_good_known"):
        table[column] = table[column].fillna(0).astype("int64")
    return table[list(SITE_COLUMNS)].copy()


def _faults(con: duckdb.DuckDBPyConnection, scope: Scope) -> pd.DataFrame:
    """Draft faults with their case mix and whether each was repeated without a cause."""
    faults = draft_faults(con, scope)
    again = con.execute(
        """
        SELECT f.draft_fault_id, coalesce(lead(f.arrived_on) OVER w - f.arrived_on <= ?, false)
            AND NOT coalesce(r.has_root_cause, false) AS is_repeated
        FROM draft_fault f LEFT JOIN root_cause r USING (draft_fault_id)
        WINDOW w AS (PARTITION BY f.site_id, f.appliance_key ORDER BY f.arrived_at, f.draft_fault_id)
        ORDER BY f.draft_fault_id""",
        [REPEAT_DAYS],
    ).df()
    return faults.merge(again, on="draft_fault_id", how="left")


def _repeats(faults: pd.DataFrame, limit: float) -> pd.DataFrame:
    columns = ["site_id", "n_repeats", "expected_repeats", "p_value", "is_repeat_flagged"]
    if faults.empty:
        return pd.DataFrame(columns=columns)
    hit = faults["is_repeated"].fillna(False).to_numpy(float)
    faults = faults.assign(hit=hit, expected=expected_rate(faults, hit, None))
    out = (
        faults.groupby("site_id", sort=True)
        .agg(n_repeats=("hit", "sum"), expected_repeats=("expected", "sum"))
        .reset_index()
    )
    out["p_value"] = stats.poisson.sf(out["n_repeats"] - 1, out["expected_repeats"])
    out["is_repeat_flagged"] = benjamini_hochberg(out["p_value"], limit) & (out["n_repeats"] >= SHOWN_REPEATS)
    return out[columns]


def _safety(con: duckdb.DuckDBPyConnection, scope: Scope) -> pd.DataFrame:
    """Codes that list a site whatever the statistics, on any visit, unless that appliance has been taken out since."""
    condition, values = scope.where("arrived_on", prefix="v.")
    return con.execute(
        f"""
        SELECT v.site_id, list(DISTINCT code ORDER BY code) AS safety, max(v.arrived_on) AS safety_on FROM (
            SELECT site_id, visit_id, arrived_on, appliance_key, branch, region, appliance_kind,
                unnest([cause_code, contributing_cause_code]) AS code FROM visit
            WHERE cause_group IN ('heat_exchanger', 'installation')
                OR contributing_cause_code IN ('exchanger_restricted', 'exchanger_breached', 'safety_bypassed')) v
        LEFT JOIN appliance a ON a.appliance_id = v.appliance_key
        WHERE code IN ('exchanger_restricted', 'exchanger_breached', 'safety_bypassed')
            AND NOT coalesce(a.removed_on >= v.arrived_on, false) AND {condition}
        GROUP BY v.site_id ORDER BY v.site_id""",
        values,
    ).df()


def _about(con: duckdb.DuckDBPyConnection, scope: Scope, site_ids: list[str]) -> pd.DataFrame:
    condition, values = scope.where("arrived_on")
    swapped, swapped_values = scope.where("swapped_on")
    return con.execute(
        f"""
        WITH wanted AS (SELECT unnest(CAST(? AS VARCHAR[])) AS site_id),
        seen AS (
            SELECT site_id, max_by(region, arrived_at) AS region, max_by(branch, arrived_at) AS branch,
                max_by(visit_id, (arrived_at, visit_id)) AS last_visit_id, max(arrived_on) AS last_visit_on
            FROM visit SEMI JOIN wanted USING (site_id) WHERE {condition} GROUP BY site_id),
        fault AS (SELECT site_id, count(*) AS n_draft_faults FROM draft_fault SEMI JOIN wanted USING (site_id)
            WHERE {condition} GROUP BY site_id),
        fitted AS (SELECT site_id, count(*) AS n_swaps, count(*) FILTER (NOT coalesce(has_root_cause, false)) AS
        n_without_cause,
                count(*) FILTER (verdict = 'good') AS n_good_known
            FROM swap_case SEMI JOIN wanted USING (site_id) WHERE {swapped} GROUP BY site_id)
        SELECT * FROM wanted LEFT JOIN seen USING (site_id) LEFT JOIN fault USING (site_id) LEFT JOIN fitted USING
        (site_id)""",
        [site_ids, *values, *values, *swapped_values],
    ).df()


def _reasons(row: Any) -> list[str]:
    out = []
    if row.is_safety:
        words = "; ".join(SAFETY_WORDS[code] for code in row.safety)
        day = pd.Timestamp(row.safety_on).date()
        out.append(f"Safety: {words}, last on {day}. Shut down and escalate; check that it was put right.")
    if row.n_repeats >= SHOWN_REPEATS:
        told = "more than like cases explain" if row.is_repeat_flagged else "chance could do this"
        out.append(
            f"{row.n_repeats:.0f} draft faults without a recorded root cause came back within {REPEAT_DAYS} days; "
            f"{row.expected_repeats:.1f} expected ({told})."
        )
    if row.is_margin_flagged:
        out.append(
            f"Draft margin shrinks by {-row.margin_slope_pa_per_year:.0f} Pa a year over {row.n_margins:.0f} readings "
            f"(between {-row.margin_slope_high:.0f} and {-row.margin_slope_low:.0f})."
        )
    return out
