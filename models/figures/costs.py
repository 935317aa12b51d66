"""What one swap cost beyond the diagnosis that was needed anyway."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import duckdb
import numpy as np
import pandas as pd

from models.figures.scope import Scope
from models.methods.numeral import numeral


@dataclass(frozen=True)
class Costs:
    """swaps: one row per swap: swap_id, verdict, branch, part_number, technician_id (who diagnosed), month_on, part,
    labour, trip, callbacks, credit_received, cost (their sum less the credit), other_currency (of a part priced in
    another one, else missing), has_part_cost, has_cost (a part's cost or a labour rate is known: else cost says nothing).
    assumptions: sentences. credit: counts and amount (NaN where all credits are in other currencies). currency: of the
    amounts.
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
    is_other = (frame["currency"].notna() & (frame["currency"] != currency)).to_numpy(bool)
    n_credited = int(frame["credit_received"].notna().sum())
    frame.loc[is_other, ["part", "credit_received"]] = np.nan
    frame["other_currency"] = frame["currency"].where(is_other)
    if is_other.any():
        assumptions.insert(0, _other_currency(frame, currency))
    is_credit_lost = bool(n_credited) and not frame["credit_received"].notna().any()
    frame["has_part_cost"] = frame["part"].notna()
    frame["has_cost"] = frame["has_part_cost"] | (labour is not None)
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
        "credited": float("nan") if is_credit_lost else float(frame["credit_received"].sum()),
    }
    return Costs(
        frame.drop(columns=["is_extra_trip", "has_callback", "callback_minutes"]), assumptions, credit, currency
    )


def why_without_cost(swaps: pd.DataFrame, currency: str) -> str:
    """Why none of these swaps has a known cost, and what to do: a sentence. swaps: rows of Costs.swaps."""
    others = sorted(swaps["other_currency"].dropna().unique())
    if others:
        names = " and ".join(others)
        advice = (
            f'Write currency = "{names}" into settings.toml, or give the prices in {currency}.'
            if len(others) == 1
            else "Give all prices in one currency, and name it in settings.toml."
        )
        return (
            f"The parts are priced in {names}, and the settings count in {currency}: what they cost in {currency} is "
            f"not known. {advice}"
        )
    return (
        "No part cost is on record for these swaps and no labour rate is given: give unit_cost in the parts or part "
        "lines, or labour_cost_per_hour in settings.toml."
    )


def _other_currency(frame: pd.DataFrame, currency: str) -> str:
    n = int(frame["other_currency"].notna().sum())
    names = " and ".join(sorted(frame["other_currency"].dropna().unique()))
    return (
        f"{numeral(n)} of {numeral(len(frame))} swaps {'is' if n == 1 else 'are'} priced in {names}, not in {currency}: what "
        f"{'its part' if n == 1 else 'their parts'} cost in {currency} is not known and left out (currency in "
        "settings.toml says which one is counted)."
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
            f"Assumed: labour at {numeral(settings.labour_cost_per_hour, ',.2f')} {settings.currency} an hour and "
            f"{settings.swap_labour_minutes:.0f} minutes to fit a switch (settings)."
        )
    if settings.trip_cost is None:
        out.append("No cost of a trip was given: trips are left out. Enter trip_cost in the settings.")
    else:
        out.append(f"Assumed: a trip costs {numeral(settings.trip_cost, ',.2f')} {settings.currency} (settings).")
    n_missing, n_list = int(frame["part"].isna().sum()), int(frame["is_list_price"].sum())
    if n_missing:
        has, parts = ("has", "its part counts") if n_missing == 1 else ("have", "their parts count")
        out.append(
            f"{numeral(n_missing)} of {numeral(len(frame))} swaps {has} no part cost on record; {parts} as nothing."
        )
    if n_list:
        out.append(
            f"{numeral(n_list)} swap{' takes' if n_list == 1 else 's take'} the part's cost from the parts list."
        )
    return out
