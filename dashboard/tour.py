"""Three steps for somebody who opens the pages for the first time; once left, this browser does not show them again."""

from __future__ import annotations

import html

import streamlit as st

STEPS = (
    (
        "The sentence first",
        "Every page begins with its answer in a sentence. Below it each figure stands with its range and the number of "
        "cases; a wide range means that little is known yet.",
    ),
    (
        "Doubt a number?",
        "“Show the visits behind it” opens them, and a row opens the visit in full. Words with dots under them explain "
        "themselves when you point at them or reach them with the Tab key.",
    ),
    (
        "Narrow, keep, send",
        "Choose a period, branch, region or kind of appliance at the top. The address changes with it, so a view can be "
        "kept as a bookmark or sent to a colleague. How it was computed stands at the foot of each page.",
    ),
)
COOKIE, SEEN, PLACE = "goodpull_tour", "tour_seen", "tour_step"


def is_due() -> bool:
    """Whether this reader has not left the tour yet: in this session, or in this browser before."""
    if st.session_state.get(PLACE) is not None:
        return True
    return not st.session_state.get(SEEN) and st.context.cookies.get(COOKIE) != SEEN


def show() -> None:
    """The step the reader is at, with the way on and the way out."""
    if st.session_state.pop("tour_just_left", False):
        # Remembered by the browser, for a year; the pages themselves keep nothing about the reader.
        st.html(
            f"<script>document.cookie = '{COOKIE}={SEEN}; path=/; max-age=31536000; SameSite=Lax'</script>",
            unsafe_allow_javascript=True,
        )
    if not is_due():
        return
    place = min(int(st.session_state.get(PLACE) or 0), len(STEPS) - 1)
    title, text = STEPS[place]
    with st.container(key="tour", border=True):
        st.html(
            f'<div role="note" aria-label="How to read these pages"><p class="gp-quiet">How to read these pages, '
            f"{place + 1} of {len(STEPS)}</p><p><strong>{html.escape(title)}.</strong> {html.escape(text)}</p></div>"
        )
        with st.container(horizontal=True):
            if place + 1 < len(STEPS):
                st.button("Next", key="tour_next", on_click=_go_to, args=(place + 1,))
            st.button("Done" if place + 1 == len(STEPS) else "Skip", key="tour_leave", on_click=_leave)


def again() -> None:
    """The way back to it."""
    st.button("Show how to read these pages", key="tour_again", type="tertiary", on_click=_go_to, args=(0,))


def _go_to(place: int) -> None:
    st.session_state[PLACE] = place


def _leave() -> None:
    st.session_state[PLACE] = None
    st.session_state[SEEN] = True
    st.session_state["tour_just_left"] = True
