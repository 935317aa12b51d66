"""Your sheet: what a technician's trainer sees about them, and why; nothing about anybody else."""

from __future__ import annotations

import streamlit as st

from dashboard import (
    coached,
    coaching_sessions,
    code_names,
    empty_scope,
    figures_access,
    long_list,
    notices,
    page,
    roles,
    scope_bar,
    technician_sheet,
    words,
)
from dashboard.views import coaching
from models.figures.scope import Scope

SAME = (
    "This is what the trainer sees about you, in the same words, and the visits it rests on. Of your colleagues only the "
    "figure for all of them together is shown, the whole company's whatever the filters; a visit on which a colleague fitted "
    "a switch that you diagnosed is yours, too. You can answer below, and your answer stays beside the figure. If a record is "
    "wrong, say so to the trainer or the service manager: it can be put right, and the figure follows it."
)


def show() -> None:
    roles.guard("own_sheet")
    st.title("Your sheet")
    if not page.has_records():
        return
    # Never from the address: whose sheet it is, the list of people says.
    own = roles.require_somebody().technician_id
    scope = scope_bar.scope()
    people = figures_access.technicians(scope)
    table = people.table
    if own is None or table.empty or not table["technician_id"].eq(own).any():
        page.answer("No draft fault that you attended is on record for these filters, so there is nothing to say.")
        empty_scope.show()
        st.markdown("Ask whether your visits carry your own technician id.")
        notices.fairness()
        return
    table = table.assign(shown_name=[*map(code_names.naming(), table["technician_id"])])
    n = int(table.loc[table["technician_id"] == own, "draft_fault_visits"].iloc[0])
    page.answer(f"What your records of {words.plural(n, 'draft fault')} say, and which step to look at first.")
    unmoved = coached.not_narrowed(scope)
    if unmoved:
        notices.told("Not narrowed by every filter", unmoved)
    st.markdown(SAME)
    notices.fairness()
    technician_sheet.sheet(own, table, people, scope)
    _log(own, scope)
    page.how_computed(coaching.METHOD, coaching.TERMS)


def _log(own: str, scope: Scope) -> None:
    st.header("Your coaching sessions")
    lines = [
        (words.date(line.held_on), words.label(line.topic), line.coach_id, line.remark, line.in_figures)
        for line in coaching_sessions.log(own, scope).itertuples()
    ]
    columns = [(title, "text") for title in ("Held on", "Step", "Coach", "Remark", "In the figures")]
    long_list.show(
        columns,
        lines,
        "coaching_log",
        "No coaching session with you is on record."
        if scope.is_everything
        else "No coaching session with you is on record for these filters.",
        "the newest first",
    )


if __name__ == "__main__":
    show()
