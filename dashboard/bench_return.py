"""On Parts waste: what testing removed switches costs, and what it brought."""

from __future__ import annotations

import streamlit as st

from dashboard import exchange, figure_card, figures_access, page, words
from models.figures.bench_programme import BenchProgramme
from models.figures.scope import Scope

# Finding out is not saving: the money of a good switch pulled is spent by then.
NOT_SAVED = (
    "Found is not saved: what a good switch pulled cost is spent by the time the bench finds it. And which switches get "
    "tested is not a matter of chance, so a credit for a tested switch need not be due to the test."
)


def show(scope: Scope) -> None:
    """The section, over the filters in force."""
    programme = figures_access.bench_programme(scope)
    st.header("What the bench programme costs and returns")
    st.markdown(words.plain(answer(programme)))
    exchange.show()
    columns = st.columns(3, gap="medium")
    with columns[0]:
        figure_card.show(
            "Bench tests, at the labour rate",
            programme.cost,
            "money",
            "bench_cost",
            currency=programme.currency,
            reach="worked out with assumed minutes, so without a range",
            rests_on=f"{words.plural(programme.n_tests, 'test')} of "
            f"{words.plural(programme.n_tested, 'switch', 'switches')}, {programme.minutes:g} minutes each, assumed",
            behind=figures_access.behind(scope, "bench_tested"),
        )
    with columns[1]:
        figure_card.show(
            "Warranty credit for tested switches",
            programme.credit,
            "money",
            "bench_credit",
            currency=programme.currency,
            rests_on=f"{words.plural(programme.credit.n, 'claim')} paid",
            behind=figures_access.behind(scope, "tested_and_credited"),
        )
    with columns[2]:
        figure_card.show(
            "The range of the bill is narrower by",
            programme.narrowing,
            "money",
            "bench_narrowing",
            currency=programme.currency,
            reach="the difference of two ranges; it has none of its own",
            rests_on=_ranges(programme),
            behind=figures_access.behind(scope, "bench_tested"),
            behind_label="Show the tests that narrow it",
        )
    page.rows(
        (("Claims", "text"), ("Paid", "number"), ("Refused", "number"), ("Not decided yet", "number")),
        [
            (title, *(words.count(programme.claims[f"n_{outcome}{ending}"]) for outcome in ("paid", "refused", "open")))
            for title, ending in (("Switch tested", ""), ("Switch not tested", "_untested"))
        ],
        "",
    )
    st.caption(words.plain(" ".join([programme.assumption, *_untied(programme), NOT_SAVED])))


def answer(programme: BenchProgramme) -> str:
    """Cost against return, in a sentence or two."""
    if not programme.n_tests:
        return "No bench test of these switches is on record, so nothing was spent on testing and nothing was learned."
    cost = (
        f"about {words.money(programme.cost.value, programme.currency)} of labour"
        if programme.cost.is_known
        else "labour whose cost is not known"
    )
    found = programme.found
    if not found.n:
        brought = "no good switch was found"
    else:
        amount = words.money(found.value, programme.currency) if found.is_known else "an amount that is not known"
        brought = f"{words.plural(found.n, 'good switch', 'good switches')} found, whose swaps had cost {amount}"
    credit = (
        words.money(programme.credit.value, programme.currency) if programme.credit.is_known else "a credit not known"
    )
    return (
        f"{words.plural(programme.n_tests, 'bench test')} took {cost}. Against it stand: {brought}; {credit} of warranty "
        f"credit for tested switches; and {_range_bought(programme)}."
    )


def _range_bought(programme: BenchProgramme) -> str:
    if not programme.narrowing.is_known:
        return "a narrower range of the whole bill that cannot be told yet"
    return "a bill that is known more closely, " + _ranges(programme)


def _ranges(programme: BenchProgramme) -> str:
    if programme.without is None or programme.with_tests is None:
        return ""
    before, after = (
        f"{words.money(low, programme.currency)} to {words.money(high, programme.currency)}"
        for low, high in (programme.without, programme.with_tests)
    )
    return f"{after} with the tests, {before} without any"


def _untied(programme: BenchProgramme) -> list[str]:
    if not programme.n_untied:
        return []
    verb = "fits" if programme.n_untied == 1 else "fit"
    return [
        f"{words.plural(programme.n_untied, 'more test')} on record {verb} no swap and {'is' if programme.n_untied == 1 else 'are'} not counted."
    ]
