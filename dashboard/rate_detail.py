"""The rate of good switches from every side: how it is counted, how far it could move, and by group."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard import chart_drill, code_names, figures_access, marks, notices, page, people_table, visit_table, words
from models.figures.good_switch import GoodSwitch
from models.figures.scope import Scope
from models.methods.estimate import Estimate

GROUPS = {
    "By branch": ("branch", "Branch"),
    "By part number": ("part_number", "Part number"),
    "By technician": ("technician_id", "Technician"),
    "By week": ("week_on", "Week of"),
}
# Odds shown in words; the others are in the published figures.
TILTS_SHOWN = (0.5, 2.0)


def show(scope: Scope) -> None:
    """Ways of counting as a table, the odds tilt as a sentence, the rate by group with its coverage."""
    good = figures_access.good_switch(scope)
    page.rows(
        (("How it is counted", "text"), ("Good", "number"), ("Range", "text"), ("Rests on", "text")), ways(good), ""
    )
    moved = tilt_sentence(good.tilt)
    if moved:
        st.markdown(words.plain(moved))
    st.caption(words.plain(good.rule))
    for tab, (name, title) in zip(st.tabs(list(GROUPS)), GROUPS.values(), strict=True):
        with tab:
            _group(scope, name, title)


def ways(good: GoodSwitch) -> list[tuple[str, str, str, str]]:
    """One line per way of counting: what, value, range, what it rests on or why it cannot be given."""
    low, high = good.bounds
    clear = words.plural(good.n_good + good.n_faulty, "clear bench result")
    return [
        _way("Clear bench results alone", good.tested, clear),
        _way("Adjusted for which ones were tested", good.adjusted, f"{clear} of {words.count(good.n_swaps)} pulled"),
        _way("By the random draw alone", good.drawn, words.plural(good.drawn.n, "switch drawn", "switches drawn")),
        _way("If every other one was faulty", low, f"all {words.count(good.n_swaps)} pulled"),
        _way("If every other one was good", high, f"all {words.count(good.n_swaps)} pulled"),
    ]


def _way(title: str, estimate: Estimate, rests_on: str) -> tuple[str, str, str, str]:
    if not estimate.is_known:
        return title, "not known", "", estimate.sentence
    reach = "a bound, without a range" if estimate.low == estimate.high else words.range_of(estimate, "share")
    return title, words.share(estimate.value), reach, rests_on


def tilt_sentence(tilt: pd.DataFrame) -> str:
    """How far the answer moves if testing depended on the result; blank where nothing was tested."""
    rate = tilt.set_index("tilt")["rate"] if not tilt.empty else pd.Series(dtype=float)
    if not set(TILTS_SHOWN) <= set(rate.index):
        return ""
    same = f"; if the same, as counted by like cases, {words.share(rate[1.0])}" if 1.0 in rate.index else ""
    half, twice = (words.share(rate[odds]) for odds in TILTS_SHOWN)
    return (
        "If the odds of being good were half as high among the untested switches as among tested ones like them, the "
        f"rate would be {half}; if twice as high, {twice}{same}."
    )


def _group(scope: Scope, name: str, title: str) -> None:
    frame = figures_access.good_switch_by(scope, name)
    if frame.empty:
        st.markdown("No switch pulled.")
        return
    shown = pd.DataFrame({title: frame[name]})
    if name == "technician_id":
        notices.fairness()
        shown[title] = [*map(code_names.naming(), frame[name])]
    elif name == "week_on":
        shown[title] = [words.date(pd.Timestamp(day)) for day in frame[name]]
    else:
        shown[title] = frame[name].fillna("not recorded")
    shown["Pulled"], shown["Clear results"] = frame["n_swaps"], frame["n_tested"]
    shown["Coverage"], shown["Good"] = frame["coverage"], frame["value"]
    shown["Range from"], shown["Range to"] = frame["low"], frame["high"]
    shown["Rests on"] = frame["sentence"]
    shares = ("Coverage", "Good", "Range from", "Range to")
    if name == "technician_id":
        people_table.show(shown, f"rate_{name}", shares, ranges={"Good": ("Range from", "Range to")})
    else:
        visit_table.plain_table(shown, f"rate_{name}", shares=shares, missing=words.NOT_KNOWN)
    # The weeks have their list under the picture of the weeks.
    if name != "week_on":
        shown_as = code_names.naming() if name == "technician_id" else str
        chart_drill.choose(f"rate_{name}", "Visits of", marks.groups(name, frame[name], scope, shown=shown_as))
