"""What every place to enter something shares: who enters it, that it was kept, and bringing it into the figures."""

from __future__ import annotations

import streamlit as st

from dashboard import roles, stoppable, store_access, words
from pipelines.build import is_of_another_version
from pipelines.errors import GoodpullError
from pipelines.own_records import n_waiting
from pipelines.own_work import OwnWork, new_id

NAME_KEY, TOLD_KEY = "entered_by", "own_work_told"


def own() -> OwnWork:
    """The own work of the home the pages show. Raises NotAllowed where the reader may not enter anything."""
    roles.require_entry()
    return OwnWork(store_access.home())


def who(key: str) -> str:
    """Who enters: the name they signed in with, else one they type once a session."""
    signed_in = st.user.get("email") or st.user.get("name") if st.user.get("is_logged_in") else None
    if signed_in:
        return str(signed_in)
    name = st.text_input(
        "Your name", value=st.session_state.get(NAME_KEY, ""), key=f"who_{key}", max_chars=100, width=340
    )
    if name.strip():
        # Another form on the page, still blank, takes nothing back.
        st.session_state[NAME_KEY] = name
    return name


def form_of(key: str) -> str:
    """Key of the form now open: another after each entry, so that a second click on the old one meets nothing."""
    return f"{key}_{st.session_state.get(f'turn_{key}', 0)}"


def form_id(form: str) -> str:
    """The id of what a form is about to enter: the same however often it is sent."""
    return st.session_state.setdefault(f"id_{form}", new_id())


def kept(key: str, told: str) -> None:
    """Say at the next run that it was kept, and open the form anew."""
    st.session_state[f"turn_{key}"] = st.session_state.get(f"turn_{key}", 0) + 1
    st.session_state[TOLD_KEY] = told


def waiting() -> None:
    """That something was kept, and what the figures do not include yet, with the way to bring it in."""
    told = st.session_state.pop(TOLD_KEY, None)
    if told:
        st.success(words.plain(told))
    if store_access.generation() is None or not roles.may_enter():
        return
    n = n_waiting(store_access.reader(), own())
    if not n:
        return
    with st.container(border=True):
        verb = "is" if n == 1 else "are"
        st.markdown(f"**{words.plural(n, 'entry', 'entries')} {verb} kept, but {verb} not in the figures yet.**")
        if st.button("Bring into the figures", key="take_in", type="primary"):
            take_in()


def take_in() -> None:
    """Make a new generation that includes everything entered; the pages move on to it."""
    from pipelines.loading import load

    roles.require_entry()
    try:
        with stoppable.bar("Taking in what was entered") as progress:
            load(store_access.home(), [], settings=store_access.settings(), progress=progress)
    except GoodpullError as error:
        st.error(words.plain(error))
        return
    st.session_state[TOLD_KEY] = "The figures include everything entered."
    st.rerun()


def is_up_to_date() -> bool:
    """Whether the records in force were built by this version; offers to build them anew where they were not."""
    if store_access.generation() is None or _is_ours(store_access.key()):
        return True
    st.title("One step first")
    st.markdown("These records were built by an older version of the program. Building anew changes none of them.")
    if not roles.may_enter():
        st.markdown("Ask the service manager to open the pages once.")
        return False
    if st.button("Build anew", key="build_anew", type="primary"):
        take_in()
    return False


@st.cache_data(max_entries=4, show_spinner=False)
def _is_ours(store_key: str) -> bool:
    return not is_of_another_version(store_access.reader())
