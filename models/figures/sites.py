"""Sites where an unfound cause is likely, and sites with an open safety reason."""

from __future__ import annotations

from typing import Any

import duckdb
import numpy as np
import pandas as pd
from scipy import stats

from models.figures.margins import margin_trends
from models.figures.safety import SAFETY_WORDS, safety_sites
from models.figures.scope import Scope
from models.methods.numeral import numeral
from models.methods.shrinkage import benjamini_hochberg
from pipelines.contract.units import INCH_OF_WATER_PA

SITE_COLUMNS = (
    "site_id", "region", "branch", "n_draft_faults", "n_swaps", "n_without_cause", "n_unexplained", "expected_unexplained", "n_repeats",
    "p_value",
    "margin_slope_pa_per_year", "margin_slope_low", "margin_slope_high", "margin_p_value", "n_margins", "n_good_known",
    "last_visit_id", "last_visit_on", "is_safety", "n_safety_open", "is_flagged", "is_margin_flagged",
    "reasons",
)  # fmt: skip
# A draft fault counts as repeated when the same appliance has another within this time.
REPEAT_DAYS = 180
# So many repeats are shown without a flag, as "look at the visits", even when chance could do it.
SHOWN_REPEATS = 2
LIST_LIMIT = 2000


def draft_unit(unit: str | None) -> tuple[str, float, int]:
    """The unit draft is told in: its name, its pascal, digits that are worth showing.

    unit: the company's unit of pressure (UCUM) or None; pascal where it is one of pascal, else in. w.c.
    """
    return ("Pa", 1.0, 0) if unit in ("Pa", "hPa", "mbar", "kPa") else ("in. w.c.", INCH_OF_WATER_PA, 2)


def sites(
    con: duckdb.DuckDBPyConnection, scope: Scope, settings: Any, open_items: pd.DataFrame | None = None
) -> pd.DataFrame:
    """Listed sites only: safety first, then flagged, then the others with repeats, each by what stands behind it.

    open_items: models.figures.safety.all_open_items of the store, where they have been found already.
    Unexplained: draft faults without a recorded root cause. Expected: the rate of appliances of the same kind times the
    years each was served at the site. Repeats: unexplained faults after which the same appliance (or the site, where
    the
    appliance is not proven) had another within 180 days. A site is flagged when at least two are unexplained and the
    Poisson p-value passes Benjamini-Hochberg at the false-discovery limit over all sites served, or when its draft
    margin
    shrinks beyond chance (models.figures.margins), or for a safety reason whatever the statistics.
    Returns DataFrame[SITE_COLUMNS]: every flagged site, and at most 2,000 of the others; reasons: list of sentences,
    with draft in the company's unit (reasons_in tells it in another one). is_margin_flagged: one of them is of the margin.
    n_good_known: switches from the site the bench found good. is_safety: a safety reason is on record, whatever was done
    since; n_safety_open: visits with one that are still open (models.figures.safety). Empty frame with these columns when there is nothing to list.
    """
    limit = float(settings.false_discovery_limit)
    table = _unexplained(con, scope, limit)
    table = table.merge(margin_trends(con, scope, limit), on="site_id", how="outer")
    table = table.merge(safety_sites(con, scope, open_items), on="site_id", how="outer")
    for column in ("is_count_flagged", "is_margin_flagged"):
        table[column] = table[column].astype("boolean").fillna(False).astype(bool)
    table["is_safety"] = table["safety"].notna()
    table["is_flagged"] = table["is_safety"] | table["is_count_flagged"] | table["is_margin_flagged"]
    for column in ("n_repeats", "n_unexplained"):
        table[column] = table[column].fillna(0)
    table = table[table["is_flagged"] | (table["n_repeats"] >= SHOWN_REPEATS)]
    # Safety reasons in the order in which every list has them.
    order = ["is_safety", "gravity", "is_flagged", "n_repeats", "n_unexplained", "site_id"]
    table = table.sort_values(order, ascending=[False, True, False, False, False, True], kind="stable").drop(
        columns="gravity"
    )
    # Only what chance could explain is cut: with many safety reasons on record, a flagged site must not fall off the end.
    is_watched = ~table["is_flagged"]
    table = table[~is_watched | (is_watched.cumsum() <= LIST_LIMIT)].reset_index(drop=True)
    table = table.merge(_about(con, scope, table["site_id"].tolist()), on="site_id", how="left")
    table["reasons"] = pd.Series(
        [_reasons(row, settings.default_pressure_unit) for row in table.itertuples(index=False)], dtype=object
    )
    counts = (
        "n_draft_faults", "n_swaps", "n_without_cause", "n_unexplained", "n_repeats", "n_margins", "n_good_known",
        "n_safety_open",
    )  # fmt: skip
    for column in counts:
        table[column] = table[column].fillna(0).astype("int64")
    return table[list(SITE_COLUMNS)].copy()


def _unexplained(con: duckdb.DuckDBPyConnection, scope: Scope, limit: float) -> pd.DataFrame:
    """Sites with an unexplained draft fault: counts, expectation, p-value and whether flagged among all sites served."""
    within, within_values = scope.where("f.arrived_on", ("branch", "region", "appliance_kind"))
    served, served_values = scope.where(None, ("region", "appliance_kind"))
    out = con.execute(
        f"""
        WITH fault AS (
            SELECT f.site_id, f.appliance_kind, f.is_condensing, f.arrived_on, f.branch, f.region,
                NOT coalesce(r.has_root_cause, false) AS is_unexplained,
                coalesce(lead(f.arrived_on) OVER w - f.arrived_on <= ?, false) AS is_followed
            FROM draft_fault f SEMI JOIN (SELECT DISTINCT site_id FROM draft_fault f WHERE {within}) USING (site_id)
            LEFT JOIN root_cause r USING (draft_fault_id)
            WINDOW w AS (PARTITION BY f.site_id, f.appliance_key ORDER BY f.arrived_at, f.draft_fault_id)),
        counted AS (SELECT * FROM fault f WHERE is_unexplained AND {within}),
        span AS (SELECT greatest(min(arrived_on), coalesce(?, DATE '0001-01-01')) AS first_on,
            least(max(arrived_on), coalesce(?, DATE '9999-01-01')) AS last_on FROM visit),
        service AS (
            SELECT site_id, appliance_kind, is_condensing,
                greatest(least(served_until_on, last_on) - greatest(served_from_on, first_on), 0) / 365.25 AS years
            FROM appliance_service CROSS JOIN span
            WHERE {served} AND (? IS NULL OR site_id IN (SELECT site_id FROM visit WHERE branch = ?))),
        rate AS (
            SELECT s.appliance_kind, s.is_condensing, coalesce(any_value(n.n), 0) / nullif(sum(s.years), 0) AS per_year
            FROM service s LEFT JOIN (SELECT appliance_kind, is_condensing, count(*) AS n FROM counted GROUP BY ALL) n
                ON n.appliance_kind IS NOT DISTINCT FROM s.appliance_kind
                AND n.is_condensing IS NOT DISTINCT FROM s.is_condensing
            GROUP BY s.appliance_kind, s.is_condensing),
        expected AS (
            SELECT s.site_id, sum(s.years * r.per_year) AS expected_unexplained
            FROM service s JOIN rate r ON r.appliance_kind IS NOT DISTINCT FROM s.appliance_kind
                AND r.is_condensing IS NOT DISTINCT FROM s.is_condensing
            GROUP BY s.site_id),
        found AS (
            SELECT site_id, count(*) AS n_unexplained, count(*) FILTER (is_followed) AS n_repeats
            FROM counted GROUP BY site_id)
        SELECT site_id, n_unexplained, n_repeats, expected_unexplained, (SELECT count(*) FROM expected) AS n_sites
        FROM found LEFT JOIN expected USING (site_id) ORDER BY site_id""",
        [
            REPEAT_DAYS,
            *within_values,
            *within_values,
            scope.start_on,
            scope.end_on,
            *served_values,
            scope.branch,
            scope.branch,
        ],
    ).df()
    expected = pd.to_numeric(out["expected_unexplained"]).to_numpy(float, na_value=np.nan)
    # Sites without an unexplained fault have a p-value of 1; they count among those looked at.
    p_value = np.where(
        expected > 0, stats.poisson.sf(out["n_unexplained"] - 1, np.where(expected > 0, expected, 1)), 1.0
    )
    n_others = max(int(out.pop("n_sites").max()) - len(out), 0) if len(out) else 0
    flagged = benjamini_hochberg(np.concatenate([p_value, np.ones(n_others)]), limit)[: len(out)]
    out["p_value"] = p_value
    out["is_count_flagged"] = flagged & (out["n_unexplained"] >= SHOWN_REPEATS).to_numpy(bool)
    return out


def _about(con: duckdb.DuckDBPyConnection, scope: Scope, site_ids: list[str]) -> pd.DataFrame:
    condition, values = scope.where("arrived_on")
    # A site is listed for a safety reason however old, so its last visit is the last of all.
    ever, ever_values = scope.where(None)
    swapped, swapped_values = scope.where("swapped_on")
    return con.execute(
        f"""
        WITH wanted AS (SELECT unnest(CAST(? AS VARCHAR[])) AS site_id),
        seen AS (
            SELECT site_id, max_by(region, arrived_at) AS region, max_by(branch, arrived_at) AS branch,
                max_by(visit_id, (arrived_at, visit_id)) AS last_visit_id, max(arrived_on) AS last_visit_on
            FROM visit SEMI JOIN wanted USING (site_id) WHERE {ever} GROUP BY site_id),
        fault AS (SELECT site_id, count(*) AS n_draft_faults FROM draft_fault SEMI JOIN wanted USING (site_id)
            WHERE {condition} GROUP BY site_id),
        fitted AS (SELECT site_id, count(*) AS n_swaps, count(*) FILTER (NOT coalesce(has_root_cause, false)) AS
        n_without_cause,
                count(*) FILTER (verdict = 'good') AS n_good_known
            FROM swap_case SEMI JOIN wanted USING (site_id) WHERE {swapped} GROUP BY site_id)
        SELECT * FROM wanted LEFT JOIN seen USING (site_id) LEFT JOIN fault USING (site_id) LEFT JOIN fitted USING
        (site_id)""",
        [site_ids, *ever_values, *values, *swapped_values],
    ).df()


def _reasons(row: Any, unit: str | None) -> list[str]:
    """Sentences. unit: the company's unit of pressure; draft is told in pascal where it is one, else in in. w.c."""
    out = []
    if row.is_safety:
        words = "; ".join(SAFETY_WORDS[code] for code in row.safety)
        day = pd.Timestamp(row.safety_on).date()
        out.append(f"Safety: {words}, last on {day}. Shut down and escalate; check that it was put right.")
    if row.is_count_flagged:
        out.append(
            f"{row.n_unexplained:.0f} draft faults without a recorded root cause; {numeral(row.expected_unexplained, '.1f')} expected of "
            "appliances like these."
        )
    if row.n_repeats >= SHOWN_REPEATS:
        told = "" if row.is_flagged else " Chance could do this; look at the visits."
        out.append(
            f"{row.n_repeats:.0f} draft faults without a recorded root cause had another within {REPEAT_DAYS} days.{told}"
        )
    # The last of them: reasons_in puts another in its place.
    return [*out, _margin_reason(row, unit)] if row.is_margin_flagged else out


def _margin_reason(row: Any, unit: str | None) -> str:
    name, per, digits = draft_unit(unit)
    slope, least, most = (
        numeral(-pascal / per, f",.{digits}f")
        for pascal in (row.margin_slope_pa_per_year, row.margin_slope_high, row.margin_slope_low)
    )
    return (
        f"Draft margin shrinks by {slope} {name} a year over {row.n_margins:.0f} readings (between {least} and {most})."
    )


def reasons_in(row: Any, unit: str | None) -> list[str]:
    """The reasons of a listed site with draft in this unit instead of the company's. row: one of `sites`. unit: see draft_unit."""
    reasons = [] if row.reasons is None else [str(reason) for reason in row.reasons]
    return [*reasons[:-1], _margin_reason(row, unit)] if row.is_margin_flagged and reasons else reasons
