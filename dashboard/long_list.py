"""A list longer than a page has room for: a part at a time, in an order nobody can change, all of it as a file."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import pandas as pd
import streamlit as st

from dashboard import download, page, reader_choice, shown_cells, words

# Lines of one part.
SHOWN = 25


def show(
    columns: Sequence[tuple[str, str]],
    body: Sequence[Sequence[Any]],
    key: str,
    otherwise: str = "",
    order: str = "",
    n_shown: int = SHOWN,
    export: Callable[[], pd.DataFrame] | None = None,
) -> None:
    """The lines as text, at most n_shown at a time, with how many there are in all. A choice redraws this list alone.

    columns, body: see page.rows; body holds every line, in the order it is shown. order: that order in words.
    export: gives the file's table where it holds more than the lines, such as numbers in full.
    """

    parts(columns, body, key, otherwise, order, n_shown)
    if body:
        separators = reader_choice.separators()
        with st.container(horizontal=True, gap="small"):
            download.table(export or (lambda: shown_cells.shown_frame(columns, body, separators)), key, key)


def parts(
    columns: Sequence[tuple[str, str]],
    body: Sequence[Sequence[Any]],
    key: str,
    otherwise: str = "",
    order: str = "",
    n_shown: int = SHOWN,
) -> None:
    """The same without its file, for a table that has one already."""

    @st.fragment
    def section() -> None:
        if page.is_still_open():
            _drawn(columns, body, key, otherwise, order, n_shown)

    section()


def _drawn(
    columns: Sequence[tuple[str, str]],
    body: Sequence[Sequence[Any]],
    key: str,
    otherwise: str,
    order: str,
    n_shown: int,
) -> None:
    starts = list(range(0, len(body), n_shown)) or [0]
    box = f"part_{key}"
    # A part that is not there any more, after a change of filters, is none.
    if st.session_state.get(box, 0) not in starts:
        st.session_state[box] = 0
    start = st.session_state.get(box, 0)
    page.rows(columns, body[start : start + n_shown], otherwise, is_exported=False)
    if len(starts) == 1:
        return
    with st.container(horizontal=True, gap="small", vertical_alignment="center"):
        st.caption(words.plain(told(start, n_shown, len(body), order)), width="content")
        st.selectbox(
            "Lines shown",
            starts,
            format_func=lambda one: span(one, n_shown, len(body)),
            key=box,
            label_visibility="collapsed",
            width=150,
        )


def span(start: int, n_shown: int, n: int) -> str:
    """The lines of a part by their numbers. start: lines before it."""
    return f"{words.count(start + 1)} to {words.count(min(start + n_shown, n))}"


def told(start: int, n_shown: int, n: int, order: str = "") -> str:
    """Which lines are shown, of how many, in which order."""
    return f"Lines {span(start, n_shown, n)} of {words.count(n)}{f', {order}' if order else ''}."
