"""One visit in the address, so that it can be sent: `?visit=…` shows it at the top of the page, to whoever may see it."""

from __future__ import annotations

import streamlit as st

from dashboard import in_address, roles, visit_sheet, words

PARAM = "visit"
# In the session: the visit of the address with the place it was opened at; what is open at each place; the places that
# this run has drawn.
OPENED, PLACES, DRAWN = "visit_opened", "visit_places", "visit_places_drawn"


def show() -> None:
    """Above the page: the visit the address asks for, or why it is not shown. Nothing where the reader opened it below."""
    st.session_state[DRAWN] = set()
    asked = st.query_params.get(PARAM)
    if not asked or st.session_state.get(OPENED, ("",))[0] == asked:
        return
    with st.container(key="visit_from_address"):
        if is_open(asked):
            visit_sheet.show(asked, "address")
        else:
            whose = " of yours" if roles.require_somebody().role == "technician" else ""
            st.markdown(
                words.plain(f"No visit {in_address.shortened(asked)}{whose} is on record; the address asks for it.")
            )
        st.button("Close this visit", key="close_visit", type="tertiary", icon=":material/close:", on_click=_forget)


def settle() -> None:
    """After the page: what was opened here and is not there any more, such as in a window now closed, leaves the address."""
    places, drawn = st.session_state.get(PLACES, {}), st.session_state.get(DRAWN, set())
    st.session_state[PLACES] = {place: visit_id for place, visit_id in places.items() if place in drawn}
    kept = st.session_state.get(OPENED)
    if kept is not None and kept[1] not in drawn:
        if st.query_params.get(PARAM) == kept[0]:
            _forget()
        else:
            del st.session_state[OPENED]
    # Another that is still open takes its place, the one opened last.
    still_open = list(st.session_state[PLACES].items())
    if OPENED not in st.session_state and PARAM not in st.query_params and still_open:
        place, visit_id = still_open[-1]
        st.session_state[OPENED], st.query_params[PARAM] = (visit_id, place), visit_id


def is_open(visit_id: str) -> bool:
    """Whether this visit is on record and the reader may see it. To a technician another's is the same as none."""
    try:
        return bool(visit_sheet.visit_of(visit_id))
    except roles.NotAllowed:
        return False


def note(visit_id: str | None, place: str) -> None:
    """Write the visit opened at this place into the address, or take it out again where none is open there any more.

    Where visits are open at several places, the one opened last stands in the address.
    """
    places, kept = st.session_state.setdefault(PLACES, {}), st.session_state.get(OPENED)
    if visit_id is None:
        places.pop(place, None)
        if kept is not None and kept[1] == place:
            _forget()
        return
    is_new = places.get(place) != visit_id
    if is_new:
        # At the end: the places stand in the order in which something was opened there.
        places.pop(place, None)
        places[place] = visit_id
    st.session_state.setdefault(DRAWN, set()).add(place)
    if is_new:
        st.session_state[OPENED] = (visit_id, place)
    if st.session_state.get(OPENED) == (visit_id, place) and st.query_params.get(PARAM) != visit_id:
        st.query_params[PARAM] = visit_id


def opened(visit_id: str | None, place: str) -> None:
    """The visit opened at this place in full, and in the address; nothing where none is."""
    note(visit_id, place)
    if visit_id is not None:
        visit_sheet.show(visit_id, place)


def _forget() -> None:
    st.session_state.pop(OPENED, None)
    st.query_params.pop(PARAM, None)
