"""Coaching sessions: the log, with what was entered here and is not in the figures yet, and the form to write one down."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

import pandas as pd
import streamlit as st

from dashboard import code_names, lookups, own_entry, roles, store_access, words
from models.figures.scope import Scope
from pipelines.contract.codes import TOPIC
from pipelines.contract.tables import TABLE_BY_NAME
from pipelines.errors import GoodpullError
from pipelines.own_entries import enter_coaching_session, today
from pipelines.own_work import Entry, OwnWork

COUNTS, COMES, LEAVES = "yes", "entered, comes in with the next load", "taken back, leaves with the next load"
LONGEST_REMARK = next(one.longest for one in TABLE_BY_NAME["coaching_sessions"].fields if one.name == "remark")
TOLD = (
    "It stands in the coaching log here and on the technician's own sheet, who can read the remark. From the next load on, the "
    "months after their first session are compared with those before. Name no customer in it."
)
_NO_SESSION = "No coaching session is on record."
NO_SESSION = {
    True: f"{_NO_SESSION} Write one down on a technician's sheet above, or load a table coaching_sessions.",
    False: f"{_NO_SESSION.removesuffix('.')} for these filters.",
}
# As the relation coaching_session has them, under the id that stands for the technician.
_TYPED = """
WITH typed AS (
    SELECT row ->> 'session_id' AS session_id, CAST(row ->> 'held_on' AS DATE) AS held_on,
        row ->> 'technician_id' AS entered_for, row ->> 'topic' AS topic, row ->> 'coach_id' AS coach_id,
        row ->> 'remark' AS remark
    FROM (SELECT unnest(?::VARCHAR[])::JSON AS row)
)
SELECT * EXCLUDE (branch) FROM (
    SELECT t.* EXCLUDE (entered_for), coalesce(s.kept_id, t.entered_for) AS technician_id
    FROM typed AS t LEFT JOIN entered.same_as AS s ON s.subject = 'technician' AND s.record_id = t.entered_for)
LEFT JOIN (SELECT technician_id, branch FROM technician) USING (technician_id)
WHERE {where} AND (?::VARCHAR IS NULL OR technician_id = ?)
"""


def log(technician_id: str | None = None, scope: Scope = lookups.EVERYTHING) -> pd.DataFrame:
    """lookups.coaching_log, and with it the sessions entered here that the figures do not include yet. in_figures: COUNTS,
    COMES or LEAVES. Raises NotAllowed for whoever may not see that log.
    """
    loaded = lookups.coaching_log(technician_id, scope)
    entries = OwnWork(store_access.home()).entries("coaching_session")
    gone = {_session(kept.entry) for kept in entries if not kept.is_in_force}
    loaded["in_figures"] = [LEAVES if one in gone else COUNTS for one in loaded["session_id"]]
    taken_in = set(store_access.frame("SELECT session_id FROM coaching_session")["session_id"])
    new = [kept.entry for kept in entries if kept.is_in_force and _session(kept.entry) not in taken_in]
    if not new:
        return loaded
    where, bound = scope.where("held_on", ("branch",))
    rows = tuple(json.dumps(entry.content["stored"]) for entry in new)
    typed = store_access.frame(_TYPED.format(where=where), [rows, *bound, technician_id, technician_id])
    if typed.empty:
        return loaded
    typed["in_figures"] = COMES
    both = pd.concat([loaded, typed], ignore_index=True) if len(loaded) else typed[loaded.columns]
    return both.sort_values(["held_on", "session_id"], ascending=[False, True], ignore_index=True)


def _session(entry: Entry) -> str:
    return str(entry.content["stored"]["session_id"])


def enter(technician_id: str, cells: dict[str, Any], name: str, entry_id: str) -> Entry:
    """Keep a session with this technician. cells: held_on, topic, coach_id and remark as typed.

    Raises NotAllowed where the reader may not enter anything, OwnWorkError where it is not accepted.
    """
    own = own_entry.own()
    whole = {**cells, "technician_id": technician_id}
    return enter_coaching_session(store_access.reader(), own, store_access.settings(), whole, name, entry_id)


def form(technician_id: str) -> None:
    """To write a session with this technician down, for readers who may enter."""
    if not roles.may_enter():
        return
    key = f"coached_{technician_id}"
    current = own_entry.form_of(key)
    with st.expander("Write a coaching session down", key=f"expander_{current}", icon=":material/edit_note:"):
        st.markdown(TOLD)
        latest = today(store_access.settings())
        day = st.date_input("Held on", None, max_value=latest, key=f"day_{current}", format="YYYY-MM-DD")
        topic = st.selectbox("Step it was about", TOPIC.values(), None, words.label, key=f"topic_{current}")
        coach = st.text_input("Who coached, if not you", key=f"coach_{current}", max_chars=200)
        remark = st.text_area("Remark, if any", key=f"remark_{current}", max_chars=LONGEST_REMARK)
        name = own_entry.who(current)
        missing = _missing((("the day", day), ("the step", topic), ("your name", name.strip())))
        if st.button("Keep the session", key=f"enter_{current}", type="primary", disabled=bool(missing)):
            cells = {"held_on": str(day), "topic": str(topic), "coach_id": coach.strip(), "remark": remark.strip()}
            try:
                enter(technician_id, cells, name, own_entry.form_id(current))
            except GoodpullError as error:
                st.error(words.plain(error))
                return
            own_entry.kept(key, f"The session with {code_names.naming()(technician_id)} is kept.")
            st.rerun()
        if missing:
            st.caption(f"Still to fill in: {words.joined(missing)}.")


def _missing(filled: Sequence[tuple[str, object]]) -> list[str]:
    return [said for said, there in filled if not there]
