"""Bench: the drawn list of switches to test, and entering a test with its verdict as it is typed."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from dashboard import (
    bench_disputed,
    bench_draw,
    bench_entered,
    bench_entry,
    bench_tests,
    bench_waiting,
    code_names,
    notices,
    own_entry,
    page,
    roles,
    store_access,
    words,
)

METHOD = (
    "The verdict is worked out by the same rule, and the same queries, as for every test on record: the probability that "
    "the make point lies within its tolerance, given the gauge, its smallest step and how well the readings repeat. Good "
    "from 95%, faulty up to 5% or where something is physically wrong, inconclusive in between. A list is kept as it was "
    "drawn, with the chance each switch had, so that the rate from drawn tests stays a fair one. Tests can also be loaded "
    "as the table bench_tests."
)
OTHER = "Another tag"
# What is not tested yet as the figures count it, by bench_tests.Drawn.state.
NOT_COUNTED = {"": "to test", "entered": "entered, comes in with the next load", "unfit": "entered, fits no swap"}


def show() -> None:
    roles.guard("bench")
    st.title("Bench")
    if store_access.generation() is None:
        page.answer("No records yet, so there is no switch to test.")
        st.markdown("Load your visit records on the **Records** page, or with `goodpull load FOLDER`.")
        return
    lists = bench_tests.kept_lists()
    page.answer(_answer(lists))
    notices.safety()
    _list(lists)
    _entry(lists)
    bench_draw.show()
    bench_entered.show()
    bench_waiting.show()
    bench_disputed.show()
    page.next_steps(
        (
            "Test the switches of the list before the day named beside them, each with three make readings.",
            "Enter a switch of your own choice too; it is kept apart from the drawn ones.",
        )
    )
    page.how_computed(METHOD, ("Bench result", "Disputed result", "Make point", "Break point"))


def _answer(lists: Sequence[bench_tests.KeptList]) -> str:
    switches = [one for kept in lists for one in kept.switches]
    if not switches:
        return "No list is kept yet: draw one below, keep it, and test its switches."
    n_coming = sum(one.state == "entered" for one in switches)
    done = sum(one.state not in NOT_COUNTED for one in switches)
    where = "list" if len(lists) == 1 else f"{words.count(len(lists))} lists"
    told = f"{words.count(done)} of {words.plural(len(switches), 'switch', 'switches')} on the {where} tested"
    if not n_coming:
        return f"{told}."
    verbs = "is entered and comes" if n_coming == 1 else "are entered and come"
    return f"{told}; {words.plural(n_coming, 'more test')} {verbs} in with the next load."


def _list(lists: Sequence[bench_tests.KeptList]) -> None:
    """The list kept last, told in words, and its switches with the open ones of every earlier list."""
    if not lists:
        return
    newest = lists[-1]
    st.header("The list" if len(lists) == 1 else "The lists")
    st.markdown(
        words.plain(
            f"{words.with_dates(newest.sentence)} Kept by {newest.drawn_by} on {words.with_dates(newest.drawn_at)}."
        )
    )
    earlier = [one for kept in lists[:-1] for one in kept.switches]
    if len(lists) > 1:
        n_open = sum(not one.state for one in earlier)
        st.markdown(
            f"Of {words.plural(len(lists) - 1, 'earlier list')}, {words.plural(n_open, 'switch', 'switches')} "
            f"{'is' if n_open == 1 else 'are'} still to test; each keeps the chance of its own draw."
        )
    name_of = code_names.naming()
    shown = [*newest.switches, *(one for one in earlier if not one.state)]
    lines = [
        (
            one.removed_tag,
            words.with_dates(one.drawn_on),
            words.with_dates(one.swapped_on),
            bench_tests.last_day(one.test_by),
            name_of(one.technician_id),
            words.in_words(one.evidence, words.EVIDENCE_SHORT),
            "chosen" if one.probability is None else words.share(one.probability),
            _state(one),
        )
        for one in sorted(shown, key=lambda one: (bool(one.state), one.test_by, one.removed_tag))
    ]
    columns = [
        (title, "number" if title == "Chance" else "text")
        for title in ("Tag", "Drawn on", "Pulled on", "Test by", "Technician", "Readings say", "Chance", "State")
    ]
    page.rows(columns, lines, "")
    bench_tests.say_past([one.test_by for one in shown if not one.state])


def _state(one: bench_tests.Drawn) -> str:
    """What became of the switch. A test that is entered counts as tested once a load has taken it in."""
    if one.state in NOT_COUNTED:
        return NOT_COUNTED[one.state]
    return words.in_words(one.state, words.VERDICT_WORDS)


def _entry(lists: Sequence[bench_tests.KeptList]) -> None:
    st.header("Enter a test")
    drawn = [one.removed_tag for kept in reversed(lists) for one in kept.switches if not one.state]
    form = own_entry.form_of("bench")
    left, right, _ = st.columns([1, 1, 1], gap="medium")
    with left:
        name = own_entry.who("bench").strip()
    with right:
        chosen = st.selectbox("Tag of the switch", [*drawn, OTHER], key=f"tag_{form}", index=None if drawn else 0)
        if chosen == OTHER:
            chosen = st.text_input("The tag", key=f"other_{form}", max_chars=200).strip()
    if not name or not chosen:
        st.markdown("Fill in your name and the tag of the switch; then its readings.")
        return
    bench_entry.show(chosen, name, bench_tests.drawn_of(chosen, lists))


if __name__ == "__main__":
    show()
