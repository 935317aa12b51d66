"""The safety and fairness texts, and the notices of an empty page."""

from __future__ import annotations

import html

import streamlit as st

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


def nothing_yet() -> None:
    """What a page says when no records have been loaded."""
    with st.container(key="answer"):
        st.markdown("No records yet, so there is nothing to say.")
    st.markdown(
        "Load your visit records on the **Records** page, or on the command line with `goodpull load FOLDER`. "
        "To look around first, `goodpull demo` makes an invented fleet."
    )
    if st.button("Go to Records", key="go_to_records"):
        st.switch_page(st.session_state["pages"]["records"])


def _notice(title: str, points: tuple[str, ...], is_calm: bool) -> None:
    items = "".join(f"<li>{html.escape(point)}</li>" for point in points)
    st.html(
        f'<aside class="gp-notice{" gp-calm" if is_calm else ""}" aria-label="{html.escape(title)}">'
        f"<strong>{html.escape(title)}</strong><ul>{items}</ul></aside>"
    )
