"""This week: what changed, whether it is more than noise, and which visits and sites need someone today."""

from __future__ import annotations

from functools import partial

import pandas as pd
import streamlit as st

from dashboard import (
    callback_detail,
    figure_card,
    figures_access,
    lookups,
    notices,
    page,
    rate_detail,
    scope_bar,
    store_access,
    visit_table,
    words,
)
from dashboard.charts.callbacks import callback_curve
from dashboard.charts.control import WEEKS_SHOWN, control_chart
from models.figures.callbacks import Callbacks
from models.figures.control import ControlChart
from models.figures.coverage import came_back, is_mostly_unproven
from models.figures.scope import Scope
from models.methods.estimate import Estimate

CHART_TITLES = {
    "no_root_cause": "Swaps without a root cause",
    "good_switch": "Good switches among clear bench results",
    "callback_30": "Came back within 30 days of the swap",
}
# Swaps in a week below which a share of them is not judged on its own.
FEWEST_TO_JUDGE = 5
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
    st.title("This week")
    if not page.has_records():
        return
    scope = scope_bar.scope()
    facts = figures_access.coverage(scope)
    control = figures_access.control(scope)
    week = lookups.latest_week(scope)
    page.answer(_answer(facts, control["no_root_cause"], week))
    if facts["n_swaps"]:
        _figures(scope, facts)
    elif facts["n_visits"]:
        st.markdown(words.plain(f"No figure about swaps: {notices.why_no_swap(facts)}"))
    _weeks(control, facts)
    _needs_someone(scope)
    _behind(scope, week, facts)
    page.next_steps(_steps(scope, facts))
    page.how_computed(METHOD, TERMS)


def _answer(facts: dict, chart: ControlChart, week: dict) -> str:
    if not facts["n_visits"]:
        return "There are no visits for these filters."
    if not week:
        return f"{words.plural(facts['n_visits'], 'visit')} on record, and no draft fault among them."
    start = f"In the week of {words.date(week['week_on'])}: {words.plural(week['n_draft_faults'], 'draft fault')}"
    if not week["n_swaps"]:
        if facts["n_part_lines_classed"] < facts["n_part_lines"] or not facts["n_part_lines"]:
            return f"{start}. {notices.why_no_swap(facts)}"
        return f"{start}, and no switch was pulled."
    without = int(week["n_without_cause"])
    start += f", {words.plural(week['n_swaps'], 'switch', 'switches')} pulled, " + (
        "with a root cause on record." if not without else f"{words.count(without)} without a root cause on record."
    )
    if week["n_swaps"] < FEWEST_TO_JUDGE:
        return f"{start} With so few, a week says nothing about the habit; see the weeks together below."
    weeks = chart.weeks[pd.to_datetime(chart.weeks["week_on"]) == pd.Timestamp(week["week_on"])]
    if weeks.empty or weeks["lower"].isna().all():
        return f"{start} There are too few weeks before it to say whether that is unusual."
    now = weeks.iloc[-1]
    limits = f"{words.share(now['lower'])} to {words.share(now['upper'])}"
    if not now["lower"] <= now["share"] <= now["upper"]:
        side = "more" if now["share"] > now["centre"] else "less"
        return f"{start} That is {side} than chance explains: {words.share(now['share'])}, against a usual {limits}."
    return f"{start} That is no more than the usual up and down: {words.share(now['share'])}, within {limits}."


def _figures(scope: Scope, facts: dict) -> None:
    good = figures_access.good_switch(scope)
    returns = figures_access.callbacks(scope)
    window = store_access.settings().headline_window
    pair = returns.windows.get(window) or next(iter(returns.windows.values()), {})
    columns = st.columns(4, gap="medium")
    with columns[0]:
        figure_card.show(
            "Switches pulled that were good",
            good.adjusted,
            "share",
            "good",
            rests_on=words.tested(good.n_tested, good.n_good + good.n_faulty, good.n_swaps),
            behind=figures_access.behind(scope, "bench_good"),
            behind_label="Show the ones found good",
        )
    for column, group, title, what in (
        (columns[1], "without_cause", f"Back within {window} days, no root cause recorded", "without_cause"),
        (columns[2], "with_cause", f"Back within {window} days, root cause recorded", "with_cause"),
    ):
        with column:
            if group in pair:
                figure_card.show(
                    title,
                    came_back(pair[group], facts),
                    "share",
                    group,
                    rests_on=words.followed(pair[group], window),
                    note=at_most(pair[group], returns.possible.get(window, {}).get(group)),
                    behind=figures_access.behind(scope, what),
                )
    with columns[3]:
        if "difference" in pair:
            figure_card.show(
                "More came back without a root cause",
                came_back(pair["difference"], facts),
                "points",
                "difference",
                rests_on="In percentage points. An association: it need not be the record that made the difference.",
                behind=figures_access.behind(scope, "callbacks"),
                behind_label="Show the callbacks",
            )


def at_most(certain: Estimate, possible: Estimate | None) -> str:
    """What the share could be if the visits that do not prove their appliance were callbacks too; blank if the same."""
    if possible is None or possible.value is None or certain.value is None or possible.value <= certain.value:
        return ""
    if words.share(possible.value) == words.share(certain.value):
        return ""
    return f"Up to {words.share(possible.value)} if the unproven ones are the same appliance."


def _weeks(control: dict[str, ControlChart], facts: dict) -> None:
    st.header("Week by week")
    name = st.segmented_control(
        "What to draw",
        list(CHART_TITLES),
        default="no_root_cause",
        required=True,
        format_func=CHART_TITLES.__getitem__,
        key="weekly",
        bind="query-params",
        label_visibility="collapsed",
    )
    chart = control[name or "no_root_cause"]
    if chart.name == "callback_30" and is_mostly_unproven(facts):
        st.markdown(words.plain(f"No picture: {_unproven(facts)}"))
        return
    if not facts["n_swaps"]:
        st.markdown(words.plain(f"No picture: {notices.why_no_swap(facts)}"))
        return
    picture = control_chart(chart.weeks, CHART_TITLES[chart.name], page.colours())
    page.draw(picture, f"No picture: {chart.sentence or 'no week has a case yet.'}", f"control_{chart.name}")
    if picture is None:
        return
    lines = [chart.sentence]
    if chart.baseline_from:
        lines.append(f"Limits rest on {words.date(chart.baseline_from)} to {words.date(chart.baseline_to)}.")
    if len(chart.weeks) > WEEKS_SHOWN:
        lines.append(f"Drawn are the last {WEEKS_SHOWN} of {words.count(len(chart.weeks))} weeks.")
    st.caption(words.plain(words.with_dates(" ".join(lines))))


def _unproven(facts: dict) -> str:
    return came_back(Estimate(0.0, 0.0, 0.0, 0, None, ""), facts).sentence


def _needs_someone(scope: Scope) -> None:
    st.header("Needs someone today")
    notices.safety()
    left, right = st.columns(2, gap="large")
    with left:
        st.markdown(f"**Open safety items**: {lookups.SAFETY_RULE}")
        visit_table.brief(lookups.safety_items(scope), "safety", "No safety item is open on record.")
        st.markdown("**Back at the same site within 14 days**")
        visit_table.brief(
            lookups.quick_returns(scope),
            "returns",
            "No site was visited twice for a draft fault in the last 14 days on record.",
        )
    with right:
        when = "in the week after the records" if scope_bar.is_stale() else "this week"
        st.markdown(f"**Thirty days up {when}, no root cause on record**")
        visit_table.brief(
            lookups.maturing(scope), "maturing", f"No swap without a root cause reaches its thirtieth day {when}."
        )
        st.markdown("**Evidence to ask for while it is fresh**")
        visit_table.brief(
            lookups.missing_evidence(scope),
            "evidence",
            "Every swap of the last 7 days on record has its reading, its cause and its tag."
            if lookups.recent_swaps(scope)
            else "No switch is known to have been pulled in the last 7 days on record.",
        )


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
        lambda: _curve(returns, facts),
    )


def _curve(returns: Callbacks, facts: dict) -> None:
    if is_mostly_unproven(facts):
        st.markdown(words.plain(f"No picture: {_unproven(facts)}"))
        return
    page.draw(callback_curve(returns.curve, page.colours()), "No swap has been followed up yet.", "curve")
    st.caption(words.plain(returns.sentence))


def _steps(scope: Scope, facts: dict) -> list[str]:
    steps = []
    if not lookups.safety_items(scope).empty:
        steps.append(
            "Call the owner of each open safety item today; the appliance stays off until licensed people have decided."
            + (" The records end some time ago: ask first what was done since." if scope_bar.is_stale() else "")
        )
    waiting = lookups.missing_evidence(scope)
    if not waiting.empty:
        steps.append(
            f"Ask for the missing reading or cause on {words.plural(len(waiting), 'visit')} of the last 7 days, "
            f"before it is forgotten."
        )
    if not lookups.quick_returns(scope).empty:
        steps.append(
            "Read the earlier readings before anyone goes back to a site listed above; send someone who will "
            "gauge the draft."
        )
    if not facts["n_swaps"]:
        return steps or ["Load records that tell which switches were pulled; see Records."]
    steps.append("Send removed switches to the bench with their tag on: each test narrows the range above.")
    return steps


if __name__ == "__main__":
    show()
