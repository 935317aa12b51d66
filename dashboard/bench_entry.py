"""Typing in a bench test: the verdict and its reason beside the readings as they are typed.

What is typed is kept as a draft at every step, under the tag and the name: after a lost connection the form opens as it
was. The test gets its id when the draft begins, so that sending it twice keeps it once.
"""

from __future__ import annotations

from datetime import UTC, date, datetime
from types import SimpleNamespace
from typing import Any

import pandas as pd
import streamlit as st

from dashboard import bench_tests, own_entry, page, store_access, visit_sheet, words
from pipelines.contract.codes import HANDLING
from pipelines.entry_checks import accepted, bench_verdict, why_without_swap
from pipelines.errors import GoodpullError
from pipelines.own_entries import enter_bench_test
from pipelines.own_work import new_id

READINGS = tuple(f"{point}_{turn}" for point in ("make", "break") for turn in (1, 2, 3))
UNITS = {"[in_i'H2O]": "in. w.c.", "Pa": "Pa", "mbar": "mbar", "mm[H2O]": "mm w.c."}
HANDLING_WORDS = {code.code: code.about for code in HANDLING.codes}
FLAGS = {
    "is_leak_down_passed": "Held the pressure",
    "has_water_inside": "Water inside",
    "is_diaphragm_torn": "Diaphragm torn",
}
ANSWERS = {"": "not looked at", "yes": "yes", "no": "no"}


def show(tag: str, name: str, drawn: bench_tests.Drawn | None) -> None:
    """The form for one switch. drawn: its line of the kept list, None where it was chosen."""
    swaps = bench_tests.swaps_of(tag)
    _known(tag, swaps)
    draft = _draft(tag, name)
    form = f"bench_{draft['entry_id']}"
    left, right = st.columns([3, 2], gap="large")
    with left:
        cells = _cells(form, draft["cells"])
    cells |= {"removed_tag": tag, "visit_id": "", "tested_at": _when(cells.pop("day"), draft)}
    is_random = drawn is not None and drawn.selection == "random"
    cells["selection"] = "random" if is_random else "chosen"
    cells["selection_probability"] = repr(drawn.probability) if drawn and is_random else ""
    _save(tag, name, draft, cells)
    with right:
        is_ready = _verdict(cells, swaps, draft["entry_id"])
    if st.button("Enter the test", key=f"enter_{form}", type="primary", disabled=not is_ready):
        _enter(tag, name, cells, draft["entry_id"])


def _known(tag: str, swaps: pd.DataFrame) -> None:
    """What is on record about the switch."""
    if swaps.empty:
        st.markdown(words.plain(f"{tag}: no swap on record has this tag; the result counts once one does."))
    for line in swaps.itertuples():
        tested = ""
        if not words.is_missing(line.verdict):
            tested = f" Tested before, on {words.date(line.tested_at)}: {line.verdict}, {line.reason}."
        st.markdown(words.plain(f"Pulled on {words.date(line.swapped_on)}, visit {line.visit_id}.{tested}"))


def _draft_key(tag: str, name: str) -> str:
    return f"bench {tag} {name}"


def _draft(tag: str, name: str) -> dict[str, Any]:
    """What was typed before for this switch by this person, in this session or in one that was cut off."""
    key = _draft_key(tag, name)
    if key not in st.session_state:
        opened_at = datetime.now(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")
        fresh = {"entry_id": new_id(), "opened_at": opened_at, "cells": {}}
        st.session_state[key] = own_entry.own().draft(key) or fresh
    return st.session_state[key]


def _save(tag: str, name: str, draft: dict[str, Any], cells: dict[str, str]) -> None:
    """Keep the draft where something was typed since it was kept last."""
    if cells == draft["cells"] or not any(cells[reading] for reading in READINGS):
        return
    draft["cells"] = dict(cells)
    try:
        own_entry.own().save_draft(_draft_key(tag, name), draft)
    except GoodpullError as error:
        st.warning(words.plain(f"The draft could not be kept. {error}"))


def _when(day: str, draft: dict[str, Any]) -> str:
    """The time of the test: the day named; of a test today, the minute its form was opened."""
    return draft["opened_at"] if draft["opened_at"].startswith(day) else day


def _cells(form: str, before: dict[str, str]) -> dict[str, str]:
    """The fields of the form. before: cells of the draft."""

    def text(field: str, title: str, help: str | None = None) -> str:
        return st.text_input(
            title, value=before.get(field, ""), key=f"{field}_{form}", max_chars=200, help=help
        ).strip()

    def choice(field: str, title: str, options: dict[str, str], otherwise: str = "") -> str:
        names = list(options)
        at = names.index(before.get(field, otherwise)) if before.get(field, otherwise) in names else 0
        return st.selectbox(title, names, at, options.__getitem__, key=f"{field}_{form}")

    own_unit = store_access.settings().default_pressure_unit or "[in_i'H2O]"
    units = UNITS if own_unit in UNITS else {own_unit: own_unit, **UNITS}
    gauges = {"": "not on the list; accuracy and step are assumed", **bench_tests.gauges()}
    cells: dict[str, str] = {}
    one, two = st.columns(2)
    with one:
        day = date.fromisoformat(before["tested_at"][:10]) if before.get("tested_at") else datetime.now(UTC).date()
        cells["day"] = st.date_input(
            "Tested on", day, key=f"day_{form}", max_value=datetime.now(UTC).date()
        ).isoformat()
    with two:
        cells["pressure_unit"] = choice("pressure_unit", "Unit of the readings", units, own_unit)
    cells["gauge_id"] = choice("gauge_id", "Gauge", gauges)
    for point, title in (("make", "Makes at"), ("break", "Opens at")):
        for turn, column in enumerate(st.columns(3), 1):
            with column:
                cells[f"{point}_{turn}"] = text(f"{point}_{turn}", f"{title}, reading {turn}")
    one, two, three = st.columns(3)
    with one:
        cells["rated_make_pressure"] = text("rated_make_pressure", "Rated make point on its label", "Blank: from the plate or the parts list.")  # fmt: skip
    with two:
        cells["make_tolerance"] = text(
            "make_tolerance", "Tolerance, either way", "Blank: from the plate or parts list."
        )
    with three:
        cells["contact_ohms"] = text("contact_ohms", "Closed contacts, ohms")
    for (field, title), column in zip(FLAGS.items(), st.columns(3), strict=True):
        with column:
            cells[field] = choice(field, title, ANSWERS)
    cells["handling"] = choice("handling", "Between removal and test", {"": "not said", **HANDLING_WORDS})
    cells["remark"] = text("remark", "Remark")
    return cells


def _verdict(cells: dict[str, str], swaps: pd.DataFrame, entry_id: str) -> bool:
    """What the facts would say of the test as typed so far, and what is missing; whether it can be entered."""
    st.markdown("**What the readings say so far**")
    if not any(cells[reading] for reading in READINGS) and not any(cells[flag] for flag in (*FLAGS, "contact_ohms")):
        st.markdown("Nothing typed yet.")
        return False
    judged = accepted(store_access.settings(), "bench_tests", [{**cells, "bench_test_id": entry_id}])[0]
    if judged.stored is None:
        for said in judged.reasons.values():
            st.error(words.plain(said))
        return False
    result = bench_verdict(store_access.reader(), judged.stored)
    if result is None:
        st.markdown(words.plain(f"No verdict yet, and the test may be entered: {_why_waiting(judged.stored)}."))
    else:
        st.markdown(f"**{words.in_words(result['verdict'], words.VERDICT_WORDS).capitalize()}**")
        st.markdown(words.plain(f"{result['reason'][:1].upper()}{result['reason'][1:]}."))
        if result["u_pa"] is not None:
            lines = visit_sheet.budget(SimpleNamespace(**result), store_access.draft_unit())
            page.rows((("What", "text"), ("As typed", "text")), lines, "")
    missing = missing_in_words(cells, judged.stored, result)
    if missing:
        st.markdown("**Missing**")
        st.markdown("\n".join(f"- {words.plain(said)}" for said in missing))
    st.caption("The same rule as for every test on record. A verdict is about the switch, never about an appliance.")
    return True


def _why_waiting(stored: dict[str, Any]) -> str:
    """Why the test counts in no figure yet; blank where a swap fits it."""
    return "".join(why_without_swap(store_access.reader(), [stored]).values())


def missing_in_words(cells: dict[str, str], stored: dict[str, Any], result: dict[str, Any] | None) -> list[str]:
    """What is not said about the test, and what that costs."""
    n_make = sum(stored[f"make_{turn}_pa"] is not None for turn in (1, 2, 3))
    settings = store_access.settings()
    found = []
    if n_make == 0:
        found.append("A make reading: without one the switch can be found faulty by what is seen, but never good.")
    elif n_make < 3:
        found.append(f"{words.plural(3 - n_make, 'more make reading')}: three narrow the uncertainty most.")
    if not any(cells[f"break_{turn}"] for turn in (1, 2, 3)):
        found.append("Break readings: kept for the record; no verdict rests on them.")
    if not cells["gauge_id"]:
        step = words.small_pressure(settings.assumed_resolution_pa, store_access.draft_unit())
        found.append(
            f"The gauge: {settings.assumed_accuracy_share:.0%} of the reading and a step of {step} are assumed."
        )
    if result is not None and result["rated_make_pa"] is None:
        found.append("The rated make point: not on record for this switch; read it off its label.")
    if result is not None and result["rated_make_pa"] is not None and result["is_tolerance_assumed"]:
        found.append(f"The tolerance: {settings.assumed_tolerance_share:.0%} of the rated make point is assumed.")
    unseen = [title.lower() for flag, title in FLAGS.items() if not cells[flag]]
    if unseen:
        found.append(f"Not looked at: {words.joined(unseen)}.")
    if not cells["contact_ohms"]:
        found.append("The resistance of the closed contacts.")
    if not cells["handling"]:
        found.append("How it was handled: a switch drained or dropped can never be found good.")
    return found


def _enter(tag: str, name: str, cells: dict[str, str], entry_id: str) -> None:
    own, key = own_entry.own(), _draft_key(tag, name)
    try:
        entry = enter_bench_test(own, store_access.settings(), cells, name, entry_id)
        own.save_draft(key, None)
        why = _why_waiting(entry.content["stored"])
    except GoodpullError as error:
        st.error(words.plain(error))
        return
    del st.session_state[key]
    own_entry.kept("bench", f"The test of {tag} is kept." + (f" But {why}." if why else ""))
    st.rerun()
