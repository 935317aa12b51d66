"""Coaching: who to sit with and about which step; process before outcome, no ranking."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable

import pandas as pd
import streamlit as st

from dashboard import (
    answered,
    chart_drill,
    coached,
    coaching_sessions,
    code_names,
    empty_scope,
    figure_card,
    figures_access,
    long_list,
    marks,
    notices,
    page,
    people_table,
    roles,
    scope_bar,
    technician_sheet,
    words,
)
from dashboard.charts.funnel import technician_funnel
from models.figures.scope import Scope
from models.figures.technicians import FAIRNESS, TechnicianFigures
from models.methods.estimate import Estimate, unknown
from models.methods.proportion import wilson_interval

METHOD = (
    "Compared is the number of good switches pulled per draft fault attended: the bench result where there is "
    "one, else the "
    "calibrated probability, with its uncertainty. What to expect comes from the mix of calls alone, learned "
    "from the other "
    "technicians, so no one sets their own benchmark. Small numbers are drawn towards the company "
    "(beta-binomial). A person is "
    "marked look here first when, at the usual limit on false marks, an excess over the margin is at least 80% likely, "
    "whoever else is marked: a single mark is false one time in five at worst, all marks together far less often."
)
TERMS = ("Look here first", "Per draft fault attended", "Case mix", "New starter", "Good pull", "Range")


def show() -> None:
    roles.guard("coaching")
    st.title("Coaching")
    if not page.has_records():
        return
    scope = scope_bar.scope()
    people = figures_access.technicians(scope)
    if people.table.empty:
        page.answer("No technician attended a draft fault for these filters, so there is nothing to compare.")
        empty_scope.show()
        notices.fairness()
        if not coaching_sessions.log(scope=scope).empty:
            _log(scope)
        return
    said, name_of = answered.by_technician(), code_names.naming()
    ids = people.table["technician_id"]
    table = people.table.assign(
        shown_name=[*map(name_of, ids)], answered=[answered.told(said.get(one, ())) for one in ids]
    )
    page.answer(_answer(table, people))
    if not table["swaps"].any():
        empty_scope.show()
    unmoved = coached.not_narrowed(scope)
    if unmoved:
        notices.told("Not narrowed by every filter", unmoved)
    _process_cards(people, scope)
    notices.fairness()
    st.header("Everyone, against what chance alone would draw")
    picture = technician_funnel(table, people.funnel, page.colours())
    names = table.set_index("technician_id")["shown_name"]
    drawn = marks.groups(
        "technician_id", names.index, scope, "draft_faults", "Draft faults attended", names.__getitem__
    )
    chart_drill.draw(picture, people.sentence, "funnel", "Visits of a technician", drawn, people.sentence)
    _first(table, people, answered.lately(said, name_of, dt.datetime.now(dt.UTC).date()))
    technician_sheet.show(table, people, scope)
    _everyone(table, people)
    coached.show(figures_access.coaching())
    _log(scope)
    page.next_steps(_next(table, people))
    page.how_computed(METHOD, TERMS)


def is_compared(people: TechnicianFigures) -> bool:
    """Whether outcomes could be compared at all; without a model of untested switches they could not."""
    return bool(people.null)


def _next(table: pd.DataFrame, people: TechnicianFigures) -> list[str]:
    steps = []
    if not is_compared(people):
        steps.append("Have removed switches tested: until then only the steps taken can be compared, not outcomes.")
    elif page.is_true(table["is_flagged"]).any():
        steps.append(
            "Sit with the people above about one step, with the gauge in hand; start from their own three visits."
        )
    else:
        steps.append("Nobody is to be sat with first; take the step most often missing with everybody.")
    steps.append("Ask what the gauge said before asking why the switch was changed.")
    steps.append("Write the session down, with its step and date, so that the next months can be compared with it.")
    return steps


def _answer(table: pd.DataFrame, people: TechnicianFigures) -> str:
    flagged = int(page.is_true(table["is_flagged"]).sum())
    steps = [(step_done(people, name), step) for name, step in technician_sheet.known_steps().items()]
    known = [(n_done / n, step) for (n_done, n), step in steps if n]
    skipped = ""
    if known:
        rate, step = min(known)
        skipped = f" The step most often missing is: {step} ({words.share(rate)} of swaps have it)."
    if not is_compared(people):
        return f"{people.sentence}{skipped}"
    if not flagged:
        return f"Nobody stands out beyond chance among {words.plural(len(table), 'technician')}.{skipped}"
    return f"Look here first: {words.plural(flagged, 'technician')} of {words.count(len(table))}.{skipped}"


def step_done(people: TechnicianFigures, name: str) -> tuple[int, int]:
    """Swaps with the step done, and all swaps: also those of a draft fault that was first attended before the period."""
    row = people.processes.set_index("step").loc[name]
    return int(row["n_done"]), int(row["n"])


def _process_cards(people: TechnicianFigures, scope: Scope) -> None:
    names, known = list(technician_sheet.STEPS)[:4], technician_sheet.known_steps()
    for column, name in zip(st.columns(len(names), gap="medium"), names, strict=True):
        n_done, n = step_done(people, name)
        with column:
            figure_card.show(
                technician_sheet.STEPS[name].capitalize(),
                step_estimate(n_done, n) if name in known else _no_table(name),
                "share",
                f"step_{name}",
                rests_on=f"{words.count(n_done)} of {words.plural(n, 'swap')}"
                if name in known
                else words.plural(n, "swap"),
                behind=figures_access.behind(scope, f"skipped_{name}"),
                behind_label="Show the swaps without it",
            )


def _no_table(name: str) -> Estimate:
    return unknown(f"The table {technician_sheet.STEP_TABLES[name]} has no row, so nobody can tell.")


def step_estimate(n_done: float, n: float) -> Estimate:
    """How often a step was done, with its Wilson range. n_done may be a fraction where a step has parts."""
    if not n:
        return Estimate(None, None, None, 0, None, "Wilson", "No swap to count it on.")
    low, high = wilson_interval(round(n_done), int(n))
    return Estimate(n_done / n, float(low), float(high), int(n), None, "Wilson")


def _first(table: pd.DataFrame, people: TechnicianFigures, lately: str) -> None:
    st.header("Look here first")
    st.markdown(words.plain(lately))
    first = table[page.is_true(table["is_flagged"])]
    lines = [
        (
            person.shown_name,
            f"{words.share(person.value)} ({words.share(person.low)} to {words.share(person.high)})",
            words.share(person.expected_rate),
            words.count(person.draft_fault_visits),
            person.reason.removesuffix(FAIRNESS).strip(),
            step,
            person.answered,
        )
        for person, step in zip(first.itertuples(), technician_sheet.first_steps(first, table), strict=True)
    ]
    columns = (
        ("Technician", "text"),
        ("Good pulls per draft fault, range", "text"),
        ("Expected from their calls", "number"),
        ("Draft faults", "number"),
        ("Why", "text"),
        ("Step to start with", "text"),
        ("Answered", "text"),
    )
    page.rows(
        columns,
        lines,
        "Nobody: no difference here is larger than chance explains, or there are too few cases to see one."
        if is_compared(people)
        else "Nobody can be named yet: outcomes are not compared. The steps taken are below.",
    )
    if lines:
        st.caption(
            "The rate is drawn towards the company's where cases are few; the reason counts them as they are. The step is the one "
            "furthest below the company's; blank where none is clearly below."
        )


def _everyone(table: pd.DataFrame, people: TechnicianFigures) -> None:
    st.header("Everyone, by name")
    is_new, is_known = page.is_true(table["is_new_starter"]), page.is_true(table["is_start_known"])
    for title, part in (
        ("Established", table[is_known & ~is_new]),
        ("New starters, apart", table[is_new]),
        ("Start not known", table[~is_known]),
    ):
        if part.empty:
            continue
        st.markdown(f"**{title}**")
        shown = pd.DataFrame(
            {
                "Technician": part["shown_name"],
                "Draft faults": part["draft_fault_visits"],
                "Swaps": part["swaps"],
                "Clear tests": part["tested"],
                "Good pulls per draft fault": part["value"],
                "Range from": part["low"],
                "Range to": part["high"],
                "Expected from their calls": part["expected_rate"],
                "Reading before": part["reading_rate"],
                "Cause recorded": part["cause_rate"],
                "Excess seen from": part["smallest_visible_excess"],
                "Separable": ["yes" if one else "no" for one in page.is_true(part["is_separable"])],
                "Answered": part["answered"],
            }
        )
        if not is_compared(people):
            shown = shown.drop(columns=list(OUTCOMES))
        ranges = {"Good pulls per draft fault": ("Range from", "Range to")} if is_compared(people) else {}
        people_table.show(shown, f"people_{title[:3].lower()}", _PERCENT, ranges=ranges)


# What is told only where outcomes are compared.
OUTCOMES = ("Good pulls per draft fault", "Range from", "Range to", "Expected from their calls", "Excess seen from")
_PERCENT = {*OUTCOMES, "Reading before", "Cause recorded"}


def coach_of(coach: object, name_of: Callable[[object], str], known: frozenset[str]) -> object:
    """Who held a session: as a technician is shown where they are one on record, else as written."""
    return name_of(coach) if str(coach) in known else coach


def _log(scope: Scope) -> None:
    st.header("Coaching log")
    name_of, known = code_names.naming(), code_names.on_record()
    lines = [
        (
            words.date(line.held_on),
            name_of(line.technician_id),
            words.label(line.topic),
            coach_of(line.coach_id, name_of, known),
            line.remark,
            line.in_figures,
        )
        for line in coaching_sessions.log(scope=scope).itertuples()
    ]
    columns = [(title, "text") for title in ("Held on", "Technician", "Step", "Coach", "Remark", "In the figures")]
    long_list.show(
        columns,
        lines,
        "coaching_log",
        coaching_sessions.NO_SESSION[scope.is_everything],
        "the newest first",
    )
    if lines and roles.may_enter():
        st.caption("A session is written down on the technician's sheet above, and taken back on the page Corrections.")


if __name__ == "__main__":
    show()
