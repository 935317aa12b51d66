"""On one technician's sheet: up to three of their swaps to talk through, each opened in full."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard import figures_access, notices, page, remarks, visit_sheet, visit_table, words
from models.figures.scope import Scope
from pipelines.remarks import Remark

CASES = 3


def show(technician_id: str, scope: Scope, said: list[Remark]) -> dict[str, str]:
    """The visits to talk through; gives them back with their words."""
    st.markdown("**Three visits to talk through: what did the gauge say?**")
    cases = chosen_cases(figures_access.visits_behind(scope, "swaps", technician_id=technician_id))
    if cases.empty:
        st.markdown("No swap of theirs is on record.")
        return {}
    notices.safety()
    labels = {
        str(case.visit_id): f"{words.date(case.visit_on)}: {words.in_words(case.evidence, words.EVIDENCE_WORDS)}"
        for case in cases.itertuples()
    }
    chosen = st.segmented_control(
        "Visit",
        list(labels),
        format_func=labels.__getitem__,
        key=f"case_{technician_id}",
        label_visibility="collapsed",
        default=next(iter(labels)),
        required=True,
    )
    if chosen:
        visit_sheet.show(chosen, "technician", is_cautioned=True)
        remarks.show(said, remarks.VISIT + chosen)
    page.lazily(
        "All their swaps",
        "own_swaps",
        lambda: visit_table.show(figures_access.behind(scope, "swaps", technician_id=technician_id), "own"),
    )
    return labels


def chosen_cases(swaps: pd.DataFrame) -> pd.DataFrame:
    """Up to three swaps worth talking through, one of each kind where there is one.

    First a switch the bench found good, then one the readings did not support pulling, then one without a root cause
    that came back; what is missing is filled with the newest others.
    """
    if swaps.empty:
        return swaps
    kinds = (
        swaps["verdict"].eq("good"),
        swaps["evidence"].eq("condemnation_not_supported"),
        swaps["tier"].isin(["code_only", "none"]) & swaps["callback_days"].notna(),
        swaps["evidence"].eq("no_reading"),
    )
    chosen: list[int] = []
    for kind in kinds:
        fresh = [row for row in swaps.index[kind.fillna(False).astype(bool)] if row not in chosen]
        chosen += fresh[:1]
    chosen += [row for row in swaps.index if row not in chosen]
    return swaps.loc[chosen[:CASES]].drop_duplicates("visit_id")
