"""What one swap cost beyond the diagnosis that was needed anyway."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import duckdb
import numpy as np
import pandas as pd

from models.figures.scope import Scope


@dataclass(frozen=True)
class Costs:
    """swaps: one row per swap: swap_id, verdict, branch, part_number, technician_id (who diagnosed), month_on, part,
    labour, trip,
    callbacks, credit_received, cost (their sum less the credit). assumptions: sentences. credit: counts and amount.
    currency: of the amounts.
    """

    swaps: pd.DataFrame
    assumptions: list[str]
    credit: dict[str, Any]
    currency: str


def swap_costs(con: duckdb.DuckDBPyConnection, scope: Scope, settings: Any) -> Costs:
    """Part + labour beyond the diagnosis + a trip made only to fit it + callbacks it led to - credit received.

    Labour: settings.swap_labour_minutes at settings.labour_cost_per_hour. Trip: settings.trip_cost, where the switch
    was
    fitted on a later visit than the diagnosis, and for each callback within the headline window. Each callback visit is
    charged once, to the latest swap before it, with its minutes on site. A refused credit adds nothing: the part is
    charged in full already. Rates that were not given are left out, and the assumptions say so.
    """
    frame = _rows(con, scope, settings)
    labour, trip = settings.labour_cost_per_hour, settings.trip_cost
    currency = str(settings.currency)
    assumptions = _assumptions(frame, settings)
    is_other = frame["currency"].notna() & (frame["currency"] != currency)
    frame.loc[is_other, ["part", "credit_received"]] = np.nan
    if is_other.any():
        assumptions.append(
            f"{int(is_other.sum()):,} swaps are priced in another currency than {currency}; their parts are left out."
        )
    frame["part"] = pd.to_numeric(frame["part"]).astype(float).fillna(0.0)
    frame["credit_received"] = pd.to_numeric(frame["credit_received"]).astype(float).fillna(0.0)
    frame["labour"] = 0.0 if labour is None else float(labour) * float(settings.swap_labour_minutes) / 60
    frame["trip"] = frame["is_extra_trip"].astype(float) * float(trip or 0.0)
    minutes = pd.to_numeric(frame["callback_minutes"]).astype(float).fillna(0.0)
    came_back = frame["has_callback"].astype(float)
    frame["callbacks"] = came_back * float(trip or 0.0) + minutes / 60 * float(labour or 0.0)
    frame["cost"] = frame[["part", "labour", "trip", "callbacks"]].sum(axis=1) - frame["credit_received"]
    credit = {
        "n_paid": int((frame["claim_outcome"] == "paid").sum()),
        "n_refused": int((frame["claim_outcome"] == "refused").sum()),
        "n_open": int((frame["claim_outcome"] == "open").sum()),
        "credited": float(frame["credit_received"].sum()),
    }
    return Costs(
        frame.drop(columns=["is_extra_trip", "has_callback", "callback_minutes"]), assumptions, credit, currency
    )


def _rows(con: duckdb.DuckDBPyConnection, scope: Scope, settings: Any) -> pd.DataFrame:
    condition, values = scope.where("swapped_on", prefix="s.")
    return con.execute(
        f"""
        WITH back AS (
            SELECT c.swap_id, c.callback_visit_id FROM callback c
            WHERE c.swap_id IS NOT NULL AND c.callback_days <= ?
            QUALIFY row_number() OVER (PARTITION BY c.callback_visit_id ORDER BY c.starts_on DESC, c.swap_id) = 1)
        SELECT s.swap_id, s.verdict, s.branch, s.part_number, s.diagnosed_by AS technician_id,
            CAST(date_trunc('month', s.swapped_on) AS DATE) AS month_on,
            coalesce(s.unit_cost, p.unit_cost) AS part, s.unit_cost IS NULL AND p.unit_cost IS NOT NULL AS
            is_list_price,
            coalesce(s.currency, p.currency) AS currency, s.visit_id <> s.draft_fault_id AS is_extra_trip,
            b.callback_visit_id IS NOT NULL AS has_callback, v.n_minutes AS callback_minutes, s.claim_outcome,
            CASE WHEN s.claim_outcome = 'paid' THEN s.claim_credited_amount END AS credit_received
        FROM swap_case s LEFT JOIN part p ON p.part_number = s.part_number
        LEFT JOIN back b ON b.swap_id = s.swap_id LEFT JOIN visit v ON v.visit_id = b.callback_visit_id
        WHERE {condition} ORDER BY s.swap_id""",
        [int(settings.headline_window), *values],
    ).df()


def _assumptions(frame: pd.DataFrame, settings: Any) -> list[str]:
    out = []
    if settings.labour_cost_per_hour is None:
        out.append("No labour rate was given: labour is left out. Enter labour_cost_per_hour in the settings.")
    else:
        out.append(
            f"Assumed: labour at {settings.labour_cost_per_hour:,.2f} {settings.currency} an hour and "
            f"{settings.swap_labour_minutes:.0f} minutes to fit a switch (settings)."
        )
    if settings.trip_cost is None:
        out.append("No cost of a trip was given: trips are left out. Enter trip_cost in the settings.")
    else:
        out.append(f"Assumed: a trip costs {settings.trip_cost:,.2f} {settings.currency} (settings).")
    n_missing, n_list = int(frame["part"].isna().sum()), int(frame["is_list_price"].sum())
    if n_missing:
        out.append(f"{n_missing:,} of {len(frame):,} swaps have no part cost on record; their parts count as nothing.")
    if n_list:
        out.append(f"{n_list:,} swaps take the part's cost from the parts list.")
    return out
