"""A few visits as a list of text, on the page and on paper; more of them, and each in full, one click away."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pandas as pd
import streamlit as st

from dashboard import code_names, page, store_access, visit_table, words
from models.figures.sites import draft_unit

# Most visits of a list that stands on the page itself.
SHOWN = 6


def show(
    frame: pd.DataFrame,
    key: str,
    otherwise: str,
    n: int,
    behind: visit_table.Behind,
    cut: str = "",
    rows_shown: int = SHOWN,
) -> None:
    """A few visits as a list on the page; more of them, and each in full, one click away.

    frame: the first of n visits. behind: gives more of them. cut: said where only some are shown.
    """
    columns, body = lines(frame.head(rows_shown), code_names.naming())
    page.rows(columns, body, otherwise, is_exported=False)
    if not frame.empty:
        if cut:
            st.caption(words.plain(f"Shown are {cut}."))
        label = f"Open these, and {words.count(n - rows_shown)} more" if n > rows_shown else "Open these visits"
        if st.button(label, key=f"brief_{key}", type="tertiary", icon=":material/list:"):
            visit_table.open_dialog("Visits", f"brief_{key}", behind, n)


def lines(frame: pd.DataFrame, name_of: Callable[[object], str]) -> tuple[list[tuple[str, str]], list[tuple[str, ...]]]:
    """A few visits as text, on the page and on paper: the columns there are, with their kind, and a line for each visit."""
    title, per, digits = draft_unit(store_access.draft_unit())
    columns = {
        "visit_on": "Date",
        "visit_id": "Visit",
        "site_id": "Site",
        "technician_id": "Technician",
        "cause_code": "Cause",
        "missing": "Missing",
        "days": "Days between",
        "first_visit_id": "First visit",
        "first_evidence": "Readings the first time",
        "first_gauge": f"Draft, make point then, {title}",
        "tier": "Root cause",
    }
    if "first_draft_pa" in frame:
        both = zip(frame["first_draft_pa"], frame["first_make_pa"], strict=True)
        frame = frame.assign(first_gauge=[_gauge(draft, make, per, digits) for draft, make in both])
    names = [name for name in columns if name in frame.columns]
    body = [tuple(_cell(name, line[name], name_of) for name in names) for line in frame.to_dict("records")]
    return [(columns[name], "text") for name in names], body


def _gauge(draft_pa: Any, make_pa: Any, per: float, digits: int) -> str:
    """Draft and make point side by side; blank where neither is known."""
    if words.is_missing(draft_pa) and words.is_missing(make_pa):
        return ""
    return ", ".join(
        words.NOT_KNOWN if words.is_missing(one) else words.number(one / per, digits) for one in (draft_pa, make_pa)
    )


def _cell(name: str, value: Any, name_of: Callable[[object], str]) -> str:
    if words.is_missing(value):
        return ""
    if name == "visit_on":
        return words.date(pd.Timestamp(value))
    if name == "technician_id":
        return name_of(value)
    if name == "days":
        return words.count(value)
    return words.in_words(value, visit_table.IN_WORDS[name]) if name in visit_table.IN_WORDS else str(value)
