"""Same person, same appliance? Pairs that wait for a person, side by side, and what was decided about others."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard import identity_words, own_entry, page, roles, store_access, visit_table, words
from pipelines.errors import GoodpullError
from pipelines.identity_decisions import KIND, Decision, Standing, enter_decision, standing
from pipelines.identity_pairs import STRENGTHS, Pair, details, find_pairs, undecided

NAMED = {"technician": "technicians", "appliance": "appliances"}
# Most pairs shown and offered at a time; more come up as these are decided.
PAIRS_OFFERED = 200
DETAIL_WORDS = {
    "name": "Name", "branch": "Branch", "started_on": "First day", "left_on": "Last day", "kind": "Kind", "model": "Model",
    "serial": "Serial", "installed_on": "Installed", "removed_on": "Removed",
}  # fmt: skip


def show() -> None:
    """The section, for readers who may enter. The pairs are looked for when it is opened."""
    if not roles.may_enter():
        return
    st.header("Same person, same appliance?")
    st.markdown(
        "One technician, or one appliance of a site, may stand under two spellings. Pairs that may be one wait here for you. "
        "Nothing is merged until you say so, and the records as delivered stay as they are."
    )
    page.lazily("Pairs that wait, and what was decided", "identity", _section)


def _section() -> None:
    now = standing(own_entry.own().entries(KIND))
    subject = st.radio("Of whom", list(NAMED), format_func=NAMED.__getitem__, key="identity_of", horizontal=True)
    pairs = undecided(_pairs(store_access.key(), subject), now)
    _waiting(subject, pairs, now)
    _decided(now)
    with st.expander("The rule", key="identity_rule"):
        st.markdown(words.plain(identity_words.RULE))


@st.cache_data(max_entries=4, show_spinner="Looking for pairs")
def _pairs(store_key: str, subject: str) -> list[Pair]:
    return find_pairs(store_access.reader(), subject)


def _waiting(subject: str, pairs: list[Pair], now: Standing) -> None:
    if not pairs:
        st.markdown(f"No two {NAMED[subject]} look alike and wait for a person.")
        return
    n_of = {strength: sum(pair.strength == strength for pair in pairs) for strength in STRENGTHS}
    counted = [
        f"{words.count(n)} {'that something speaks against' if one == 'speaks_against' else identity_words.STRENGTH[one]}"
        for one, n in n_of.items()
        if n
    ]
    page.told(f"{words.plural(len(pairs), 'pair')} of {NAMED[subject]}: {words.joined(counted)}.")
    chosen = st.selectbox(
        "Show", ["all", *(one for one in STRENGTHS if n_of[one])], key=f"identity_show_{subject}",
        format_func=lambda one: identity_words.STRENGTH.get(one, one),
    )  # fmt: skip
    offered = [pair for pair in pairs if chosen in ("all", pair.strength)]
    frame = pd.DataFrame([_row(pair) for pair in offered[:PAIRS_OFFERED]])
    if subject == "technician":
        frame = frame.drop(columns="Site")
    visit_table.plain_table(frame, f"pairs_{subject}")
    if len(offered) > PAIRS_OFFERED:
        st.caption(f"The first {PAIRS_OFFERED} of {words.count(len(offered))}; more come up as these are decided.")
    _form(subject, offered[:PAIRS_OFFERED])


def _row(pair: Pair) -> dict[str, str]:
    return {
        "One": pair.one.record_id,
        "Other": pair.other.record_id,
        "Site": pair.site_id,
        "How sure": identity_words.STRENGTH[pair.strength],
        "Why": identity_words.why(pair),
        "Against": identity_words.against(pair),
        "Visits of one": identity_words.visits(pair.one),
        "Visits of the other": identity_words.visits(pair.other),
    }


def _form(subject: str, offered: list[Pair]) -> None:
    st.subheader("Decide about a pair")
    key = own_entry.form_of(f"identity_{subject}")
    named = {f"{pair.one.record_id} and {pair.other.record_id}" + (f", site {pair.site_id}" if pair.site_id else ""): pair for pair in offered}  # fmt: skip
    chosen = st.selectbox("Which pair", list(named), key=f"pair_{key}")
    pair = named[str(chosen)]
    form = f"{key}_{pair.one.record_id}_{pair.other.record_id}"
    _side_by_side(pair)
    ids = [pair.one.record_id, pair.other.record_id]
    keep = st.radio(
        "If they are the same, which id to keep", ids, index=ids.index(pair.suggested), key=f"keep_{form}", horizontal=True,
        help="Figures count both under this id, and its own details hold. A technician who signs in sees the sheet of this id, whichever of the two settings.toml names.",
    )  # fmt: skip
    reason = st.text_input("Why", key=f"why_{form}", max_chars=2000, placeholder="What shows that it is so")
    name = own_entry.who(form)
    is_signed = bool(reason.strip() and name.strip())
    with st.container(horizontal=True):
        is_same = st.button("The same", key=f"same_{form}", type="primary", disabled=not is_signed)
        is_other = st.button("Not the same", key=f"different_{form}", disabled=not is_signed)
    if not is_signed:
        st.caption("Say why, and your name.")
    if is_same or is_other:
        other = ids[1 - ids.index(str(keep))]
        _enter(pair, str(keep), other, is_same, reason, name, f"identity_{subject}", form)


def _side_by_side(pair: Pair) -> None:
    con = store_access.reader()
    one, other = (details(con, pair.subject, side.record_id) for side in (pair.one, pair.other))
    body = [
        (DETAIL_WORDS[column], identity_words.detail(one[column]), identity_words.detail(other[column]))
        for column in one
        if not (words.is_missing(one[column]) and words.is_missing(other[column]))
    ]
    body.append(("Visits", identity_words.visits(pair.one), identity_words.visits(pair.other)))
    titles = [("", "text"), (pair.one.record_id, "text"), (pair.other.record_id, "text")]
    page.rows(titles, body, "Nothing more is on record.", is_exported=False)
    sure = identity_words.STRENGTH[pair.strength]
    st.markdown(words.plain(f"Why it is asked: {identity_words.why(pair)} ({sure})."))
    against = identity_words.against(pair)
    if against:
        st.warning(words.plain(f"What speaks against it: {against}."))


def _enter(pair: Pair, keep: str, other: str, is_same: bool, reason: str, name: str, key: str, form: str) -> None:
    # One form, two answers: each has an id of its own, so that neither is taken for the other sent twice.
    entry_id = f"{own_entry.form_id(form)}-{'same' if is_same else 'different'}-{keep}"
    try:
        enter_decision(
            store_access.reader(), own_entry.own(), pair.subject, keep, other, is_same, reason, name, entry_id,
            pair.site_id or None,
        )  # fmt: skip
    except GoodpullError as error:
        st.error(words.plain(error))
        return
    own_entry.kept(key, f"Kept: {keep} and {other} are {'the same' if is_same else 'not the same'}.")
    st.rerun()


def _decided(now: Standing) -> None:
    st.subheader("Decided")
    if not now.decisions:
        st.markdown("Nothing was decided yet.")
        return
    frame = pd.DataFrame([_decision_row(said, now) for said in reversed(now.decisions)])
    visit_table.plain_table(frame, "identity_decided")
    form = own_entry.form_of("identity_undo")
    named = {f"{_said(said)} [{said.kept.entry.entry_id[:6]}]": said for said in reversed(now.decisions)}
    chosen = st.selectbox("Take a decision back", list(named), key=f"back_{form}", index=None)
    reason = st.text_input("Why it is taken back", key=f"back_why_{form}", max_chars=2000)
    name = own_entry.who(form)
    if not st.button("Take back", key=f"back_do_{form}", disabled=not (chosen and reason.strip() and name.strip())):
        return
    try:
        own_entry.own().undo(named[str(chosen)].kept.entry.entry_id, reason, name)
    except GoodpullError as error:
        st.error(words.plain(error))
        return
    own_entry.kept("identity_undo", "Taken back; both entries stay on record, and the pair is asked about again.")
    st.rerun()


def _said(said: Decision) -> str:
    return f"{said.subject} {said.keep} {'is the same as' if said.is_same else 'is not the same as'} {said.other}"


def _decision_row(said: Decision, now: Standing) -> dict[str, str]:
    entry = said.kept.entry
    return {
        "When": entry.entered_at[:16].replace("T", " "),
        "Says": _said(said),
        "Why": entry.reason,
        "Who": entry.entered_by,
        "State": "contradicts another decision; merges nothing" if said in now.against else "holds",
    }
