"""This week: what changed, whether it is more than noise, and which visits and sites need someone today."""

from __future__ import annotations

from functools import partial

import pandas as pd
import streamlit as st

from dashboard import (
    callback_detail,
    chart_drill,
    download,
    empty_scope,
    figure_card,
    figures_access,
    lookups,
    marks,
    notices,
    page,
    rate_detail,
    roles,
    scope_bar,
    store_access,
    visit_list,
    visit_table,
    week_parts,
    words,
)
from dashboard.charts.callbacks import callback_curve
from dashboard.charts.control import control_chart
from models.figures.callbacks import Callbacks
from models.figures.control import ControlChart
from models.figures.coverage import is_mostly_unproven
from models.figures.scope import Scope

METHOD = (
    "The rate of good switches weights the tested ones back to all that were pulled. Callbacks are one minus "
    "Kaplan-Meier, "
    "with ranges from leaving out one site at a time; a watch ends with the callback, the end of the records, the removal "
    "of the appliance or its next swap. Weekly limits are exact binomial where cases are few, "
    "else Laney's "
    "p-prime; they rest on a frozen baseline. Weeks whose 30 days are not over are drawn open and judged later."
)
TERMS = ("Swap", "Good pull", "Adjusted rate", "Root cause recorded", "Callback", "Range", "Coverage")


def show() -> None:
    roles.guard("this_week")
    st.title("This week")
    if not page.has_records():
        return
    scope = scope_bar.scope()
    facts = figures_access.coverage(scope)
    control = figures_access.control(scope)
    week = lookups.latest_week(scope)
    page.answer(week_parts.answer(facts, control["no_root_cause"], week))
    download.pack("week", scope)
    later = None
    if facts["n_swaps"] and all(figures_access.is_at_hand(name, scope) for name in ("good_switch", "callbacks")):
        _figures(scope, facts)
    elif facts["n_swaps"]:
        later = page.waiting()
    elif facts["n_visits"]:
        st.markdown(words.plain(f"No figure about swaps: {notices.why_no_swap(facts)}"))
    if not facts["n_swaps"]:
        empty_scope.show()
    _weeks(control, facts, scope)
    _needs_someone(scope)
    if later is not None:
        with later.container():
            _figures(scope, facts)
    _behind(scope, week, facts)
    page.next_steps(week_parts.steps(scope, facts))
    page.how_computed(METHOD, TERMS)


def _figures(scope: Scope, facts: dict) -> None:
    for column, one in zip(st.columns(4, gap="medium"), week_parts.cards(scope, facts), strict=False):
        with column:
            figure_card.show(
                one.label,
                one.estimate,
                one.unit,
                one.key,
                rests_on=one.rests_on,
                note=one.note,
                behind=figures_access.behind(scope, one.what),
                behind_label=one.behind_label,
            )


def _weeks(control: dict[str, ControlChart], facts: dict, scope: Scope) -> None:
    st.header("Week by week")
    name = st.segmented_control(
        "What to draw",
        list(week_parts.CHART_TITLES),
        default="no_root_cause",
        required=True,
        format_func=week_parts.CHART_TITLES.__getitem__,
        key="weekly",
        bind="query-params",
        label_visibility="collapsed",
    )
    chart = control[name or "no_root_cause"]
    if chart.name == "callback_30" and is_mostly_unproven(facts):
        st.markdown(words.plain(f"No picture: {week_parts.unproven(facts)}"))
        return
    if not facts["n_swaps"]:
        st.markdown(words.plain(f"No picture: {notices.why_no_swap(facts)}"))
        return
    picture = control_chart(chart.weeks, week_parts.CHART_TITLES[chart.name], page.colours())
    chart_drill.draw(
        picture,
        f"No picture: {chart.sentence or 'no week has a case yet.'}",
        f"control_{chart.name}",
        "Visits of a week",
        marks.weeks(chart.name, chart.weeks, scope),
        week_parts.caption(chart),
    )


def _needs_someone(scope: Scope) -> None:
    st.header("Needs someone today")
    notices.safety()
    lists = week_parts.lists(scope)
    for column, part in zip(st.columns(2, gap="large"), (lists[:2], lists[2:]), strict=True):
        with column:
            for one in part:
                st.markdown(f"**{one.title}**" + (f": {one.rule}" if one.rule else ""))
                cut = one.cut_to(visit_list.SHOWN)
                visit_list.show(one.frame, one.key, one.otherwise, one.n, one.behind, cut)


def _behind(scope: Scope, week: dict, facts: dict) -> None:
    st.header("The visits behind it")
    if week:
        day = pd.Timestamp(week["week_on"]).date()
        page.lazily(
            f"Draft faults attended in the week of {words.date(day)}",
            "week_visits",
            partial(visit_table.show, figures_access.behind(scope, "draft_faults", week_on=day), "week"),
        )
    page.lazily(
        "Callbacks, newest first",
        "callback_visits",
        partial(visit_table.show, figures_access.behind(scope, "callbacks"), "callback_list"),
    )
    if facts["n_swaps"]:
        page.lazily(
            "The rate of good switches: other ways to count, and by group",
            "rate_detail",
            partial(rate_detail.show, scope),
        )
    returns = figures_access.callbacks(scope)
    if returns.n_swaps:
        window = store_access.settings().headline_window
        page.lazily(
            "Callbacks: other ways to count, and among like cases",
            "callback_detail",
            partial(callback_detail.show, returns, window, facts),
        )
    page.lazily(
        "How callbacks build up after a swap",
        "callback_curve",
        lambda: _curve(returns, facts, scope),
    )


def _curve(returns: Callbacks, facts: dict, scope: Scope) -> None:
    if is_mostly_unproven(facts):
        st.markdown(words.plain(f"No picture: {week_parts.unproven(facts)}"))
        return
    chart_drill.draw(
        callback_curve(returns.curve, page.colours(), tuple(returns.windows)),
        "No swap has been followed up yet.",
        "curve",
        "What came back by a day",
        marks.came_back(returns, scope),
    )
    st.caption(words.plain(returns.sentence))


if __name__ == "__main__":
    show()
