"""What changed after coaching, against what was to be expected without it: for all, and on one technician's sheet."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard import page, words
from models.figures.coaching_effect import HONEST, MEASURES, CoachingEffect, MeasureEffect
from models.figures.scope import Scope

COLUMNS = (
    ("What is counted", "text"), ("In the twelve months after", "text"), ("To be expected without it", "number"),
    ("Difference, range", "text"), ("A plain before and after would say", "text"),
)  # fmt: skip

OF_EVERYTHING = (
    "What changed after coaching is told of the whole company and of all records: the months before and after a session are "
    "not to be cut."
)


def not_narrowed(scope: Scope) -> str | None:
    """Which of the chosen filters coaching does not follow, in a sentence; None where none is chosen."""
    if scope.is_everything:
        return None
    others = [
        name
        for name, choice in (("region", scope.region), ("kind of appliance", scope.appliance_kind))
        if choice is not None
    ]
    log = f" The coaching log holds sessions for every {' and every '.join(others)}." if others else ""
    return f"{OF_EVERYTHING}{log}"


def show(effect: CoachingEffect) -> None:
    """The section on the Coaching page."""
    st.header("What changed after coaching")
    st.markdown(words.plain(effect.sentence))
    if not effect.measures:
        return
    for kind, title in (("process", "Steps taken"), ("outcome", "Outcomes")):
        st.markdown(f"**{title}** (fewer is better)")
        page.rows(COLUMNS, [line(one) for one in effect.measures if one.kind == kind], "")
    st.caption(words.plain(
        f"{_span([one.n_coached for one in effect.measures])} coached, the twelve months after the month of the first "
        f"session; compared with {_span([one.n_compared for one in effect.measures])} not coached. {HONEST}"
    ))  # fmt: skip


def _span(counts: list[int]) -> str:
    """How many technicians, where the measures differ in it from the fewest to the most."""
    if min(counts) == max(counts):
        return words.plural(counts[0], "technician")
    return f"{words.count(min(counts))} to {words.count(max(counts))} technicians, by what is counted,"


def line(one: MeasureEffect) -> tuple[str, str, str, str, str]:
    """One measure as a row; where it cannot be compared, the reason stands in place of the difference."""
    n, gap = one.difference.n, one.difference
    seen = f"{words.number(one.observed, 0)} of {words.count(n)} {one.noun}" if n else words.NOT_KNOWN
    if not gap.is_known:
        return one.about, seen, words.NOT_KNOWN, gap.sentence, words.points(one.plain_difference)
    expected = words.number(one.expected, 0)
    told = f"{words.points(gap.value)} ({words.points(gap.low)} to {words.points(gap.high)})"
    return one.about, seen, expected, told, words.points(one.plain_difference)


def of_technician(effect: CoachingEffect, technician_id: str) -> None:
    """The lines on the sheet of somebody who was coached; nothing for anybody else."""
    own = effect.people[effect.people["technician_id"] == technician_id]
    if own.empty:
        return
    st.markdown(f"**Before and after their first coaching session, {words.date(own['first_on'].iloc[0])}**")
    st.markdown("\n".join(f"- {words.plain(text)}" for text in own_lines(own)))
    st.caption(
        "One person's numbers are small: they are here to talk about, not to judge the coaching by. What was to be expected "
        "allows for their own past, for chance in it, and for how those not coached changed."
    )


def own_lines(own: pd.DataFrame) -> list[str]:
    """One sentence a measure, process first."""
    out = []
    for name, (_, about, noun) in MEASURES.items():
        for row in own[own["measure"] == name].itertuples():
            if not row.n_before and not row.n_after:
                continue
            text = (
                f"{about}: {words.number(row.hits_before, 0)} of {words.count(row.n_before)} {noun} before, "
                f"{words.number(row.hits_after, 0)} of {words.count(row.n_after)} in the twelve months after"
            )
            if not words.is_missing(row.expected_after):
                text += f"; about {words.number(row.expected_after, 0)} to be expected without coaching"
            out.append(f"{text}.")
    return out or ["No draft fault of theirs is on record from before and after it."]
