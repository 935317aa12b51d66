"""Corrections: what people entered here, who, when and why, and taking it back."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard import (
    code_names,
    entry_words,
    own_entry,
    page,
    record_lookups,
    roles,
    same_person,
    store_access,
    visit_table,
    words,
)
from pipelines.errors import GoodpullError
from pipelines.own_work import Entry, Kept

METHOD = (
    "A correction never changes the delivered record; it holds against it wherever figures are made. Everything entered "
    "is kept beside the records, in the file own-work.sqlite of the home, and taken in at every load, so that loading the "
    "records anew loses nothing. Taking something back is an entry of its own. Of several corrections of one thing the "
    "latest holds. Copy everything with goodpull own-work export, and bring it back with goodpull own-work restore."
)
KINDS = {
    "correction": "correction",
    "bench_test": "bench test",
    "bench_draw": "draw of switches",
    "coaching_session": "coaching session",
    "mended_row": "row mended",
    "dismissed_row": "row dismissed",
    "identity": "same or not",
}
_DELIVERED = """
SELECT corrected_at, visit_id, corrected_field, target, new_value, is_allowed, has_visit, corrected_by, reason
FROM correction_entered WHERE NOT is_own ORDER BY corrected_at DESC, correction_id
"""
_N_DELIVERED = "SELECT count(*) AS n FROM correction_entered WHERE NOT is_own"
_LOST = "SELECT DISTINCT correction_id FROM correction_entered WHERE NOT has_visit"
_NO_VISIT = "changes nothing: its visit is not on record any more"
_IN_FORCE = "SELECT count(*) AS n, count(DISTINCT visit_id) AS n_visits FROM correction"
_STATE = "SELECT coalesce(max(last_entry_no), 0) AS n FROM own_work_state"


def show() -> None:
    roles.guard("corrections")
    st.title("Corrections")
    has_store = store_access.generation() is not None
    entered = [kept for kept in own_entry.own().entries() if kept.entry.kind in KINDS]
    page.answer(_answer(entered, has_store))
    if not has_store and not entered:
        st.markdown("Load your visit records on the **Records** page, or with `goodpull load FOLDER`.")
        return
    st.header("Entered here")
    last = int(store_access.row(_STATE)["n"]) if has_store else 0
    lost = set(store_access.frame(_LOST)["correction_id"]) if has_store else set()
    frame = pd.DataFrame([_line(kept, last, lost) for kept in reversed(entered)])
    if frame.empty:
        st.markdown("Nothing was entered here yet.")
    else:
        visit_table.plain_table(frame, "entered")
        _undo([kept for kept in reversed(entered) if kept.is_in_force])
    if has_store:
        _delivered()
    page.next_steps(
        (
            "To correct a visit, open it from any figure and choose Correct this record.",
            "Keep a copy of what was entered outside this machine: goodpull own-work export COPY.",
        )
    )
    page.how_computed(METHOD, ())


def _answer(entered: list[Kept], has_store: bool) -> str:
    if not has_store:
        return "No records yet, so there is nothing to correct."
    found = store_access.row(_IN_FORCE)
    taken_back = sum(not kept.is_in_force for kept in entered)
    start = (
        f"The figures include {words.plural(found['n'], 'correction')} on {words.plural(found['n_visits'], 'visit')}"
        if found["n"]
        else "The figures include no correction"
    )
    if not entered:
        return f"{start}; nothing was entered here."
    back = f", {words.count(taken_back)} taken back" if taken_back else ""
    return f"{start}; {words.plural(len(entered), 'thing')} entered here{back}."


def _line(kept: Kept, last: int, lost: set[str]) -> dict[str, str]:
    """lost: ids of corrections whose visit is not on record."""
    entry = kept.entry
    if kept.undone_by is not None:
        undone = kept.undone_by
        state = f"taken back by {undone.entered_by} on {undone.entered_at[:10]}: {undone.reason}"
    elif entry.entry_id in lost:
        state = _NO_VISIT
    else:
        state = "in force" if kept.entry_no <= last or entry.kind == "bench_draw" else "not in the figures yet"
    return {
        "When": entry.entered_at[:16].replace("T", " "),
        "What": KINDS[entry.kind],
        "About": _about(entry) if entry.kind in ("correction", "bench_test", "coaching_session") else "",
        "Says": entry_words.what(kept.entry),
        "Why": entry.reason,
        "Who": entry.entered_by,
        "State": state,
    }


def _about(entry: Entry) -> str:
    """What it concerns; a technician as the reader may see them."""
    if entry.kind != "coaching_session" or store_access.generation() is None:
        return entry.about
    return code_names.naming()(same_person.kept_id(entry.about))


def _undo(in_force: list[Kept]) -> None:
    if not in_force:
        return
    st.subheader("Take something back")
    form = own_entry.form_of("undo")
    named = {
        f"{kept.entry.entered_at[:10]} {KINDS[kept.entry.kind]} {_about(kept.entry)[:20]}: {entry_words.what(kept.entry)} [{kept.entry.entry_id[:6]}]": kept.entry
        for kept in in_force
    }  # fmt: skip
    chosen = st.selectbox("What", list(named), key=f"undo_{form}", index=None)
    reason = st.text_input("Why", key=f"undo_why_{form}", max_chars=2000)
    name = own_entry.who(form)
    if not st.button("Take back", key=f"undo_button_{form}", disabled=not (chosen and reason.strip() and name.strip())):
        return
    try:
        own_entry.own().undo(named[str(chosen)].entry_id, reason, name)
    except GoodpullError as error:
        st.error(words.plain(error))
        return
    own_entry.kept("undo", "Taken back; both entries stay on record.")
    st.rerun()


def _delivered() -> None:
    n = int(store_access.row(_N_DELIVERED)["n"])
    if not n:
        return
    st.header("Came with the files")
    st.markdown("These were loaded as the table corrections. Take one back by a correction entered here.")
    shown = _delivered_lines(record_lookups.ROWS_LISTED)
    visit_table.plain_table(shown, "delivered_corrections", whole=_delivered_lines, n=n)


def _delivered_lines(limit: int | None = None) -> pd.DataFrame:
    """The corrections that came with the files, the newest first, in words."""
    roles.require_page("corrections")
    rows = store_access.frame(_DELIVERED + ("" if limit is None else f"LIMIT {limit}"))
    return pd.DataFrame(
        {
            "When": rows["corrected_at"].astype(str).str[:16],
            "About": rows["visit_id"],
            "Says": [
                f"{entry_words.FIELDS.get(line.corrected_field, line.corrected_field)}: {entry_words.value(line.new_value)}"
                for line in rows.itertuples()
            ],
            "Why": rows["reason"],
            "Who": rows["corrected_by"],
            "State": [
                "its field does not allow this value"
                if not line.is_allowed
                else "read"
                if line.has_visit
                else _NO_VISIT
                for line in rows.itertuples()
            ],
        }
    )


if __name__ == "__main__":
    show()
