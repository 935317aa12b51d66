"""What the pages are narrowed to: period, branch, region, kind of appliance; held in the address."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pandas as pd
import streamlit as st

from dashboard import code_names, exchange, reader_choice, roles, store_access, tour, words
from dashboard.home_folder import DEMO_MARKER
from models.figures.periods import PERIODS, period_dates
from models.figures.scope import Scope
from models.figures.sites import draft_unit

ALL = "All"
PERIOD_CHOICES = ("All records", *PERIODS, "Chosen dates")
# What each filter stands at where nothing is narrowed. The dates are asked for where they are to be chosen only.
USUAL = {"period": PERIOD_CHOICES[0], "branch": ALL, "region": ALL, "appliance": ALL}

_EXTENT = "SELECT min(arrived_on) AS first_on, max(arrived_on) AS last_on, count(*) AS n_visits FROM visit"
_CHOICES = """
SELECT 'branch' AS kind, branch AS choice FROM visit WHERE branch IS NOT NULL GROUP BY ALL
UNION ALL SELECT 'region', region FROM visit WHERE region IS NOT NULL GROUP BY ALL
UNION ALL SELECT 'appliance', appliance_kind FROM visit WHERE appliance_kind IS NOT NULL GROUP BY ALL
ORDER BY ALL
"""
# On a page that is not narrowed the filters are neither seen nor reached by keyboard.
_OUT_OF_SIGHT = f"<style>{', '.join(f'.st-key-{key}' for key in ('dates', *USUAL))} {{display: none;}}</style>"
# Records whose newest visit is older than this are not about this week.
STALE_DAYS = 14
_NEWEST_LOAD = """
SELECT max(loaded_at) AS loaded_at,
    (SELECT count(DISTINCT (load_id, coalesce(row_no, -line_no))) FROM held_back_open) AS n_held_back
FROM load
"""


def show(is_narrowing: bool) -> None:
    """The row of filters, and the line that says how fresh the records are. Remembers the scope for the page."""
    st.session_state["scope"] = Scope()
    if store_access.generation() is None:
        return
    extent = store_access.row(_EXTENT)
    with st.container(key="scope", horizontal=True, gap="small", vertical_alignment="bottom"):
        # Drawn on every page, and in the same place: what is not, or moves, falls out of the address.
        chosen = _chosen(extent) if extent.get("n_visits") else Scope()
        if is_narrowing:
            st.session_state["scope"] = chosen
        st.html(
            f'<p class="gp-quiet">{freshness(extent, dt.date.today())}</p>{"" if is_narrowing else _OUT_OF_SIGHT}',
            width="stretch" if not is_narrowing else 330,
        )
        settings = store_access.settings()
        unit = draft_unit(settings.default_pressure_unit)[0]
        reader_choice.show(unit, settings.currency, exchange.offered(), tour.again)
        if code_names.is_a_choice():
            code_names.switch()
    tour.show()


def scope() -> Scope:
    """The scope chosen for this run."""
    return st.session_state.get("scope", Scope())


def choices(kind: str) -> list[str]:
    """What the pages can be narrowed to, as it stands on record. kind: branch, region or appliance."""
    table = store_access.frame(_CHOICES)
    return [str(one) for one in table.loc[table["kind"] == kind, "choice"]]


def in_words(chosen: Scope) -> str:
    """The scope in words; empty for the whole company."""
    parts = []
    if chosen.start_on:
        parts.append(f"from {words.date(chosen.start_on)}")
    if chosen.end_on:
        parts.append(f"until {words.date(chosen.end_on)}" if not chosen.start_on else f"to {words.date(chosen.end_on)}")
    if chosen.branch:
        parts.append(f"branch {chosen.branch}")
    if chosen.region:
        parts.append(f"region {chosen.region}")
    if chosen.appliance_kind:
        parts.append(words.label(chosen.appliance_kind))
    return ", ".join(parts).replace(", to ", " to ")


def _chosen(extent: dict[str, Any]) -> Scope:
    first_on, last_on = (pd.Timestamp(extent[name]).date() for name in ("first_on", "last_on"))
    period = st.selectbox("Period", PERIOD_CHOICES, key="period", bind="query-params", width=210)
    start_on, end_on = period_dates(period, first_on, last_on, store_access.settings().season_starts_month)
    if period == "Chosen dates":
        dates = st.date_input(
            "From, to",
            (first_on, last_on),
            first_on,
            last_on,
            key="dates",
            bind="query-params",
            format="YYYY-MM-DD",
            width=240,
        )
        if len(dates) == 2:
            start_on, end_on = dates
    picked = {}
    for kind, title in (("branch", "Branch"), ("region", "Region"), ("appliance", "Appliance")):
        options = [ALL, *choices(kind)]
        if len(options) > 2:
            value = st.selectbox(
                title,
                options,
                key=kind,
                bind="query-params",
                width=170,
                format_func=lambda text: text.replace("_", " "),
            )
            picked[kind] = None if value == ALL else value
    return Scope(start_on, end_on, picked.get("branch"), picked.get("region"), picked.get("appliance"))


def days_old(last_on: Any, today: dt.date) -> int | None:
    """Days since the newest visit where they are more than a page about this week can bear, else None."""
    days = (today - pd.Timestamp(last_on).date()).days
    return days if days > STALE_DAYS else None


def is_stale() -> bool:
    """Whether the records end so long ago that "this week" is not the week of today."""
    last_on = store_access.row(_EXTENT).get("last_on")
    return last_on is not None and days_old(last_on, dt.date.today()) is not None


def freshness(extent: dict[str, Any], today: dt.date) -> str:
    """The line that says how many visits there are, from when, and how old, as HTML.

    extent: n_visits, first_on, last_on.
    """
    if not extent.get("n_visits"):
        return "The store holds no visits."
    load = store_access.row(_NEWEST_LOAD)
    parts = [
        *([words.plural(extent["n_visits"], "visit")] if roles.require_somebody().role != "technician" else []),
        f"{words.date(extent['first_on'])} to {words.date(extent['last_on'])}",
        f"loaded {words.date(load.get('loaded_at'))}",
    ]
    days = days_old(extent["last_on"], today)
    if days is not None:
        parts.append(f"<strong>the newest visit is {words.count(days)} days old</strong>")
    if load.get("n_held_back") and roles.may_open("records"):
        parts.append(f"{words.plural(load['n_held_back'], 'row')} held back (see Records)")
    if (store_access.home() / DEMO_MARKER).exists():
        parts.insert(0, "<strong>Invented demo fleet</strong>")
    return " · ".join(parts)
