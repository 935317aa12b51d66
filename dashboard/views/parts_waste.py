"""Parts waste: what swaps of good switches cost, known and estimated, and what a better rate would save."""

from __future__ import annotations

from functools import partial

import pandas as pd
import streamlit as st

from dashboard import (
    bench_return,
    chart_drill,
    code_names,
    empty_scope,
    exchange,
    figure_card,
    figures_access,
    long_list,
    lookups,
    marks,
    notices,
    page,
    people_table,
    roles,
    scope_bar,
    store_access,
    visit_table,
    warranty_claims,
    words,
)
from dashboard.charts.ranges import ranges
from dashboard.charts.waste import MONTHS_SHOWN, waste_by_month
from models.figures.good_switch import GoodSwitch
from models.figures.scope import Scope
from models.figures.waste import Waste
from models.methods.estimate import unknown
from pipelines.settings import Settings

PARTS = {
    "part": "Part",
    "labour": "Labour beyond the diagnosis that was needed anyway",
    "trip": "Trip",
    "callbacks": "Callbacks it led to, each charged once",
    "credit_received": "Less: warranty credit received for these switches",
}
GROUPINGS = {
    "By branch": ("by_branch", "branch"),
    "By part number": ("by_part", "part_number"),
    "By technician": ("by_technician", "technician_id"),
}
REASONS_SHOWN = 6
METHOD = (
    "Known: swaps whose removed switch the bench found good. Estimated: over the swaps without a clear bench "
    "result, the "
    "probability that the switch was good times what the swap cost; the range comes from drawing the "
    "probabilities, the rate "
    "and the callbacks again and again. What is missing (a part without a cost, no labour rate) counts as "
    "nothing and is named."
)
ROUNDED = "Each amount is rounded by itself, so sums may differ in the last digit."
TERMS = ("Known waste", "Estimated waste", "Good pull", "Callback", "Range", "Coverage")


def show() -> None:
    roles.guard("parts_waste")
    st.title("Parts waste")
    if not page.has_records():
        return
    scope = scope_bar.scope()
    waste = figures_access.waste(scope)
    good, facts = figures_access.good_switch(scope), figures_access.coverage(scope)
    if not good.n_swaps:
        page.answer(notices.why_no_swap(facts))
        empty_scope.show()
        return
    is_known = waste.known.is_known or waste.estimated.is_known
    page.answer(" ".join([_answer(waste), *([what_counts(facts, store_access.settings())] if is_known else [])]))
    exchange.show()
    _cards(waste, scope)
    if waste.assumptions:
        st.caption("What the amounts rest on: " + " ".join(words.plain(line) for line in waste.assumptions))
    st.header("Month by month")
    picture = waste_by_month(waste.by_month, waste.currency, page.colours())
    cut = f"Drawn are the last {MONTHS_SHOWN} of {words.count(len(waste.by_month))} months with a swap."
    chart_drill.draw(
        picture,
        _why_none(waste),
        "waste_months",
        "Visits behind a bar",
        marks.months_of_cost(waste.by_month, waste.currency, scope),
        cut if len(waste.by_month) > MONTHS_SHOWN else "",
    )
    _groups(waste, scope, good.adjusted.value)
    left, right = st.columns(2, gap="large")
    with left:
        _made_of(waste)
    with right:
        _warranty(waste, scope)
    warranty_claims.show(scope)
    bench_return.show(scope)
    _behind(scope)
    page.next_steps(_steps(waste, good))
    page.how_computed(METHOD, TERMS)


def _answer(waste: Waste) -> str:
    if not waste.known.is_known and not waste.estimated.is_known:
        return f"The cost of swaps of good switches is not known: {waste.known.sentence or waste.estimated.sentence}"
    if not waste.known.n:
        known = "No removed switch was found good on the bench, so no waste can be counted yet"
    else:
        known = f"Swaps of switches the bench found good cost {words.money(waste.known.value, waste.currency)}, counted one by one"
    if not waste.estimated.is_known:
        return f"{known}; what the others cost cannot be estimated yet. {waste.estimated.sentence}"
    return (
        f"{known}. Over those without a clear test another {words.money(waste.estimated.value, waste.currency)} is "
        f"likely, "
        f"{words.range_of(waste.estimated, 'money', waste.currency)}."
    )


def what_counts(facts: dict, settings: Settings) -> str:
    """The days the amounts are of, and what of a swap they leave out: that for which no rate was given."""
    days = " to ".join(words.date(pd.Timestamp(facts[name])) for name in ("first_on", "last_on"))
    given = [("labour", settings.labour_cost_per_hour), ("trips", settings.trip_cost)]
    missing = [name for name, rate in given if rate is None]
    without = f"; without {words.joined(missing)}, for which no rate was given" if missing else ""
    return f"All {days}, less warranty credit{without}."


def _why_none(waste: Waste) -> str:
    return f"No picture: {waste.known.sentence or waste.estimated.sentence or 'no amount is on record.'}"


def _cards(waste: Waste, scope: Scope) -> None:
    columns = st.columns(3, gap="medium")
    with columns[0]:
        figure_card.show(
            "Known: the bench found the switch good",
            waste.known,
            "money",
            "known",
            currency=waste.currency,
            rests_on=words.plural(waste.known.n, "swap of a good switch", "swaps of good switches"),
            behind=figures_access.behind(scope, "bench_good"),
        )
    with columns[1]:
        figure_card.show(
            "Estimated: over swaps without a clear test",
            waste.estimated,
            "money",
            "estimated",
            currency=waste.currency,
            rests_on=f"{words.plural(waste.estimated.n, 'swap')} without a clear bench result, each by its probability",
            behind=figures_access.behind(scope, "without_clear_result"),
        )
    with columns[2]:
        figure_card.show(
            "Saved in a year at the best quarter's rate",
            waste.what_if if waste.what_if is not None else unknown("Not worked out."),
            "money",
            "what_if",
            currency=waste.currency,
            rests_on=f"{words.plural(waste.what_if.n, 'technician')} side by side",
            note=waste.what_if.sentence if waste.what_if.is_known else "",
            behind=figures_access.behind(scope, "swaps"),
        )


def _groups(waste: Waste, scope: Scope, company: float | None) -> None:
    st.header("Where it arises")
    st.html(f'<p class="gp-quiet">In the order of their names, not of their figures. {ROUNDED}</p>')
    for tab, (title, (name, column)) in zip(st.tabs(list(GROUPINGS)), GROUPINGS.items(), strict=True):
        with tab:
            frame = getattr(waste, name)
            if frame.empty:
                st.markdown(f"No amounts {title.lower()}.")
                continue
            if column == "branch":
                rates = figures_access.good_switch_by(scope, "branch")
                chart_drill.draw(
                    ranges(
                        rates,
                        "branch",
                        "switches pulled that were good",
                        page.colours(),
                        reference=company,
                        reference_name="company",
                    ),
                    "No branch has enough tested switches to show a rate.",
                    "branch_rates",
                    "Visits of a branch",
                    marks.groups("branch", rates["branch"], scope),
                )
            shown = frame.rename(
                columns={
                    column: words.label(column.removesuffix("_id")).capitalize(),
                    "n_swaps": "Swaps",
                    "n_good": "Bench good",
                    "expected_good": "Likely good, no clear test",
                    "known": "Known",
                    "estimated": "Estimated",
                    "low": "Range from",
                    "high": "Range to",
                }
            )
            likely = "Likely good, no clear test"
            shown[likely] = shown[likely].astype(float).round(1)
            money = ("Known", "Estimated", "Range from", "Range to")
            shown = shown.astype({title: float for title in money}).round({title: 0 for title in money})
            if column == "technician_id":
                notices.fairness()
                shown[people_table.NAME] = [*map(code_names.naming(), frame[column])]
                ends = {"Estimated": ("Range from", "Range to")}
                people_table.show(shown, name, amounts=money, currency=waste.currency, ranges=ends)
            else:
                visit_table.plain_table(
                    shown.sort_values(shown.columns[0]),
                    name,
                    amounts=money,
                    currency=waste.currency,
                    missing=words.NOT_KNOWN,
                )
            if column != "branch":
                shown_as = code_names.naming() if column == "technician_id" else str
                chart_drill.choose(
                    name, f"Visits {title.lower()}", marks.groups(column, frame[column], scope, shown=shown_as)
                )


def _made_of(waste: Waste) -> None:
    st.header("What it is made of")
    settings = store_access.settings()
    # An amount nobody gave a rate for is left out, which is not the same as nothing.
    left_out = {
        "labour": settings.labour_cost_per_hour is None,
        "trip": settings.trip_cost is None,
        "callbacks": settings.labour_cost_per_hour is None and settings.trip_cost is None,
    }
    lines = [
        (title, "left out: no rate given" if left_out.get(name) else words.money(waste.parts[name], waste.currency))
        for name, title in PARTS.items()
        if name in waste.parts
    ]
    page.rows((("Part of the cost", "text"), ("Amount", "number")), lines, "No amount is on record.")
    if waste.known.is_known and waste.estimated.is_known:
        st.caption(f"Together the known and the estimated amount above. {ROUNDED}")


def _warranty(waste: Waste, scope: Scope) -> None:
    st.header("Warranty credit")
    credit = waste.credit
    n = sum(int(credit.get(name) or 0) for name in ("n_paid", "n_refused", "n_open"))
    if not n:
        st.markdown("No warranty claim for a pulled switch is on record.")
        return
    lines = [
        ("Paid", words.count(credit["n_paid"]), words.money(credit.get("credited"), waste.currency)),
        ("Refused", words.count(credit["n_refused"]), ""),
        ("Not decided yet", words.count(credit["n_open"]), ""),
    ]
    page.rows((("Claims", "text"), ("Number", "number"), ("Credited", "number")), lines, "")
    st.caption(
        words.plain(
            f"{words.plural(n, 'claim')} for pulled draft switches, good and faulty ones. Of what was credited, "
            f"{words.money(waste.parts.get('credit_received'), waste.currency)} falls on switches that were good or "
            f"likely good; that is taken off the waste. A refused claim adds nothing: the part is counted in full already."
        )
    )
    reasons = [(line.refusal_reason, words.count(line.n_claims)) for line in lookups.refusals(scope).itertuples()]
    long_list.show(
        (("Reason for refusal, as given", "text"), ("Claims", "number")),
        reasons,
        "refusal_reasons",
        "No claim was refused.",
        "the most frequent first",
        REASONS_SHOWN,
    )


def _behind(scope: Scope) -> None:
    st.header("The visits behind it")
    for title, what in (
        ("Swaps of switches the bench found good", "bench_good"),
        ("Swaps without a clear bench result", "without_clear_result"),
    ):
        page.lazily(
            title,
            f"list_{what}",
            partial(visit_table.show, figures_access.behind(scope, what), f"list_{what}"),
        )


def _steps(waste: Waste, good: GoodSwitch) -> list[str]:
    steps = []
    n_clear = good.n_good + good.n_faulty
    if n_clear < 0.5 * good.n_swaps:
        steps.append(
            f"{words.tested(good.n_tested, n_clear, good.n_swaps)}. More clear tests turn estimated into known."
        )
    if waste.credit.get("n_refused"):
        steps.append(
            "Read the reasons for refused credit above; a tag and a reading before the repair answer most of them."
        )
    if any("labour" in line.lower() or "trip" in line.lower() for line in waste.assumptions):
        steps.append(
            "Write labour_cost_per_hour and trip_cost into settings.toml; without them only the parts are counted."
        )
    return steps or ["Look at the visits behind the largest branch first."]


if __name__ == "__main__":
    show()
