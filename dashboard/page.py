"""What every page is put together from: the answer, the picture, the next step, how it was computed."""

from __future__ import annotations

import html
import logging
import re
from collections.abc import Callable, Sequence
from typing import Any

import pandas as pd
import streamlit as st

from dashboard import download, notices, roles, store_access, theme, words
from dashboard.charts.picture import Picture
from dashboard.glossary import GLOSSARY, with_terms
from pipelines.errors import GoodpullError

# Most characters of a cell in a text table; the whole of it is in the export.
LONGEST_CELL = 400

WAITING = "Being worked out for these filters; what else stands on this page already holds for them."

UNUSABLE = "The list of people cannot be used, so nothing is shown. Whoever started the pages sees the reason there."

log = logging.getLogger("goodpull")


def colours() -> theme.Palette:
    """The palette of the reader's theme."""
    return theme.palette(st.context.theme.type)


def run(chosen: Any, first: Callable[[], None]) -> None:
    """Run a page. What a person can put right is said in words; anything else goes to the log, and the page says so.

    first: draws what stands above the page.
    """
    st.session_state[roles.SHOWN] = chosen.url_path or roles.first_page(roles.require_somebody().role)
    try:
        first()
        chosen.run()
    except GoodpullError as error:
        _refused(error)
    except Exception:
        log.exception("page %s", chosen.title)
        st.error(
            "This page could not be drawn. The records are untouched; the other pages still work. "
            "What went wrong stands in the window the program was started from."
        )


def is_true(column: pd.Series) -> pd.Series:
    """A column of flags as plain booleans; not known counts as no."""
    return column.astype("boolean").fillna(False).astype(bool)


def has_records() -> bool:
    """Whether there is something to show; says what to do when there is not."""
    if store_access.generation() is None:
        notices.nothing_yet()
        return False
    return True


def answer(text: str) -> None:
    """The answer in a sentence, at the top of the page."""
    with st.container(key="answer"):
        # Escaped for Markdown; what is marked in it is our own words.
        st.markdown(with_terms(words.plain(text)), unsafe_allow_html=True)


def told(text: str) -> None:
    """A sentence of ours with the terms of the glossary marked, each explained on hover and on focus."""
    st.markdown(with_terms(words.plain(text)), unsafe_allow_html=True)


def draw(picture: Picture | None, otherwise: str, key: str) -> None:
    """A chart with its text alternative, or an honest sentence in its place."""
    if picture is None:
        st.markdown(words.plain(otherwise))
        return
    st.altair_chart(picture.chart, theme=None, key=key, alt=picture.text, width="stretch")
    download.picture(picture, key)


def rows(
    columns: Sequence[tuple[str, str]],
    body: Sequence[Sequence[Any]],
    otherwise: str,
    caption: str = "",
    is_exported: bool = True,
) -> None:
    """A short table as text. columns: (title, 'text' or 'number'). Cells are escaped; nothing in them is markup.

    is_exported: with the table as a file; not needed where the same rows can be exported elsewhere on the page.
    """
    if not body:
        st.markdown(words.plain(otherwise))
        return
    body = [[words.told(cell) if isinstance(cell, str) else cell for cell in line] for line in body]
    kinds = [' class="gp-num"' if kind == "number" else "" for _, kind in columns]
    head = "".join(
        f'<th scope="col"{kind}>{with_terms(html.escape(title))}</th>'
        for (title, _), kind in zip(columns, kinds, strict=True)
    )
    lines = "".join(
        "<tr>"
        + "".join(
            f'<td{kind} data-title="{html.escape(title)}">{_cell(cell)}</td>'
            for cell, kind, (title, _) in zip(line, kinds, columns, strict=True)
        )
        + "</tr>"
        for line in body
    )
    above = (
        f"<caption class='gp-quiet' style='text-align:left'>{html.escape(words.told(caption))}</caption>"
        if caption
        else ""
    )
    has_titles = any(title for title, _ in columns)
    top = f"<thead><tr>{head}</tr></thead>" if has_titles else ""
    st.html(f'<table class="gp-list">{above}{top}<tbody>{lines}</tbody></table>')
    if has_titles and is_exported:
        download.shown_table(columns, body, caption)


def _cell(cell: Any) -> str:
    """A cell as HTML text: nothing for a missing value, markup escaped, long unbroken text given places to break."""
    text = "" if words.is_missing(cell) else str(cell)
    text = text if len(text) <= LONGEST_CELL else text[:LONGEST_CELL] + "…"
    return "".join(
        "<wbr>".join(html.escape(piece) for piece in re.findall(r".{1,28}", word, re.DOTALL))
        for word in re.split(r"( +)", text)
    )


def waiting() -> Any:
    """A place that says its figures are being worked out, to be filled with `place.container()` when they are."""
    place = st.empty()
    place.html(f'<div class="gp-card gp-unknown gp-waiting" role="status"><p>{WAITING}</p></div>')
    return place


def next_steps(steps: Sequence[str]) -> None:
    """What to do next, as a short list."""
    st.header("What to do next")
    st.markdown("\n".join(f"- {words.plain(step)}" for step in steps))


def how_computed(text: str, terms: Sequence[str] = ()) -> None:
    """How the page's figures were computed, one click away, with the terms it uses."""
    with st.expander("How this was computed", key="how_computed"):
        st.markdown(words.plain(text))
        for term in terms:
            st.markdown(f"**{words.plain(term)}.** {words.plain(GLOSSARY[term])}")
        if roles.may_open("method"):
            st.page_link("views/method.py", label="All definitions, settings, sources and limits: Method")


def is_still_open() -> bool:
    """Whether the reader may still see the page shown; for what is redrawn without it. Says so when not."""
    try:
        roles.guard(st.session_state[roles.SHOWN])
    except GoodpullError as error:
        _refused(error)
        return False
    return True


def _refused(error: GoodpullError) -> None:
    """Log it and tell the reader. What is wrong with the list of people may name people, so it stands in the log only."""
    log.warning("%s", error)
    if isinstance(error, roles.PeopleError):
        st.error(UNUSABLE)
    else:
        st.warning(words.plain(error))


def lazily(title: str, key: str, content: Callable[[], None]) -> None:
    """A section that is only worked out when it is opened; opening redraws that section alone."""

    @st.fragment
    def section() -> None:
        if not is_still_open():
            return
        opened = st.expander(title, key=key, on_change="rerun")
        with opened:
            if opened.open:
                content()

    section()
