"""Safety reasons on record: which causes they are, and which of the visits that recorded one are still open."""

from __future__ import annotations

import duckdb
import pandas as pd

from models.figures.scope import SCOPE_COLUMNS, Scope
from pipelines.contract.codes import CAUSES

# The causes that must be escalated, as the contract declares them: the one list for every page, pack and command.
SAFETY_CODES = tuple(cause.code for cause in CAUSES if cause.must_escalate)
# Of two on one visit the first is told, and a list cut short keeps what can do harm soonest. Common practice.
GRAVEST_FIRST = ("exchanger_breached", "safety_bypassed", "exchanger_restricted", "wrong_switch_or_altitude")
SAFETY_WORDS = {
    "exchanger_restricted": "heat exchanger recorded as restricted",
    "exchanger_breached": "heat exchanger recorded as breached",
    "wrong_switch_or_altitude": "safety switch recorded as the wrong one, or not matched to the altitude",
    "safety_bypassed": "safety switch recorded as bypassed",
}
# What a later visit must have found sound to close an item: evidence about that hazard, not about another. A combustion test
# rules out neither a breach nor a heat exchanger that is filling up, and another cause found later does not say that a bypass is
# gone. Common practice.
CLOSED_BY = {
    "exchanger_restricted": ("heat_exchanger",),
    "exchanger_breached": ("heat_exchanger",),
    "wrong_switch_or_altitude": ("rating_label",),
    "safety_bypassed": ("switch_at_rest",),
}
SAFETY_RULE = (
    "no later visit to that appliance found sound what the item is about: the heat exchanger; the rating label where the "
    "switch was the wrong one; the switch at rest after a bypass"
)
CODES_SQL = "(" + ", ".join(f"'{code}'" for code in SAFETY_CODES) + ")"
_CLOSED_BY_SQL = ", ".join(f"('{code}', '{check}')" for code, checks in CLOSED_BY.items() for check in checks)


def open_safety_items(con: duckdb.DuckDBPyConnection, scope: Scope) -> pd.DataFrame:
    """Visits with a cause that must be escalated, until the records show that it was looked into (SAFETY_RULE).

    visit_id, visit_on, site_id, technician_id, cause_code; the newest first, all of them. However old. A later visit counts
    only where it is known to be to the same appliance, or where neither says which; maintenance alone closes nothing, nor
    does another cause. An appliance taken out closes its items; the same cause recorded again is listed once, by its last
    visit. Of two causes open on one visit the first of GRAVEST_FIRST is told. The dates of the scope narrow nothing: what is
    open is open, however long ago it was found.
    """
    return within(all_open_items(con), scope)


def within(items: pd.DataFrame, scope: Scope) -> pd.DataFrame:
    """The part of `all_open_items` in the branch, region and kind of the scope, in the columns of `open_safety_items`."""
    chosen = pd.Series(True, index=items.index)
    for column in SCOPE_COLUMNS:
        if getattr(scope, column) is not None:
            chosen &= (items[column] == getattr(scope, column)).fillna(False).astype(bool)
    return items.loc[chosen].drop(columns=[*SCOPE_COLUMNS]).reset_index(drop=True)


def all_open_items(con: duckdb.DuckDBPyConnection) -> pd.DataFrame:
    """Those of the whole store, with branch, region and appliance_kind of the visit."""
    return con.execute(
        f"""
        WITH item AS (
            SELECT DISTINCT visit_id, arrived_at, arrived_on, site_id, technician_id, appliance_key, branch, region,
                appliance_kind, unnest([cause_code, contributing_cause_code]) AS code
            FROM visit WHERE cause_code IN {CODES_SQL} OR contributing_cause_code IN {CODES_SQL}),
        closed_by(code, check_code) AS (VALUES {_CLOSED_BY_SQL}),
        closing AS (
            SELECT v.site_id, v.appliance_key, v.arrived_at, b.code FROM visit AS v
            JOIN visit_check AS c USING (visit_id) JOIN closed_by AS b USING (check_code)
            WHERE c.outcome = 'sound' AND v.site_id IN (SELECT site_id FROM item)
            UNION ALL SELECT site_id, appliance_key, arrived_at, code FROM item WHERE code IN {CODES_SQL})
        SELECT i.visit_id, i.arrived_on AS visit_on, i.site_id, i.technician_id, i.code AS cause_code, i.branch, i.region,
            i.appliance_kind
        FROM item AS i LEFT JOIN appliance AS a ON a.appliance_id = i.appliance_key
        WHERE i.code IN {CODES_SQL} AND NOT coalesce(a.removed_on >= i.arrived_on, false)
          AND NOT EXISTS (FROM closing AS c WHERE c.code = i.code AND c.site_id = i.site_id
                          AND c.arrived_at > i.arrived_at AND c.appliance_key IS NOT DISTINCT FROM i.appliance_key)
        QUALIFY row_number() OVER (PARTITION BY i.visit_id ORDER BY list_position({list(GRAVEST_FIRST)}, i.code)) = 1
        ORDER BY i.arrived_at DESC, i.visit_id
        """
    ).df()


def safety_sites(con: duckdb.DuckDBPyConnection, scope: Scope, open_items: pd.DataFrame | None = None) -> pd.DataFrame:
    """Sites with a safety reason on record, whatever was done since, unless that appliance has been taken out since.

    As in open_safety_items, dates narrow nothing.
    site_id, safety (list of codes), safety_on (the last day), n_safety_open (visits of open_safety_items), gravity (place in
    GRAVEST_FIRST of the gravest that is open; where none is, of the gravest on record). open_items: all_open_items of the
    store, where they have been found already.
    """
    condition, values = scope.where(None, prefix="v.")
    out = con.execute(
        f"""
        SELECT v.site_id, list(DISTINCT code ORDER BY code) AS safety, max(v.arrived_on) AS safety_on FROM (
            SELECT site_id, visit_id, arrived_on, appliance_key, branch, region, appliance_kind,
                unnest([cause_code, contributing_cause_code]) AS code FROM visit
            WHERE cause_code IN {CODES_SQL} OR contributing_cause_code IN {CODES_SQL}) v
        LEFT JOIN appliance a ON a.appliance_id = v.appliance_key
        WHERE code IN {CODES_SQL} AND NOT coalesce(a.removed_on >= v.arrived_on, false) AND {condition}
        GROUP BY v.site_id ORDER BY v.site_id""",
        values,
    ).df()
    items = within(all_open_items(con) if open_items is None else open_items, scope)
    n_open = items["site_id"].value_counts()
    gravest = items["cause_code"].map(GRAVEST_FIRST.index).groupby(items["site_id"]).min()
    on_record = out["safety"].map(lambda codes: min(map(GRAVEST_FIRST.index, codes)))
    return out.assign(
        n_safety_open=out["site_id"].map(n_open).fillna(0).astype("int64"),
        gravity=out["site_id"].map(gravest).fillna(on_record).astype("int64"),
    )
