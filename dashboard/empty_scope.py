"""What to do where the filters leave nothing to show: how to widen them, and a button that clears them."""

from __future__ import annotations

import streamlit as st

from dashboard import scope_bar, words
from models.figures.scope import Scope


def wider(scope: Scope) -> str:
    """How to see more, by the filters that are chosen; empty for the whole company."""
    ways = ["a longer period"] if scope.start_on is not None or scope.end_on is not None else []
    chosen = (("Branch", scope.branch), ("Region", scope.region), ("Appliance", scope.appliance_kind))
    ways += [f"{scope_bar.ALL} under {title}" for title, choice in chosen if choice is not None]
    return f"Choose {', or '.join(ways)}." if ways else ""


def show() -> None:
    """The sentence and the button, where the page is narrowed at all."""
    told = wider(scope_bar.scope())
    if not told:
        return
    with st.container(horizontal=True, gap="small", vertical_alignment="center"):
        st.markdown(words.plain(told), width="content")
        st.button("Clear the filters", key="clear_filters", icon=":material/filter_alt_off:", on_click=_clear)


def _clear() -> None:
    # Bound to the address, which follows what is set here.
    for key, usual in scope_bar.USUAL.items():
        if key in st.session_state:
            st.session_state[key] = usual
