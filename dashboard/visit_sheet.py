"""One visit in full: what was written, read, checked and fitted, and what came after."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

import streamlit as st

from dashboard import appliance_history, code_names, correction_form, notices, own_visits, page, store_access, words
from models.figures.safety import SAFETY_CODES
from pipelines.notes.reader import read_note

_VISIT = """
SELECT v.*, e.evidence, e.draft_pa, e.make_pa, e.margin_pa, r.tier, r.reason AS tier_reason, r.note_words
FROM visit AS v
LEFT JOIN field_evidence AS e ON e.draft_fault_id = v.visit_id
LEFT JOIN root_cause AS r ON r.draft_fault_id = v.visit_id
WHERE v.visit_id = ?
"""
# The notes are the one thing a page reads from the delivered record, and only for the visit that was asked for.
_NOTES = "SELECT notes FROM delivered.visits WHERE visit_id = ?"
_READINGS = """
SELECT quantity, value, value_pa, unit, condition, contacts, taken FROM reading WHERE visit_id = ? ORDER BY reading_no
"""
_CHECKS = "SELECT check_code, outcome FROM visit_check WHERE visit_id = ? ORDER BY check_code"
_PARTS = """
SELECT part_number, part_class, quantity, coalesce(line_status, 'fitted') AS line_status
FROM part_line WHERE visit_id = ? ORDER BY line_no
"""
_BENCH = """
SELECT b.removed_tag, b.verdict, b.reason, b.make_mean_pa, b.n_make_readings, b.rated_make_pa, b.make_tolerance_pa,
    b.is_tolerance_assumed, b.u_gauge_pa, b.u_resolution_pa, b.u_repeatability_pa, b.u_pa, b.p_conform
FROM bench_result AS b JOIN swap AS s USING (swap_id) WHERE s.visit_id = ? ORDER BY swap_id
"""
_OTHERS = f"""
SELECT visit_id, arrived_on, visit_kind, symptom, cause_code, technician_id FROM visit
WHERE site_id = ? AND visit_id <> ? AND {own_visits.THEIRS} ORDER BY abs(date_diff('day', arrived_on, ?::DATE)), visit_id LIMIT 6
"""


def show(visit_id: str, key: str = "sheet", is_whole: bool = True, is_cautioned: bool = False) -> None:
    """The sheet of one visit. Everything that came with the records is shown as text. key: of the place it stands in.

    is_whole: with what leads on from it: other visits, the appliance's history, corrections. is_cautioned: the safety block
    stands right above; else it stands on the sheet of a visit with a cause that must be escalated.
    """
    visit = visit_of(visit_id)
    if not visit:
        st.markdown("That visit is not on record.")
        return
    with st.container(border=True):
        st.markdown(f"**Visit {words.plain(visit_id)}, {words.plain(words.date(visit['arrived_on']))}**")
        if is_whole and not is_cautioned and {visit["cause_code"], visit["contributing_cause_code"]} & {*SAFETY_CODES}:
            notices.safety()
        left, right = st.columns([3, 2], gap="medium")
        with left:
            page.rows(FACT_COLUMNS, facts(visit, code_names.naming()), "")
            notes = notes_of(visit_id)
            st.markdown("**Notes as written**")
            st.text(notes or "No notes.")
            if notes:
                _heard(notes)
        with right:
            _evidence(visit_id)
        if is_whole:
            _others(visit)
            appliance_history.show(visit, key, partial(show, is_whole=False))
            correction_form.show(visit, key)


def visit_of(visit_id: str) -> dict:
    """The visit with what its readings and its record say; empty when it is not on record.

    Raises NotAllowed where the reader is a technician and the visit is not their own: ask for it before anything else of it.
    """
    visit = store_access.row(_VISIT, [visit_id])
    if visit:
        own_visits.require(visit_id)
    return visit


def notes_of(visit_id: str) -> str | None:
    """The notes as they were written."""
    visit_of(visit_id)  # Refuses another's visit.
    return store_access.row(_NOTES, [visit_id]).get("notes")


def facts(visit: dict, name_of: Callable[[object], str] | None) -> list[tuple[str, str]]:
    """The visit in lines of title and text.

    name_of: None leaves out the site, the appliance, the technician and the words taken from the note.
    """
    unit = store_access.draft_unit()
    found = (
        []
        if name_of is None
        else [
            ("Site, appliance", f"{visit['site_id']}, {visit['appliance_key'] or 'appliance not proven'}"),
            ("Technician", name_of(visit["technician_id"])),
        ]
    )
    found += [
        ("Kind of visit", words.in_words(visit["visit_kind"], words.VISIT_KIND_WORDS)),
        ("Symptom", words.in_words(visit["symptom"], words.SYMPTOM_WORDS)),
        ("Cause recorded", words.in_words(visit["cause_code"], words.CAUSE_WORDS)),
    ]
    if visit["contributing_cause_code"]:
        found.append(("Behind it", words.in_words(visit["contributing_cause_code"], words.CAUSE_WORDS)))
    if visit["evidence"]:
        found.append(("Readings say", words.in_words(visit["evidence"], words.EVIDENCE_WORDS)))
    if visit["margin_pa"] is not None:
        found.append(("Draft at the switch", words.pressure(visit["draft_pa"], unit)))
        found.append(("Rated make point", words.pressure(visit["make_pa"], unit)))
    if visit["tier"]:
        found.append(("Root cause", words.in_words(visit["tier"], words.TIER_WORDS)))
    if visit["note_words"] and name_of is not None:
        found.append(("Rests on the words", visit["note_words"]))
    done = {True: "declared complete", False: "not declared complete"}.get(
        visit["is_declared_complete"], "not recorded"
    )
    found.append(("On leaving", done + (", waits for a part" if visit["waits_for_part"] else "")))
    return found


def _heard(notes: str) -> None:
    """What the reader takes from the note, in the note's own words."""
    reading = read_note(notes)
    heard = [
        (said, "; ".join(found))
        for said, found in (
            ("Something wrong", reading.findings),
            ("Done", reading.actions),
            ("Sound, not done or left open", reading.denials),
            ("Draft in words, not a reading", reading.readings),
        )
        if found
    ]
    page.rows(
        [("The note says", "text"), ("In these words", "text")],
        heard,
        "No words in it that the reader of notes knows.",
        caption="What is read in the note",
    )


def readings(visit_id: str) -> list[tuple[str, str, str]]:
    """Its readings: what, value with unit, when and with which contacts."""
    visit_of(visit_id)  # Refuses another's visit.
    unit = store_access.draft_unit()
    return [
        (
            words.label(line.quantity),
            words.pressure(line.value_pa, unit)
            if not words.is_missing(line.value_pa)
            else words.reading(line.value, line.unit),
            ", ".join(
                words.label(part) for part in (line.taken, line.condition, line.contacts) if not words.is_missing(part)
            ),
        )
        for line in store_access.frame(_READINGS, [visit_id]).itertuples()
    ]


def checks(visit_id: str) -> list[tuple[str, str]]:
    """Its checks: which, and what was found."""
    visit_of(visit_id)  # Refuses another's visit.
    return [
        (words.label(line.check_code), words.label(line.outcome))
        for line in store_access.frame(_CHECKS, [visit_id]).itertuples()
    ]


def parts(visit_id: str) -> list[tuple[str, str, str, str]]:
    """Its part lines: kind, number, status, quantity."""
    visit_of(visit_id)  # Refuses another's visit.
    return [
        (
            words.label(line.part_class),
            line.part_number if not words.is_missing(line.part_number) else "",
            line.line_status,
            words.number(line.quantity, 0),
        )
        for line in store_access.frame(_PARTS, [visit_id]).itertuples()
    ]


def benches(visit_id: str) -> list[Any]:
    """The bench results of switches removed on it."""
    visit_of(visit_id)  # Refuses another's visit.
    return list(store_access.frame(_BENCH, [visit_id]).itertuples())


def bench_sentence(bench: Any) -> str:
    """Which switch, by its tag, with its verdict and the reason."""
    reason = "" if words.is_missing(bench.reason) else str(bench.reason)
    whose = "" if words.is_missing(bench.removed_tag) else f"switch {bench.removed_tag}, "
    return (
        f"Bench: {whose}{words.in_words(bench.verdict, words.VERDICT_WORDS)}. {reason[:1].upper()}{reason[1:]}".strip()
    )


FACT_COLUMNS = (("What", "text"), ("On record", "text"))
READING_COLUMNS = (("Reading", "text"), ("Value", "text"), ("When, contacts", "text"))
CHECK_COLUMNS = (("Check", "text"), ("Found", "text"))
PART_COLUMNS = (("Part", "text"), ("Number", "text"), ("What became of it", "text"), ("Quantity", "number"))


def _evidence(visit_id: str) -> None:
    unit = store_access.draft_unit()
    page.rows(READING_COLUMNS, readings(visit_id), "No readings were recorded.")
    page.rows(CHECK_COLUMNS, checks(visit_id), "No checks were recorded.")
    page.rows(PART_COLUMNS, parts(visit_id), "No parts were recorded.")
    for bench in benches(visit_id):
        st.markdown(words.plain(bench_sentence(bench)))
        if not words.is_missing(bench.u_pa):
            page.rows(FACT_COLUMNS, budget(bench, unit), "")


def budget(bench: Any, unit: str | None) -> list[tuple[str, str]]:
    """What the bench verdict rests on: make point, tolerance, each part of the uncertainty, the probability."""
    assumed = " (assumed)" if bench.is_tolerance_assumed else ""
    return [
        (
            f"Makes at, mean of {words.plural(bench.n_make_readings, 'reading')}",
            words.pressure(bench.make_mean_pa, unit),
        ),
        ("Rated make point", words.pressure(bench.rated_make_pa, unit)),
        ("Tolerance, either way", words.pressure(bench.make_tolerance_pa, unit) + assumed),
        ("Standard uncertainty: gauge", words.small_pressure(bench.u_gauge_pa, unit)),
        ("smallest step", words.small_pressure(bench.u_resolution_pa, unit)),
        ("repeatability", words.small_pressure(bench.u_repeatability_pa, unit)),
        ("together", words.small_pressure(bench.u_pa, unit)),
        ("Probability of lying within the tolerance", words.share(bench.p_conform)),
    ]


def _others(visit: dict) -> None:
    name_of = code_names.naming()
    bound = [visit["site_id"], visit["visit_id"], *own_visits.bound_for_reader(), visit["arrived_on"]]
    others = [
        (
            words.date(line.arrived_on),
            line.visit_id,
            words.label(line.visit_kind),
            words.label(line.symptom),
            words.label(line.cause_code),
            name_of(line.technician_id),
        )
        for line in store_access.frame(_OTHERS, bound).sort_values("arrived_on").itertuples()
    ]
    columns = [(title, "text") for title in ("Date", "Visit", "Kind", "Symptom", "Cause", "Technician")]
    page.rows(columns, others, "No other visits to this site.", caption="Nearest other visits to this site")
