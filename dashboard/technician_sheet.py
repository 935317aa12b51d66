"""One technician's sheet: the steps of the diagnosis, the comparison and why it is fair, three visits."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard import figure_card, figures_access, page, visit_sheet, visit_table, words
from dashboard.charts.steps import step_rates
from models.figures.scope import Scope
from models.figures.technicians import TechnicianFigures
from models.methods.estimate import Estimate

# The process rates of models.figures.technicians, and the words for them.
STEPS = {
    "reading_rate": "gauge reading before the swap",
    "checks_rate": "checks done before the swap",
    "cause_rate": "root cause recorded",
    "after_reading_rate": "gauge reading after the repair",
    "note_rate": "note that describes the finding",
}
CASES = 3


def show(table: pd.DataFrame, people: TechnicianFigures, scope: Scope) -> None:
    """The sheet of the technician chosen here. table: people.table with shown_name."""
    st.subheader("One technician's sheet")
    names = table.sort_values("shown_name").set_index("technician_id")["shown_name"].to_dict()
    one = st.selectbox(
        "Technician",
        list(names),
        format_func=names.__getitem__,
        key="technician",
        bind="query-params",
        index=None,
        placeholder="Choose a technician",
        width=340,
    )
    if one is None:
        st.markdown(
            "Choose a technician to see their steps, whom they are compared with, and three visits to talk through."
        )
        return
    person = table[table["technician_id"] == one].iloc[0]
    with st.container(border=True):
        _cards(person, scope)
        _steps(person, table)
        _fair(person)
        _cases(one, scope)


def _cards(person: pd.Series, scope: Scope) -> None:
    columns = st.columns(3, gap="medium")
    n = int(person["draft_fault_visits"])
    figure = Estimate(
        person["value"],
        person["low"],
        person["high"],
        n,
        _ratio(person["tested"], person["swaps"]),
        "beta-binomial",
        "" if person["has_minimum"] else "Too few draft faults attended to give a figure.",
    )
    with columns[0]:
        figure_card.show(
            "Good switches pulled per draft fault",
            figure,
            "share",
            "own_rate",
            rests_on=f"{words.plural(n, 'draft fault')} attended; {words.count(person['tested'])} of "
            f"{words.plural(person['swaps'], 'swap')} tested",
            note=f"Expected from their mix of calls: {words.share(person['expected_rate'])}",
            behind=lambda: figures_access.visits_behind(scope, "swaps", technician_id=person["technician_id"]),
        )
    with columns[1]:
        st.html(
            _pair(
                "Share of good ones among swaps",
                words.share(person["share_good_among_swaps"]),
                "Shown beside it. Who swaps on every call also swaps the bad ones, so this alone would hide the habit.",
            )
        )
    with columns[2]:
        st.html(
            _pair(
                "Swaps per draft fault",
                words.number(person["swaps_per_draft_fault"], 2),
                f"{words.count(person['swaps'])} swaps at {words.plural(n, 'draft fault')}.",
            )
        )
    if person["is_flagged"]:
        st.markdown(f"**Look here first.** {words.plain(person['reason'] or '')}")
    elif person["reason"]:
        st.markdown(words.plain(person["reason"]))


def _pair(title: str, value: str, note: str) -> str:
    return f'<div class="gp-card"><div class="gp-label">{title}</div><div class="gp-value">{value}</div><p '
    f'class="gp-quiet">{note}</p></div>'


def _steps(person: pd.Series, table: pd.DataFrame) -> None:
    weights = table["swaps"].astype(float)
    lines = []
    for name, step in STEPS.items():
        known = table[name].notna() & (weights > 0)
        company = (
            float((table.loc[known, name].astype(float) * weights[known]).sum() / weights[known].sum())
            if known.any()
            else None
        )
        lines.append(
            {
                "step": step,
                "rate": company,
                "own": person[name],
                "n": int(weights[known].sum()),
                "n_own": person["swaps"],
            }
        )
    frame = pd.DataFrame(lines).astype({"rate": float, "own": float})
    st.markdown("**The steps before and after a swap**")
    page.draw(
        step_rates(frame, page.colours(), str(person["shown_name"])),
        "No swap is on record, so no step can be counted.",
        "steps",
    )
    gaps = frame.dropna(subset=["own", "rate"])
    gaps = (
        gaps[gaps["own"] < gaps["rate"] - 0.05]
        .assign(gap=lambda rows: rows["rate"] - rows["own"])
        .sort_values("gap", ascending=False)
    )
    if gaps.empty:
        st.markdown("No step lies clearly below the company's.")
    else:
        first = gaps.iloc[0]
        st.markdown(
            words.plain(
                f"Start with: {first['step']}. Done on {words.share(first['own'])} of their swaps, "
                f"on {words.share(first['rate'])} across the company."
            )
        )


def _fair(person: pd.Series) -> None:
    lines = [
        "Compared with what the same calls (appliance, age, season, hour, region, symptom) led to with everybody else. "
        "The habit of reading, checking and recording is not part of it, since that is what coaching can change.",
        f"With {words.plural(person['draft_fault_visits'], 'draft fault')}, an excess below "
        f"{words.share(person['smallest_visible_excess'])} could not be told from chance.",
    ]
    if not person["is_separable"]:
        lines.append("Not separable: nearly all these calls were at one site, so site and person cannot be told apart.")
    if person["is_new_starter"]:
        lines.append("A new starter: shown apart, and not set against the limits.")
    st.markdown("**Against whom, and why that is fair**\n" + "\n".join(f"- {words.plain(line)}" for line in lines))


def _cases(technician_id: str, scope: Scope) -> None:
    st.markdown("**Three visits to talk through: what did the gauge say?**")
    cases = talking_cases(figures_access.visits_behind(scope, "swaps", technician_id=technician_id))
    if cases.empty:
        st.markdown("No swap of theirs is on record.")
        return
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
        visit_sheet.show(chosen)
    page.lazily(
        "All their swaps",
        "own_swaps",
        lambda: visit_table.show(figures_access.visits_behind(scope, "swaps", technician_id=technician_id), "own"),
    )


def talking_cases(swaps: pd.DataFrame) -> pd.DataFrame:
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


def _ratio(part: float, whole: float) -> float | None:
    return float(part) / float(whole) if whole else None
