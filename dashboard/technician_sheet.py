"""One technician's sheet: the steps of the diagnosis, the comparison and why it is fair, three visits."""

from __future__ import annotations

from functools import partial

import pandas as pd
import streamlit as st

from dashboard import (
    beside_company,
    chart_drill,
    coached,
    coaching_sessions,
    code_names,
    download,
    figure_card,
    figures_access,
    in_address,
    marks,
    page,
    record_lookups,
    remarks,
    talking_cases,
    words,
)
from dashboard.beside_company import Beside
from dashboard.charts.steps import step_rates
from models.figures.scope import Scope
from models.figures.technicians import FAIRNESS, TechnicianFigures
from models.methods.estimate import Estimate
from pipelines.contract.codes import CHECK_CODE
from pipelines.remarks import Remark

# The process rates of models.figures.technicians, and the words for them.
CHECK_WORDS = {code.code: code.about for code in CHECK_CODE.codes}
STEPS = {
    "reading_rate": "gauge reading of the draft",
    "checks_rate": "three checks or more done",
    "cause_rate": "root cause recorded",
    "after_reading_rate": "gauge reading after the repair",
    "note_rate": "note that describes the finding",
}
# The table a step is read from; while it has no row, whether the step was done is not known.
STEP_TABLES = {"reading_rate": "readings", "checks_rate": "checks", "after_reading_rate": "readings"}
# A share this far below the company's is worth a talk.
CLEARLY_BELOW = 0.05
BESIDE = (
    "Shown beside it, without a range: nobody is judged by it. Who swaps on every call also swaps the bad ones, so this "
    "alone would hide the habit."
)


def show(table: pd.DataFrame, people: TechnicianFigures, scope: Scope) -> None:
    """The sheet of the technician chosen here. table: people.table with shown_name."""
    st.header("One technician's sheet")
    names = table.sort_values("shown_name").set_index("technician_id")["shown_name"].to_dict()
    # The id stands in the address, so that a link outlives a change of name; under code names it would give the person away.
    one = in_address.choice(
        "Technician",
        list(names),
        "technician",
        "Technician {} attended no draft fault for these filters, or is not on record.",
        "Choose a technician",
        names.__getitem__,
        written=names.__getitem__ if code_names.is_shown() else str,
    )
    if one is None:
        st.markdown(
            "Choose a technician to see their steps, whom they are compared with, and three visits to talk through."
        )
        return
    sheet(str(one), table, people, scope)
    coaching_sessions.form(str(one))


def sheet(one: str, table: pd.DataFrame, people: TechnicianFigures, scope: Scope) -> None:
    """The sheet itself, the same for the trainer and for the technician. table: people.table with shown_name."""
    beside = beside_company.of(one, table, people, scope)
    person = beside.person
    download.pack("coaching", scope, str(one))
    said = remarks.of(one)
    with st.container(border=True):
        _cards(person, scope, said)
        _steps(beside, scope)
        remarks.show(said, "steps")
        coached.of_technician(beside_company.coaching(), str(one))
        _fair(beside)
        remarks.show(said, "comparison")
        cases = talking_cases.show(one, scope, said)
        remarks.show_others(said, list(cases))
        remarks.form(one, said, cases)


def figure_of(person: pd.Series) -> tuple[Estimate, str, str]:
    """Good switches pulled per draft fault: the estimate, what it rests on, what is expected."""
    n = int(person["draft_fault_visits"])
    figure = Estimate(
        person["value"],
        person["low"],
        person["high"],
        n,
        _ratio(person["tested"], person["swaps"]),
        "beta-binomial",
        str(person["reason"] or "").removesuffix(FAIRNESS).strip(),
    )
    rests_on = (
        f"{words.plural(n, 'draft fault')} attended; {words.count(person['tested'])} of "
        f"{words.plural(person['swaps'], 'swap')} with a clear bench result"
    )
    return figure, rests_on, f"Expected from their mix of calls: {words.share(person['expected_rate'])}"


def _cards(person: pd.Series, scope: Scope, said: list[Remark]) -> None:
    columns = st.columns(3, gap="medium")
    behind = partial(figures_access.behind, scope, technician_id=person["technician_id"])
    figure, rests_on, note = figure_of(person)
    with columns[0]:
        figure_card.show(
            "Good switches pulled per draft fault",
            figure,
            "share",
            "own_rate",
            rests_on=rests_on,
            note=note,
            behind=behind("swaps"),
        )
        remarks.show(said, "good_pulls")
    with columns[1]:
        st.html(
            _pair(
                "Share of good ones among swaps",
                words.share(person["share_good_among_swaps"]),
                BESIDE,
            )
        )
        figure_card.opens(
            "Swaps with a clear bench result", "own_share", behind("bench_clear"), "Show the clear results"
        )
        remarks.show(said, "good_share")
    with columns[2]:
        st.html(
            _pair(
                "Swaps per draft fault",
                words.number(person["swaps_per_draft_fault"], 2),
                swaps_counted(person),
            )
        )
        figure_card.opens(
            "Draft faults attended", "own_swaps_per_fault", behind("draft_faults"), "Show the draft faults"
        )
        remarks.show(said, "swaps")
    head = "**Look here first.** " if person["is_flagged"] else ""
    st.markdown(head + words.plain((person["reason"] or "").removesuffix(FAIRNESS).strip()))


def swaps_counted(person: pd.Series) -> str:
    swaps, faults = words.plural(person["swaps"], "swap"), words.plural(person["draft_fault_visits"], "draft fault")
    return f"{swaps} at {faults}, counted, so without a range."


def _pair(title: str, value: str, note: str) -> str:
    return (
        f'<div class="gp-card"><div class="gp-label">{title}</div><div class="gp-value">{value}</div><p '
        f'class="gp-quiet">{note}</p></div>'
    )


def company_step(table: pd.DataFrame, name: str) -> tuple[int, int]:
    """Swaps with the step done and swaps it was counted on, over everybody in the table."""
    known = table[table[name].notna() & table["n_process"].gt(0)]
    n = known["n_process"].astype(int)
    return round(float((known[name].astype(float) * n).sum())), int(n.sum())


def known_steps() -> dict[str, str]:
    """The steps that the records can tell of, and the words for them."""
    empty = record_lookups.empty_tables()
    return {name: step for name, step in STEPS.items() if STEP_TABLES.get(name) not in empty}


def step_frame(person: pd.Series, table: pd.DataFrame) -> pd.DataFrame:
    """The steps that can be told, a row each: name, step, rate (everybody), own, n, n_own."""
    lines = []
    for name, step in known_steps().items():
        n_done, n = company_step(table, name)
        lines.append(
            {
                "name": name,
                "step": step,
                "rate": n_done / n if n else None,
                "own": person[name],
                "n": n,
                "n_own": person["n_process"],
            }
        )
    return pd.DataFrame(lines).astype({"rate": float, "own": float})


def first_steps(some: pd.DataFrame, table: pd.DataFrame) -> list[str]:
    """The step in which each of some technicians lies furthest below the company; blank where none is clearly below.

    some, table: rows of people.table, of those asked for and of all.
    """
    known = known_steps()
    counted = {name: company_step(table, name) for name in known}
    gaps = pd.DataFrame(
        {name: n_done / n - some[name].astype(float) for name, (n_done, n) in counted.items() if n}, index=some.index
    )
    if gaps.empty:
        return [""] * len(some)
    clear = gaps.where(gaps > CLEARLY_BELOW, 0.0)
    return [known[name] if gap else "" for name, gap in zip(clear.idxmax(axis=1), clear.max(axis=1), strict=True)]


def start_with(frame: pd.DataFrame) -> str:
    """The step that lies furthest below the company's, in a sentence. frame: see step_frame."""
    gaps = frame.dropna(subset=["own", "rate"]).assign(gap=lambda rows: rows["rate"] - rows["own"])
    gaps = gaps[gaps["gap"] > CLEARLY_BELOW].sort_values("gap", ascending=False)
    if gaps.empty:
        return "No step lies clearly below the company's."
    first = gaps.iloc[0]
    return (
        f"Start with: {first['step']}. Done on {words.share(first['own'])} of their swaps, "
        f"on {words.share(first['rate'])} across the company."
    )


def nothing_drawn(beside: Beside) -> str:
    """Why no step is drawn."""
    return "No swap is on record, so no step can be counted." if beside.has_company else beside.note


def _steps(beside: Beside, scope: Scope) -> None:
    person = beside.person
    frame = step_frame(person, beside.table)
    st.markdown("**The steps around a swap**")
    picture = step_rates(frame, page.colours(), str(person["shown_name"]))
    chart_drill.draw(
        picture,
        nothing_drawn(beside),
        "steps",
        "Swaps without a step",
        marks.steps(frame, str(person["technician_id"]), scope),
        f"Bar: all technicians. Diamond: {person['shown_name']}; it opens their swaps without the step.",
    )
    if not beside.has_company:
        return
    st.markdown(words.plain(start_with(frame)))
    skipped = skipped_checks(beside.checks, str(person["technician_id"]))
    if skipped:
        st.markdown(words.plain("Checks they leave out more often than others: " + "; ".join(skipped) + "."))
    if beside.note:
        st.caption(words.plain(beside.note))


def skipped_checks(checks: pd.DataFrame, technician_id: str, at_most: int = 3) -> list[str]:
    """The checks with the widest gap to the company, in words; none where no gap is wider than five points.

    checks: technician_id, step (a check code), n, rate, company_rate.
    """
    own = checks[checks["technician_id"] == technician_id]
    own = own.assign(gap=own["company_rate"].astype(float) - own["rate"].astype(float))
    own = own[own["gap"] > 0.05].sort_values(["gap", "step"], ascending=[False, True]).head(at_most)
    return [
        f"{words.in_words(line.step, CHECK_WORDS)} ({words.share(line.rate)} against {words.share(line.company_rate)})"
        for line in own.itertuples()
    ]


def fair_lines(beside: Beside) -> list[str]:
    """Against whom the person is compared, and why that is fair."""
    person = beside.person
    lines = [
        "Compared with what the same calls (appliance, age, season, hour, region, symptom) led to with everybody else. "
        "The habit of reading, checking and recording is not part of it, since that is what coaching can change.",
    ]
    if words.is_missing(person["smallest_visible_excess"]):
        steps = "set beside those of all technicians" if beside.has_company else "not compared, either"
        lines = [f"Outcomes are not compared yet; the steps above are {steps}."]
    else:
        lines.append(
            f"With {words.plural(person['draft_fault_visits'], 'draft fault')}, an excess below "
            f"{words.points(person['smallest_visible_excess']).removeprefix('+')} could not be told from chance."
        )
    if not person["is_separable"]:
        lines.append("Not separable: nearly all these calls were at one site, so site and person cannot be told apart.")
    if person["is_new_starter"]:
        lines.append("A new starter: shown apart, and not set against the limits.")
    return lines


def _fair(beside: Beside) -> None:
    lines = fair_lines(beside)
    st.markdown("**Against whom, and why that is fair**\n" + "\n".join(f"- {words.plain(line)}" for line in lines))


def _ratio(part: float, whole: float) -> float | None:
    return float(part) / float(whole) if whole else None
