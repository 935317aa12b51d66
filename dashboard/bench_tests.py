"""What the Bench page knows: the lists drawn and kept, gauges, and what became of each switch."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import pandas as pd
import streamlit as st

from dashboard import own_entry, roles, store_access, words
from dashboard.reader_choice import written
from pipelines import own_draws

_STATE = """
SELECT s.removed_tag, s.visit_id, s.swapped_on, s.part_number, s.diagnosed_by AS technician_id, b.verdict, b.reason,
    b.tested_at, b.n_tests
FROM swap AS s LEFT JOIN bench_result AS b USING (swap_id) WHERE s.removed_tag = ?
ORDER BY s.swapped_at DESC, s.swap_id
"""
_TESTED = """
SELECT s.removed_tag, max(b.verdict) AS verdict FROM swap AS s JOIN bench_result AS b USING (swap_id)
WHERE s.removed_tag IN (SELECT unnest(?::VARCHAR[])) GROUP BY s.removed_tag
"""
_TAKEN_IN = "SELECT bench_test_id FROM entered.bench_tests"
_GAUGES = "SELECT * FROM gauge ORDER BY gauge_id"


@dataclass(frozen=True)
class Drawn:
    """One switch of a list. drawn_on: ISO date of the draw. visit_id: the visit that pulled it. test_by: ISO date, last day
    a test can find it good. state: the verdict of its test; of a test entered here that the figures do not include 'entered'
    where it comes in with the next load, 'unfit' where it came in and fits no swap; '' = open.
    """

    removed_tag: str
    visit_id: str | None
    drawn_on: str
    selection: str
    probability: float | None
    swapped_on: str
    test_by: str
    technician_id: str | None
    evidence: str
    state: str


@dataclass(frozen=True)
class KeptList:
    """A draw that was kept. sentence: what was drawn from what, and what was left out."""

    sentence: str
    drawn_by: str
    drawn_at: str
    switches: tuple[Drawn, ...]


@dataclass(frozen=True)
class Before:
    """What the next draw must leave out. last: day of the latest list kept. n_lists: how many are. drawn: tags of their
    switches. entered: tags of the tests entered here.
    """

    last: date | None
    n_lists: int
    drawn: tuple[str, ...]
    entered: tuple[str, ...]


def before() -> Before:
    """What was drawn and kept, or entered, and not taken back."""
    draws = own_draws.draws_in_force(own_entry.own())
    drawn = tuple(sorted(own_draws.drawn_rows(draws)))
    return Before(own_draws.last_day(draws), len(draws), drawn, tuple(sorted(entered_tags())))


def kept_lists() -> tuple[KeptList, ...]:
    """Every list drawn and kept and not taken back, the oldest first; each switch stands in the one it counts for."""
    draws = own_draws.draws_in_force(own_entry.own())
    found = own_draws.drawn_rows(draws)
    tested = store_access.frame(_TESTED, [tuple(sorted(found))])
    verdicts = dict(zip(tested["removed_tag"], tested["verdict"], strict=True))
    states = _entered() | verdicts
    lists = []
    for draw in draws:
        switches = [_drawn(draw, row, states) for one, row in found.values() if one is draw]
        content, entry = draw.entry.content, draw.entry
        sentence = f"{content['sentence']} {content.get('pool', '')}".strip()
        lists.append(KeptList(sentence, entry.entered_by, entry.entered_at[:10], tuple(switches)))
    return tuple(lists)


def _drawn(draw: own_draws.Draw, row: Mapping[str, Any], states: Mapping[str, str]) -> Drawn:
    return Drawn(
        row["removed_tag"],
        row.get("visit_id"),
        str(draw.as_of or draw.entry.entered_at[:10]),
        row["selection"],
        row["selection_probability"],
        row["swapped_on"],
        row["test_by"],
        row["technician_id"],
        row["evidence"],
        states.get(row["removed_tag"], ""),
    )


def drawn_of(tag: str, lists: Sequence[KeptList]) -> Drawn | None:
    """The line of a kept list that a test of this tag belongs to; None where no list drew the switch.

    A tag may be used again: where its newest swap came after the one that was drawn, it names another switch.
    """
    line = next((one for kept in lists for one in kept.switches if one.removed_tag == tag), None)
    if line is None:
        return None
    visits = swaps_of(tag)["visit_id"].tolist()
    is_another = line.visit_id in visits and visits[0] != line.visit_id
    return None if is_another else line


def entered_tags() -> frozenset[str]:
    """Tags of the tests entered here and not taken back."""
    return own_draws.tags_entered(own_entry.own())


def taken_in() -> frozenset[str]:
    """Ids of the tests entered here that a load took in."""
    roles.require_page("bench")
    return frozenset(store_access.frame(_TAKEN_IN)["bench_test_id"])


def _entered() -> dict[str, str]:
    """Tag -> 'entered' or 'unfit', see Drawn; of several tests of a tag one that is still to come in goes first."""
    tests = [kept.entry for kept in own_entry.own().entries("bench_test") if kept.is_in_force]
    known = taken_in()
    waiting = {test.about for test in tests if test.entry_id not in known}
    return {test.about: "entered" if test.about in waiting else "unfit" for test in tests}


def swaps_of(tag: str) -> pd.DataFrame:
    """The swaps whose removed switch bears the tag, the newest first, with their bench result where there is one."""
    roles.require_page("bench")
    return store_access.frame(_STATE, [tag])


def gauges() -> dict[str, str]:
    """The company's gauges, each with what its uncertainty comes from, in words."""
    roles.require_page("bench")
    return {str(row["gauge_id"]): in_words(row) for row in store_access.frame(_GAUGES).to_dict("records")}


def last_day(test_by: Any) -> str:
    """The last day of a test that can still find the switch good; marked where it is past."""
    return f"{words.date(pd.Timestamp(test_by))}{', past' if _is_past(test_by) else ''}"


def say_past(days: Iterable[Any]) -> None:
    """Say what a test is still good for where the last day of some is past, as it is where the records end earlier."""
    n = sum(map(_is_past, days))
    if n:
        st.caption(
            f"The day is past for {words.plural(n, 'switch', 'switches')}: a test can still find one faulty, but never good. Load "
            "newer records, and draw from those."
        )


def _is_past(test_by: Any) -> bool:
    return pd.Timestamp(test_by).date() < date.today()


def in_words(gauge: dict[str, Any]) -> str:
    """A gauge with its range, accuracy, smallest step and calibration; what is not on record is said to be assumed."""
    settings = store_access.settings()
    unit = store_access.draft_unit()
    parts = []
    if not words.is_missing(gauge["full_scale_pa"]):
        parts.append(f"up to {words.pressure(gauge['full_scale_pa'], unit)}")
    of_scale, of_reading = gauge["accuracy_percent_full_scale"], gauge["accuracy_percent_reading"]
    accuracy = [
        f"{written(f'{amount:g}')}% of {what}"
        for amount, what in ((of_scale, "full scale"), (of_reading, "reading"))
        if not words.is_missing(amount)
    ]
    parts.append(" and ".join(accuracy) or f"accuracy not on record, {settings.assumed_accuracy_share:.0%} assumed")
    parts.append(
        "step not on record"
        if words.is_missing(gauge["resolution_pa"])
        else f"step {words.small_pressure(gauge['resolution_pa'], unit)}"
    )
    if not words.is_missing(gauge["calibrated_on"]):
        parts.append(f"calibrated {words.date(gauge['calibrated_on'])}")
    return f"{gauge['gauge_id']}: {', '.join(parts)}"
