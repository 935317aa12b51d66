"""What technicians say to their own sheet: shown beside the figure or the visit it is about, entered and taken back.

Who writes is settled on the server: signed in, it is the address the provider vouches for, whatever a form says.
"""

from __future__ import annotations

import html
from collections.abc import Callable, Sequence
from dataclasses import replace

import streamlit as st

from dashboard import code_names, own_entry, own_visits, roles, same_person, store_access, words
from pipelines import remarks as kept_remarks
from pipelines.errors import GoodpullError
from pipelines.own_work import OwnWork, OwnWorkError
from pipelines.remarks import LONGEST_REMARK, Remark

# What a remark may stand beside, with its words; else a visit.
FIGURES = {
    "good_pulls": "Good switches pulled per draft fault",
    "good_share": "Share of good ones among swaps",
    "swaps": "Swaps per draft fault",
    "steps": "The steps around a swap",
    "comparison": "Against whom, and why that is fair",
}
VISIT = "visit "
OTHER_VISIT = "other_visit"


def of(technician_id: str) -> list[Remark]:
    """Remarks on one sheet, oldest first; with those made under an id that was decided to be the same technician.

    Raises NotAllowed for whoever may not see the sheet.
    """
    roles.require_remark(technician_id)
    own = OwnWork(store_access.home())
    said = [one for each in same_person.ids_of(technician_id) for one in kept_remarks.remarks_of(own, each)]
    return [replace(one, technician_id=technician_id) for one in sorted(said, key=lambda one: one.entered_at)]


def enter(technician_id: str, beside: str, text: str, typed_name: str, entry_id: str) -> bool:
    """Keep a remark beside a figure (a key of FIGURES) or a visit of theirs ("visit V1"); False when sent twice.

    typed_name: who enters it where nobody signs in. Raises NotAllowed on another's sheet, OwnWorkError when it cannot
    be kept.
    """
    reader = roles.require_remark(technician_id)
    if beside not in FIGURES and not _is_theirs(technician_id, beside):
        raise OwnWorkError(
            f"{beside.removeprefix(VISIT)}: no visit of theirs is on record under it. Nothing was entered."
        )
    return kept_remarks.enter_remark(
        OwnWork(store_access.home()),
        technician_id,
        beside,
        text,
        reader.email or typed_name,
        reader.role != "technician",
        entry_id,
    )


def take_back(technician_id: str, entry_id: str, typed_name: str) -> bool:
    """Take back a remark of one's own on this sheet. Raises NotAllowed, or OwnWorkError where somebody else made it."""
    reader = roles.require_remark(technician_id)
    if all(one.entry_id != entry_id for one in of(technician_id)):
        raise OwnWorkError("No such remark stands on this sheet. Nothing was changed.")
    return kept_remarks.take_back(OwnWork(store_access.home()), entry_id, reader.email or typed_name)


def _is_theirs(technician_id: str, beside: str) -> bool:
    visit_id = beside.removeprefix(VISIT)
    if visit_id == beside:
        return False
    own_visits.require(visit_id)
    return own_visits.is_theirs(visit_id, technician_id)


def head(remark: Remark, name_of: Callable[[object], str]) -> str:
    """Who said it and when. name_of: technicians as the reader may see them."""
    theirs = name_of(remark.technician_id)
    who = f"{remark.entered_by}, on behalf of {theirs}" if remark.is_on_behalf else theirs
    return f"Remark by {who}, {words.with_dates(remark.entered_at[:10])}"


def lines(said: Sequence[Remark], beside: Sequence[str], name_of: Callable[[object], str]) -> tuple[str, ...]:
    """The remarks that stand beside these figures or visits, a line each, for paper."""
    return tuple(
        f"{head(one, name_of)}, on {about(one.beside)}: {' '.join(one.text.split())}"
        for one in said
        if one.beside in beside
    )


def about(beside: str) -> str:
    """What a remark stands beside, inside a sentence."""
    return f"“{FIGURES[beside]}”" if beside in FIGURES else beside


def show(said: Sequence[Remark], *beside: str) -> None:
    """The remarks beside these figures or visits. Everything in them is text."""
    name_of = code_names.naming()
    for one in said:
        if one.beside in beside:
            st.html(
                f'<div class="gp-remark"><span class="gp-quiet">{html.escape(head(one, name_of))}</span>\n'
                f"<bdi>{html.escape(one.text)}</bdi></div>"
            )


def show_others(said: Sequence[Remark], visits_shown: Sequence[str]) -> None:
    """The remarks about visits that are not on the sheet now."""
    shown = {*FIGURES, *(VISIT + visit for visit in visits_shown)}
    others = list(dict.fromkeys(one.beside for one in said if one.beside not in shown))
    if others:
        st.markdown("**Remarks about other visits**")
    for beside in others:
        st.markdown(words.plain(f"{beside[:1].upper()}{beside[1:]}"))
        show(said, beside)


def form(technician_id: str, said: Sequence[Remark], visits: dict[str, str]) -> None:
    """To answer to the sheet, and to take an answer back. visits: those on the sheet, with their words."""
    if not roles.may_remark(technician_id):
        return
    is_own = roles.require_somebody().role == "technician"
    key = f"remark_{technician_id}"
    current = own_entry.form_of(key)
    title = "Answer to this sheet" if is_own else "Enter a remark on the technician's behalf"
    with st.expander(title, key=f"expander_{current}", icon=":material/comment:"):
        st.markdown(
            "A remark stays beside the figure, here, on the trainer's page and in the printed pack, with name and date. "
            "It changes no figure: a record that is wrong is corrected by the trainer or the service manager. "
            "Name no customer in it."
        )
        options = FIGURES | {VISIT + visit: f"Visit {visit}, {told}" for visit, told in visits.items()}
        options[OTHER_VISIT] = "Another visit"
        beside = st.selectbox(
            "About", list(options), format_func=options.__getitem__, key=f"about_{current}", index=None
        )
        if beside == OTHER_VISIT:
            typed = st.text_input("Visit", key=f"visit_{current}", max_chars=100).strip()
            beside = VISIT + typed if typed else None
        text = st.text_area("Remark", key=f"text_{current}", max_chars=LONGEST_REMARK)
        name = own_entry.who(current)
        is_ready = bool(beside and text.strip() and name.strip())
        if st.button("Keep the remark", key=f"enter_{current}", type="primary", disabled=not is_ready):
            _do(
                key,
                "The remark is kept.",
                lambda: enter(technician_id, str(beside), text, name, own_entry.form_id(current)),
            )
        if not is_ready:
            st.caption("Still to fill in: what it is about, the remark" + (", your name." if not name.strip() else "."))
        _take_back(technician_id, said, name, key, current)


def _take_back(technician_id: str, said: Sequence[Remark], name: str, key: str, current: str) -> None:
    mine = {one.entry_id: one for one in said if one.entered_by.casefold() == name.strip().casefold()}
    if not mine:
        return
    chosen = st.selectbox(
        "Take back a remark of yours",
        list(mine),
        format_func=lambda one: (
            f"{words.with_dates(mine[one].entered_at[:10])}, {about(mine[one].beside)}: {mine[one].text[:60]}"
        ),
        key=f"back_{current}",
        index=None,
    )
    if st.button("Take back", key=f"back_button_{current}", disabled=chosen is None):
        _do(key, "Taken back; it is no longer shown.", lambda: take_back(technician_id, str(chosen), name))


def _do(key: str, told: str, work: Callable[[], object]) -> None:
    try:
        work()
    except GoodpullError as error:
        st.error(words.plain(error))
        return
    own_entry.kept(key, told)
    st.rerun()
