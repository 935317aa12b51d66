"""The coaching pack: one technician's sheet on paper, with three cases and a checklist. Customers are not in it.

Left out: site, appliance, notes and words from notes, since they may name a customer. A case is found again on the
screen by its visit.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pandas as pd

from dashboard import (
    beside_company,
    figures_access,
    lookups,
    notices,
    remarks,
    roles,
    talking_cases,
    technician_sheet,
    visit_sheet,
    words,
)
from dashboard.beside_company import Beside
from dashboard.charts.picture import ROW_HEIGHT
from dashboard.charts.steps import step_rates
from dashboard.printed import drawing, pack_names, paper
from dashboard.printed.week import FOOTER, WHOLE, about, chart, last_day
from models.figures.scope import Scope
from models.figures.technicians import FAIRNESS
from pipelines.contract.codes import CHECK_CODE
from pipelines.errors import GoodpullError

QUESTIONS = (
    "What did the gauge say, and where was it teed in?",
    "What was tried before the switch was condemned?",
    "Why did the old switch not make?",
)
HIDDEN = (
    "Customer details are hidden: site, appliance and notes are left out. Look a case up on the screen by its visit."
)
AS_WRITTEN = "Remarks stand as they were written and may hold names."


def coaching_pack(
    technician_id: str, scope: Scope, name_of: Callable[[object], str], font: str | None = drawing.FONT
) -> paper.Document:
    """One technician's pack. Raises GoodpullError when they attended no draft fault in the scope."""
    people = figures_access.technicians(scope)
    table = people.table
    mine = table[table["technician_id"] == technician_id] if not table.empty else table
    if mine.empty:
        raise GoodpullError(
            f"technician: got {technician_id!r}; no draft fault attended by them is on record. "
            "The ids stand on the page Coaching and in: goodpull figures --json"
        )
    beside = beside_company.of(technician_id, table, people, scope)
    person, name, is_own = beside.person, name_of(technician_id), roles.require_somebody().role == "technician"
    # To a technician the number of everybody's visits is not shown, on the page as on paper.
    facts = lookups.own_extent(technician_id, scope) if is_own else figures_access.coverage(scope)
    cases = talking_cases.chosen_cases(figures_access.visits_behind(scope, "swaps", technician_id=technician_id))
    said = remarks.of(technician_id)

    def answers(*beside: str) -> list[Any]:
        told = remarks.lines(said, beside, name_of)
        return [paper.Bullets("", told)] if told else []

    visits = cases["visit_id"].astype(str).tolist()
    shown = {*remarks.FIGURES, *(remarks.VISIT + one for one in visits)}
    blocks: list[Any] = [paper.Lead(_lead(person)), _cards(person), *answers("good_pulls", "good_share", "swaps")]
    blocks += [*_steps(beside, name, font), *answers("steps")]
    blocks += [
        paper.Bullets("Against whom, and why that is fair", tuple(technician_sheet.fair_lines(beside))),
        *answers("comparison"),
        paper.Notice("How to use figures about people", notices.FAIRNESS_POINTS, is_calm=True),
        paper.Lines("What the technician says to this", 3),
        paper.PageBreak(),
        paper.Heading("Three cases to talk through: what did the gauge say?"),
        paper.Text(HIDDEN, is_quiet=True),
    ]
    if cases.empty:
        blocks.append(paper.Text("No swap of theirs is on record."))
    for number, visit_id in enumerate(visits, start=1):
        blocks += _case(number, visit_id) + answers(remarks.VISIT + visit_id)
    others = answers(*{one.beside for one in said if one.beside not in shown})
    blocks += [paper.Heading("Remarks about other visits"), *others] if others else []
    if said:
        blocks.append(paper.Text(AS_WRITTEN, is_quiet=True))
    blocks += [paper.PageBreak(), *_checklist()]
    day = last_day(facts, {})
    return paper.Document(
        f"Coaching: {name}",
        about(scope, facts, is_own),
        tuple(blocks),
        FOOTER,
        day,
        pack_names.of_document("coaching", day, name),
    )


def _lead(person: pd.Series) -> str:
    head = "Look here first. " if person["is_flagged"] else ""
    return head + (person["reason"] or "").removesuffix(FAIRNESS).strip()


def _cards(person: pd.Series) -> paper.Cards:
    estimate, rests_on, note = technician_sheet.figure_of(person)
    swaps, beside = technician_sheet.swaps_counted(person), technician_sheet.BESIDE
    share = words.share(person["share_good_among_swaps"])
    each = words.number(person["swaps_per_draft_fault"], 2)
    return paper.Cards(
        (
            paper.card("Good switches pulled per draft fault", estimate, "share", rests_on, note),
            paper.Card("Share of good ones among swaps", share, beside, (), None, share != words.NOT_KNOWN),
            paper.Card("Swaps per draft fault", each, swaps, (), None, each != words.NOT_KNOWN),
        )
    )


def _steps(beside: Beside, name: str, font: str | None) -> tuple[Any, ...]:
    person = beside.person
    frame = technician_sheet.step_frame(person, beside.table)
    picture = step_rates(frame, drawing.PRINT, name)
    height = ROW_HEIGHT * len(frame)
    drawn = chart(
        picture,
        technician_sheet.nothing_drawn(beside),
        f"Bar: all technicians. Diamond: {name}.",
        font,
        WHOLE,
        height,
    )
    said = technician_sheet.start_with(frame) if beside.has_company else ""
    skipped = technician_sheet.skipped_checks(beside.checks, str(person["technician_id"]))
    if skipped:
        said += " Checks they leave out more often than others: " + "; ".join(skipped) + "."
    rows = [
        (row.step, words.share(row.own), words.count(row.n_own), words.share(row.rate)) for row in frame.itertuples()
    ]
    columns = (("Step", "text"), (name, "number"), ("of swaps", "number"), ("all technicians", "number"))
    told: list[Any] = [paper.Text(said)] if said else []
    n = len(columns) if beside.has_company else len(columns) - 1
    told.append(paper.table(columns[:n], [row[:n] for row in rows], "", shares=(1, 0, 0, 0)[:n]))
    if beside.has_company and beside.note:
        told.append(paper.Text(beside.note, is_quiet=True))
    return (paper.Heading("The steps around a swap"), drawn, *told)


def _case(number: int, visit_id: str) -> list[Any]:
    visit = visit_sheet.visit_of(visit_id)
    facts = visit_sheet.facts(visit, None)
    benches = [visit_sheet.bench_sentence(bench) for bench in visit_sheet.benches(visit_id)]
    facts += [("Bench", sentence.removeprefix("Bench: ")) for sentence in benches] or [("Bench", "not tested")]
    readings = visit_sheet.readings(visit_id)
    checks = [(f"{check}: {found}",) for check, found in visit_sheet.checks(visit_id)]
    return [
        paper.Heading(f"Case {number}: visit {visit_id}, {words.date(visit['arrived_on'])}"),
        paper.Pair(
            (paper.table(visit_sheet.FACT_COLUMNS, facts, "", shares=(0, 1)),),
            (
                paper.table(visit_sheet.READING_COLUMNS, readings, "No readings were recorded."),
                paper.table((("Checks and what was found", "text"),), checks, "No checks were recorded."),
            ),
        ),
        paper.Bullets("", QUESTIONS, is_ticked=True),
    ]


def _checklist() -> list[Any]:
    """The steps and checks to go through at the next draft fault, to tick with a pen."""
    half = (len(CHECK_CODE.codes) + 1) // 2
    checks = tuple(code.about[:1].upper() + code.about[1:] for code in CHECK_CODE.codes)
    steps = tuple(step[:1].upper() + step[1:] for step in technician_sheet.STEPS.values())
    return [
        paper.Heading("Checklist for the next draft fault"),
        paper.Notice("Before any work on an appliance", notices.SAFETY_POINTS),
        paper.Bullets("Before and after any swap", steps, is_ticked=True),
        paper.Pair(
            (paper.Bullets("Checks", checks[:half], is_ticked=True),),
            (paper.Bullets("Checks, continued", checks[half:], is_ticked=True),),
        ),
        paper.Text("Common practice; the manufacturer's instructions and the local code decide.", is_quiet=True),
        paper.Lines("Agreed for the next weeks", 4),
    ]
