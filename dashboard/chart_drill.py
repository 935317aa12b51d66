"""From a mark in a chart to the visits behind it: by a click, or by keyboard from the list below the chart."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

import altair as alt
import streamlit as st

from dashboard import download, page, words
from dashboard.charts.picture import MARK, Picture

PARAM = "picked"
# How marks stand back while another is chosen.
FADED = 0.35
# What a chosen mark is drawn with where all are pale.
FULL = 0.85


@dataclass(frozen=True)
class Mark:
    """A mark that opens its visits.

    key: its name in the chart's column MARK. label: in the list. told: what is shown, in a sentence without its stop.
    opens: draws what is behind it, with a key for its parts; called only when the mark is chosen.
    """

    key: str
    label: str
    told: str
    opens: Callable[[str], None]


def draw(
    picture: Picture | None, otherwise: str, key: str, title: str, marks: Sequence[Mark], caption: str = ""
) -> None:
    """The chart with its list of marks, and below them what is behind the chosen one. A choice redraws only this part.

    title: of the list. caption: said under the chart; left out with the chart.
    """

    @st.fragment
    def section() -> None:
        if page.is_still_open():
            opened(chart(picture, otherwise, key, title, marks, caption), key)

    section()


def choose(key: str, title: str, marks: Sequence[Mark]) -> None:
    """The list alone, for a table whose rows open their visits."""

    @st.fragment
    def section() -> None:
        if page.is_still_open():
            opened(_listed(key, title, marks, "Choose"), key)

    section()


def chart(
    picture: Picture | None, otherwise: str, key: str, title: str, marks: Sequence[Mark], caption: str = ""
) -> Mark | None:
    """The chart and its list of marks; the chosen one is given back, for `opened` at a place with more room."""
    if picture is None:
        page.draw(None, otherwise, key)
        # What cannot be drawn can still be read.
        return _listed(key, title, marks, "Choose") if marks else None
    known = tuple(mark.key for mark in marks)
    _check(key, known)
    st.altair_chart(
        selectable(picture, st.session_state.get(_start(key))),
        theme=None,
        key=_chart_key(key),
        alt=f"{picture.text} The list below the picture opens the same visits as a click on a mark.",
        width="stretch",
        on_select=partial(_clicked, key, known),
        selection_mode=PARAM,
    )
    if caption:
        st.caption(words.plain(caption))
    with st.container(horizontal=True, gap="small", vertical_alignment="bottom"):
        chosen = _listed(key, title, marks)
        download.picture(picture, key)
    return chosen


def opened(mark: Mark | None, key: str) -> None:
    """What is behind the chosen mark, named in a sentence, with a way to close it."""
    if mark is None:
        return
    with st.container(border=True, key=f"behind_mark_{key}"):
        with st.container(horizontal=True, vertical_alignment="center"):
            st.markdown(f"**{words.plain(mark.told)}.**", width="stretch")
            st.button(
                "Close", key=f"close_mark_{key}", type="tertiary", icon=":material/close:", on_click=_close, args=(key,)
            )
        # A key of its own for each mark, so that a row picked in one table is not picked in the next.
        mark.opens(re.sub(r"\W+", "_", f"{key}_{mark.key}"))


def selectable(picture: Picture, chosen: str | None = None) -> Any:
    """A copy of the chart whose marks can be clicked; the picture itself, and what is exported of it, stays as it is.

    chosen: the mark that stands out from the start.
    """
    copy = picture.chart.copy(deep=True)
    layer = copy.layer[picture.marks]
    # A double click on empty ground takes the choice back; with shift held nothing is added to it.
    picked = alt.selection_point(
        name=PARAM,
        fields=[MARK],
        nearest=picture.is_nearest,
        toggle=False,
        clear="dblclick",
        value=alt.Undefined if chosen is None else [{MARK: chosen}],
    )
    usual = layer.mark.to_dict().get("opacity") if isinstance(layer.mark, alt.MarkDef) else None
    shown = 1.0 if usual is None else float(usual)
    stands_out = (
        alt.condition(picked, alt.value(FULL), alt.value(shown), empty=False)
        if shown < FADED * 2
        else alt.condition(picked, alt.value(shown), alt.value(FADED), empty=True)
    )
    copy.layer[picture.marks] = layer.add_params(picked).encode(opacity=stands_out)
    return copy


def _listed(key: str, title: str, marks: Sequence[Mark], hint: str = "Choose, or click a mark") -> Mark | None:
    """The list of marks; the chosen one, or None. It holds the choice, however it was made."""
    known = {mark.key: mark for mark in marks}
    _check(key, known)
    chosen = st.selectbox(
        title,
        list(known),
        index=None,
        format_func=lambda one: known[one].label if one in known else one,
        key=_box(key),
        placeholder=hint,
        on_change=_anew,
        args=(key,),
        width=340,
    )
    return known.get(chosen) if chosen is not None else None


def _check(key: str, known: Collection[str]) -> None:
    """A choice that is not there any more, after a change of filters or of page, is no choice."""
    if st.session_state.get(_box(key)) not in known:
        st.session_state[_box(key)] = None
        if st.session_state.get(_start(key)) is not None:
            _anew(key)


def _clicked(key: str, known: Collection[str]) -> None:
    """A click in the chart: the list takes over what it chose."""
    picked = st.session_state[_chart_key(key)]["selection"].get(PARAM) or [{}]
    name = picked[0].get(MARK)
    st.session_state[_box(key)] = name if name in known else None


def _close(key: str) -> None:
    st.session_state[_box(key)] = None
    _anew(key)


def _anew(key: str) -> None:
    """Draw the chart anew, so that it shows what was chosen elsewhere, or nothing."""
    st.session_state[_start(key)] = st.session_state.get(_box(key))
    st.session_state[f"turn_{key}"] = _turn(key) + 1


def _start(key: str) -> str:
    return f"start_{key}"


def _turn(key: str) -> int:
    return int(st.session_state.get(f"turn_{key}", 0))


def _box(key: str) -> str:
    return f"mark_of_{key}"


def _chart_key(key: str) -> str:
    return f"{key}_{_turn(key)}"
