"""The visits behind a figure: a table to read, one visit in full, and an export."""

from __future__ import annotations

from collections.abc import Callable, Collection
from typing import Any

import pandas as pd
import streamlit as st

from dashboard import (
    code_names,
    download,
    figures_access,
    long_list,
    number_cells,
    page,
    store_access,
    visit_link,
    words,
)
from dashboard.frame_text import FrameText, in_currency, with_currency
from dashboard.glossary import help_for
from models.figures.sites import draft_unit

# Most rows shown on the page, and most rows an export holds.
ROWS_SHOWN = 500
ROWS_EXPORTED = 100_000
# Rows of one part where they stand one under the other.
NARROW_SHOWN = 6

# Gives the newest visits, at most as many as asked for.
Behind = Callable[[int | None], pd.DataFrame]

TITLES = {
    "visit_id": "Visit",
    "visit_on": "Date",
    "site_id": "Site",
    "appliance_key": "Appliance",
    "technician_id": "Technician",
    "branch": "Branch",
    "symptom": "Symptom",
    "cause_code": "Cause recorded",
    "tier": "Root cause",
    "evidence": "Readings say",
    "verdict": "Bench",
    "part_number": "Part",
    "callback_days": "Came back after, days",
    "missing": "Missing",
    "days": "Days between",
    "first_visit_id": "First visit",
    "first_evidence": "Readings the first time",
    "notes": "Notes",
}
IN_WORDS = {
    "symptom": {},
    "cause_code": {},
    "evidence": words.EVIDENCE_SHORT,
    "tier": words.TIER_WORDS,
    "verdict": words.VERDICT_WORDS,
    "first_evidence": words.EVIDENCE_SHORT,
}
# Columns in pascal, told in the company's unit, which stands in their titles. Those of the first visit: of a second one.
PRESSURES = {
    "margin_pa": "Draft margin",
    "first_draft_pa": "Draft the first time",
    "first_make_pa": "Make point the first time",
    "first_margin_pa": "Margin the first time",
}


def open_dialog(title: str, key: str, behind: Behind, n: int | None = None) -> None:
    """The visits in a window over the page. n: how many there are in all, where it is known."""

    @st.dialog(title, width="large")
    def window() -> None:
        if page.is_still_open():
            show(behind, key, n=n)

    window()


def readable(frame: pd.DataFrame, name_of: Callable[[object], str], unit: str | None = None) -> pd.DataFrame:
    """The frame with codes in words, technicians as this reader may see them, and titles for names.

    unit: the company's unit of pressure, for the columns of PRESSURES.
    """
    shown = frame.copy()
    title, per, digits = draft_unit(unit)
    titles = TITLES | {name: f"{told}, {title}" for name, told in PRESSURES.items()}
    for name in PRESSURES.keys() & shown.columns:
        shown[name] = (shown[name].astype(float) / per).round(digits)
    for name, table in IN_WORDS.items():
        if name in shown:
            shown[name] = ["" if words.is_missing(code) else words.in_words(code, table) for code in shown[name]]
    if "technician_id" in shown:
        shown["technician_id"] = [name_of(one) for one in shown["technician_id"]]
    return shown.rename(columns={name: titles.get(name, words.label(name).capitalize()) for name in shown.columns})


def show(behind: Behind, key: str, otherwise: str = "No visits.", n: int | None = None) -> None:
    """The table, its export, and the visit that is picked in full, whose id then stands in the address.

    n: how many there are in all, where they are not simply the newest.
    """
    frame = behind(ROWS_SHOWN)
    if frame.empty:
        st.markdown(words.plain(otherwise))
        return
    name_of, unit = code_names.naming(), store_access.draft_unit()
    shown = readable(frame, name_of, unit)
    first = "newest" if n is None else "first"
    if n is None and len(frame) == ROWS_SHOWN and isinstance(behind, figures_access.Counted):
        n = behind.n()
    above = _how_many(len(frame), n, first)

    def export() -> pd.DataFrame:
        return readable(behind(ROWS_EXPORTED), name_of, unit)

    # Beside the words, not at the right edge: the table's own tools open there.
    with st.container(horizontal=True, vertical_alignment="center"):
        st.markdown(f"{above}. Pick a row to see the visit in full.", width="content")
        download.table(export, f"visits_{key}", key)
    with st.container(key=f"on_wide_{key}"):
        picked = st.dataframe(
            number_cells.shown(shown, _written(draft_unit(unit)[2])),
            hide_index=True,
            height="auto",
            placeholder="",
            key=f"table_{key}",
            on_select="rerun",
            selection_mode="single-row",
            column_config=_formats(shown),
            column_order=[title for title in WIDTHS if title in shown.columns],
            alt=f"Table of {words.plural(len(shown), 'visit')}",
        )
    chosen = picked.selection.rows if picked else []
    one = str(frame["visit_id"].iloc[chosen[0]]) if chosen and chosen[0] < len(frame) else None
    visit_link.opened(one or _narrow(shown, key), key)


def _narrow(shown: pd.DataFrame, key: str) -> str | None:
    """The same visits one under the other, for a window too narrow for the table; the visit chosen to be read in full."""
    text = FrameText(shown[[title for title in WIDTHS if title in shown.columns and title not in _WIDE_ONLY]])
    with st.container(key=f"on_narrow_{key}"):
        one = st.selectbox(
            "Visit to read in full",
            shown["Visit"].drop_duplicates().astype(str).tolist(),
            index=None,
            key=f"narrow_visit_{key}",
            placeholder="Choose a visit",
        )
        long_list.parts(text.columns(), text, f"narrow_{key}", n_shown=NARROW_SHOWN)
    return one


def _how_many(n_here: int, n: int | None, first: str = "first") -> str:
    """How many visits are shown, and of how many. n: all of them, where it is known. first: what the first are."""
    if n_here < ROWS_SHOWN or n == n_here:
        return words.plural(n_here, "visit")
    of_all = f" of {words.count(n)}" if n is not None else ""
    holds = "them all" if n is not None and n <= ROWS_EXPORTED else f"up to {words.count(ROWS_EXPORTED)}"
    return f"The {first} {words.count(n_here)}{of_all} visits; the export holds {holds}"


# Columns on the page with their widths in pixels, so that the table fits 1280 without scrolling; exports hold all.
WIDTHS = {
    "Date": 88,
    "Visit": 78,
    "Site": 74,
    "Technician": 150,
    "Cause recorded": 128,
    "Root cause": 110,
    "Readings say": 106,
    "Draft margin, in. w.c.": 104,
    "Draft margin, Pa": 70,
    "Bench": 66,
    "Came back after, days": 76,
    "Missing": 150,
    "Days between": 80,
    "First visit": 78,
    "Readings the first time": 110,
    "Margin the first time, in. w.c.": 104,
    "Margin the first time, Pa": 104,
    "Notes": 190,
}


# What a narrow window leaves to the visit in full.
_WIDE_ONLY = ("Notes", "Readings say", "Draft margin, in. w.c.", "Draft margin, Pa")

# Columns whose title is shorter than the term it stands for.
_HELP = {"Bench": "bench result"}


def _help(title: str | None) -> str | None:
    return help_for(_HELP.get(title or "", title or ""))


def _written(margin_digits: int) -> dict[str, Callable[[Any], str]]:
    """Column of numbers -> what writes its cells."""
    margin = number_cells.fixed(margin_digits)
    return {
        **{f"{told}, {unit}": margin for told in PRESSURES.values() for unit in ("Pa", "in. w.c.")},
        "Came back after, days": words.count,
        "Days between": words.count,
    }


def _formats(shown: pd.DataFrame) -> dict[str, Any]:
    def margin(title: str) -> Callable[[int], Any]:
        return lambda width: st.column_config.NumberColumn(title, width=width, help=help_for("draft margin"))

    special = {
        "Date": lambda width: st.column_config.DateColumn(format="D MMM YYYY", width=width),
        "Draft margin, Pa": margin("Margin, Pa"),
        "Draft margin, in. w.c.": margin("Margin, in. w.c."),
        "Came back after, days": lambda width: st.column_config.NumberColumn(
            "Back, days", width=width, help=help_for("callback")
        ),
    }
    for unit in ("Pa", "in. w.c."):
        special[f"{PRESSURES['first_margin_pa']}, {unit}"] = margin(f"Margin then, {unit}")
    return {
        title: special.get(
            title,
            lambda width, title=title: st.column_config.TextColumn(width=width, help=_help(title)),
        )(width)
        for title, width in WIDTHS.items()
        if title in shown.columns
    }


def plain_table(
    frame: pd.DataFrame,
    key: str,
    shares: Collection[str] = (),
    amounts: Collection[str] = (),
    currency: str = "",
    missing: str = "",
    whole: Callable[[], pd.DataFrame] | None = None,
    n: int | None = None,
) -> None:
    """A table of groups with its export; in a narrow window its rows stand one under the other.

    shares: columns shown in percent. amounts: columns of money, whole units. missing: what stands for a missing value.
    whole: gives what the file holds, where the table is only the first of it. n: how many rows that are.
    """
    if n is not None and n > len(frame):
        st.caption(f"The first {words.count(len(frame))} of {words.count(n)} rows; the export holds them all.")
    shown = frame.assign(**{name: 100 * frame[name].astype(float) for name in shares})
    config: dict[str, Any] = {name: st.column_config.Column(help=_help(name)) for name in frame.columns if _help(name)}
    config |= {
        name: st.column_config.DateColumn(format="D MMM YYYY", help=_help(name))
        for name in frame.columns
        if pd.api.types.is_datetime64_any_dtype(frame[name])
        and frame[name].dropna().dt.normalize().eq(frame[name].dropna()).all()
    }
    config |= {name: st.column_config.NumberColumn(in_currency(name, currency), help=_help(name)) for name in amounts}
    written = dict.fromkeys(shares, number_cells.fixed(0, "%")) | dict.fromkeys(amounts, words.count)
    with st.container(key=f"on_wide_{key}"):
        st.dataframe(
            number_cells.shown(shown, written),
            hide_index=True,
            height="auto",
            placeholder=missing,
            column_config=config,
            key=f"table_{key}",
            alt=f"Table of {words.plural(len(frame), 'row')}",
        )
    with st.container(key=f"on_narrow_{key}"):
        text = FrameText(frame, shares, amounts, currency, missing=missing)
        long_list.parts(text.columns(), text, f"narrow_{key}", n_shown=NARROW_SHOWN)
    with st.container(horizontal=True, gap="small"):
        download.table(lambda: with_currency(whole() if whole else frame, amounts, currency), key, key)
