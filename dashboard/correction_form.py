"""The form that corrects a visit, on the sheet of that visit."""

from __future__ import annotations

import streamlit as st

from dashboard import code_names, own_entry, roles, store_access, words
from dashboard.entry_words import FIELDS
from pipelines.contract.codes import CAUSES, LINK_CLASSES, PART_CLASS, VERDICTS
from pipelines.entry_checks import checks_against
from pipelines.errors import GoodpullError
from pipelines.own_entries import enter_correction

NO_LINK = "none"
_LINES = "SELECT line_no, part_class, part_number FROM part_line WHERE visit_id = ? ORDER BY line_no"
_TAGS = "SELECT DISTINCT removed_tag FROM part_line WHERE visit_id = ? AND removed_tag IS NOT NULL ORDER BY 1"
_NEAR = """
SELECT visit_id, arrived_on, visit_kind FROM visit WHERE site_id = ? AND visit_id <> ?
ORDER BY abs(date_diff('day', arrived_on, ?::DATE)), visit_id LIMIT 40
"""
_TECHNICIANS = "SELECT technician_id FROM technician ORDER BY technician_id"
_IN_FORCE = """
SELECT corrected_field, target, new_value, reason, corrected_by, corrected_at FROM correction
WHERE visit_id = ? ORDER BY corrected_at
"""


def show(visit: dict, key: str) -> None:
    """Corrections in force on this visit, and the form for another, for readers who may enter. visit: a row of `visit`. key: of the sheet."""
    if not roles.may_enter():
        return
    visit_id = str(visit["visit_id"])
    _in_force(visit_id)
    form = own_entry.form_of(f"{key}_{visit_id}")
    with st.expander("Correct this record", key=f"correct_{form}", icon=":material/edit_note:"):
        st.markdown("The record as delivered is kept. A correction holds against it until it is taken back.")
        field = st.selectbox("What is wrong", list(FIELDS), format_func=FIELDS.__getitem__, key=f"field_{form}")
        value = _value(visit, field, form)
        if field == "cause_code" and value:
            _against(visit_id, value)
        reason = st.text_input("Why", key=f"reason_{form}", max_chars=2000, placeholder="What shows that it is so")
        name = own_entry.who(form)
        is_ready = bool(value and reason.strip() and name.strip())
        if st.button("Correct", key=f"enter_{form}", type="primary", disabled=not is_ready):
            _enter(visit_id, field, value or "", reason, name, form, f"{key}_{visit_id}")
        if not is_ready:
            missing = [said for said, there in (("what holds instead", value), ("why", reason.strip()), ("your name", name)) if not there]  # fmt: skip
            st.caption(f"Still to fill in: {words.joined(missing)}.")


def _against(visit_id: str, cause_code: str) -> None:
    """Name the checks of the visit that speak against this cause: a hint, no refusal, since a check can be wrong too."""
    checks = [f"“{words.label(code)}”" for code in checks_against(store_access.reader(), visit_id, cause_code)]
    if checks:
        one = "check" if len(checks) == 1 else "checks"
        st.info(
            words.plain(
                f"On this visit the {one} {words.joined(checks)} found nothing wrong where this cause lies. The correction "
                "may be entered all the same: say under Why what shows that it is so."
            )
        )


def _enter(visit_id: str, field: str, value: str, reason: str, name: str, form: str, key: str) -> None:
    try:
        enter_correction(
            store_access.reader(),
            own_entry.own(),
            store_access.settings(),
            visit_id,
            field,
            value,
            reason,
            name,
            own_entry.form_id(form),
        )
    except GoodpullError as error:
        st.error(words.plain(error))
        return
    own_entry.kept(key, f"The correction of visit {visit_id} is kept.")
    st.rerun()


def _value(visit: dict, field: str, form: str) -> str | None:
    """What holds instead, as the contract writes it; None while nothing is chosen."""
    visit_id = str(visit["visit_id"])
    target = None
    if field == "cause_code":
        options = {cause.code: words.in_words(cause.code, words.CAUSE_WORDS) for cause in CAUSES}
    elif field == "callback_class":
        options = {code: words.LINK_WORDS[code] for code in LINK_CLASSES}
    elif field == "owner":
        people = store_access.frame(_TECHNICIANS)["technician_id"]
        name_of = code_names.naming()
        options = {one: name_of(one) for one in people}
    elif field == "link":
        near = store_access.frame(_NEAR, [visit["site_id"], visit_id, visit["arrived_on"]])
        options = {NO_LINK: "none: it follows no other visit"} | {
            line.visit_id: f"{words.date(line.arrived_on)}, {line.visit_id}, {words.label(line.visit_kind)}"
            for line in near.itertuples()
        }
    elif field == "part_class":
        lines = store_access.frame(_LINES, [visit_id])
        named = {
            str(line.line_no): f"line {line.line_no}: {words.label(line.part_class)} {line.part_number or ''}".strip()
            for line in lines.itertuples()
        }
        target = st.selectbox("Which line", list(named), format_func=named.__getitem__, key=f"line_{form}", index=None)
        options = {code: words.label(code) for code in PART_CLASS.values()}
    else:
        tags = store_access.frame(_TAGS, [visit_id])["removed_tag"].tolist()
        target = st.selectbox("Which switch, by its tag", tags, key=f"tag_{form}", index=0 if len(tags) == 1 else None)
        options = {code: words.in_words(code, words.VERDICT_WORDS) for code in VERDICTS}
    # A key of its own for each field: a choice made for one is none for another.
    value = st.selectbox(
        "What holds instead", list(options), format_func=options.__getitem__, key=f"value_{field}_{form}", index=None
    )
    if field in ("part_class", "bench_result"):
        return f"{target}:{value}" if target and value else None
    return value


def _in_force(visit_id: str) -> None:
    for line in store_access.frame(_IN_FORCE, [visit_id]).itertuples():
        about = "" if words.is_missing(line.target) else f" ({line.target})"
        st.markdown(
            words.plain(
                f"Corrected on {words.date(line.corrected_at)} by {line.corrected_by}: "
                f"{FIELDS[line.corrected_field].lower()}{about} is {words.label(line.new_value)}. {line.reason}"
            )
        )
