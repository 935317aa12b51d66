"""The safety and fairness texts, and the notices of an empty page."""

from __future__ import annotations

import html
from typing import Any

import streamlit as st

from dashboard import roles, words

SAFETY_POINTS = (
    "Carbon monoxide alarm, or anyone unwell: everybody out, then call the emergency service.",
    "Never bypass, adjust or substitute a safety switch. Fit the specified part only.",
    "A new switch that runs is not a repair: find why the old one did not make.",
    "Combustion and carbon monoxide test after the work. A suspected heat exchanger means shut down.",
    "Licensed people, the manufacturer's instructions and the local code decide. "
    "These pages never say that an appliance is safe.",
)
FAIRNESS_POINTS = (
    "For coaching. These figures must not decide pay or discipline; local labour and data-protection law applies.",
    "There is no ranking. Each person is compared with what their own mix of calls would lead one to expect.",
    "“Look here first” means a talk is likely to be worth it. It is never a finding of fault.",
    "New starters stand apart. With few cases the range is wide, and the page says so.",
)


def safety() -> None:
    """The safety block, on pages that lead to work on an appliance."""
    _notice("Before any work on an appliance", SAFETY_POINTS, is_calm=False)


def fairness() -> None:
    """The fairness block, on pages that show figures about people."""
    _notice("How to use figures about people", FAIRNESS_POINTS, is_calm=True)


def told(title: str, text: str) -> None:
    """One thing the reader should know before going on."""
    _notice(title, (text,), is_calm=True)


def nothing_yet() -> None:
    """What a page says when no records have been loaded."""
    with st.container(key="answer"):
        st.markdown("No records yet, so there is nothing to say.")
    if not roles.may_load():
        st.markdown("Load your visit records first: that is for whoever runs the pages. Then look in again.")
        return
    st.markdown(
        "Load your visit records on the **Records** page, or on the command line with `goodpull load FOLDER`. "
        "To look around first, `goodpull demo` makes an invented fleet; run again, it opens the same one at once."
    )
    if st.button("Go to Records", key="go_to_records"):
        st.switch_page("views/records.py")


def why_no_swap(facts: dict[str, Any]) -> str:
    """Why no swap is counted, as a sentence: no part lines, lines that do not say what they are, or none in the scope.

    facts: models.figures.coverage.
    """
    n, n_classed = int(facts["n_part_lines"]), int(facts["n_part_lines_classed"])
    if not n:
        return "No part line is on record, so it is not known whether a switch was pulled; load part_lines."
    if not n_classed:
        return (
            f"None of {words.plural(n, 'part line')} says which part is a draft switch, so swaps are not known; "
            f"fill part_class, or load the table parts."
        )
    if n_classed < n:
        return (
            f"No switch is known to have been pulled for these filters; {words.count(n - n_classed)} of "
            f"{words.plural(n, 'part line')} do not say what kind of part they are."
        )
    return "No switch was pulled for these filters."


def _notice(title: str, points: tuple[str, ...], is_calm: bool) -> None:
    items = "".join(f"<li>{html.escape(point)}</li>" for point in points)
    st.html(
        f'<aside class="gp-notice{" gp-calm" if is_calm else ""}" aria-label="{html.escape(title)}">'
        f"<strong>{html.escape(title)}</strong><ul>{items}</ul></aside>"
    )
