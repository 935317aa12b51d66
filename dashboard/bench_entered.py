"""On the page Bench: the newest tests entered here, each with its verdict and whether the figures include it."""

from __future__ import annotations

import streamlit as st

from dashboard import bench_tests, own_entry, page, roles, store_access, words
from pipelines.entry_checks import bench_verdicts

SHOWN = 20
COLUMNS = (
    ("Tested on", "text"),
    ("Tag", "text"),
    ("Verdict", "text"),
    ("In the figures", "text"),
    ("Who", "text"),
    ("Remark", "text"),
)
_COUNTING = "SELECT bench_test_id FROM bench_result WHERE bench_test_id IN (SELECT unnest(?::VARCHAR[]))"


def show() -> None:
    """The section; nothing where no test was entered."""
    lines = newest()
    if lines:
        st.header("Entered here")
        page.rows(COLUMNS, lines, "", caption="The newest tests entered here. Take one back on the page Corrections.")


def newest() -> list[tuple[str, ...]]:
    """COLUMNS of the newest tests entered and not taken back, each judged by itself."""
    roles.require_page("bench")
    entries = [kept.entry for kept in own_entry.own().entries("bench_test") if kept.is_in_force][-SHOWN:]
    tests = [entry.content["stored"] for entry in entries]
    verdicts = bench_verdicts(store_access.reader(), tests)
    counting = set(store_access.frame(_COUNTING, [[test["bench_test_id"] for test in tests]])["bench_test_id"])
    taken_in = bench_tests.taken_in()
    lines: list[tuple[str, ...]] = []
    for entry, test in zip(reversed(entries), reversed(tests), strict=True):
        one = test["bench_test_id"]
        if one not in verdicts:
            verdict, counted = "none yet", f"no: no swap fits it{'' if one in taken_in else ' yet'}"
        else:
            verdict = words.in_words(verdicts[one]["verdict"], words.VERDICT_WORDS)
            counted = "yes" if one in counting else "no: another test of the switch is newer"
        if one in verdicts and one not in taken_in:
            counted = "with the next load, unless a newer test of the switch is on record"
        lines.append(
            (words.with_dates(test["tested_at"][:10]), entry.about, verdict, counted, entry.entered_by, entry.reason)
        )
    return lines
