"""Long work on a page: a bar with words, and a button that stops it at its next step."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager

import streamlit as st

from dashboard import words

STOPPED = "Stopped before it was done. Nothing was changed."
# In the session while work runs; a run that finds it there follows one that was ended midway.
_UNDER_WAY = "work_under_way"


@contextmanager
def bar(title: str) -> Iterator[Callable[[str, float | None], None]]:
    """Gives what tells a step and the share done.

    A click on a button ends the run at its next step, by an exception that is none of Exception; whoever works must
    leave nothing behind then, and must tell no step after the change has come into force.
    """
    place = st.empty()
    with place.container(horizontal=True, vertical_alignment="center", gap="medium"):
        shown = st.progress(0.0, text=title)
        st.button("Stop", key="stop_work", help="Ends this at its next step; nothing is changed.")

    def progress(step: str, done: float | None) -> None:
        shown.progress(min(max(done or 0.0, 0.0), 1.0), text=words.plain(step))

    st.session_state[_UNDER_WAY] = True
    try:
        yield progress
    except Exception:
        del st.session_state[_UNDER_WAY]
        place.empty()
        raise
    del st.session_state[_UNDER_WAY]
    place.empty()


def say() -> None:
    """That the work of the run before was stopped, where it was."""
    if st.session_state.pop(_UNDER_WAY, False):
        st.warning(STOPPED)
