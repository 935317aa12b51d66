"""What a measured run is held against: each bar by itself, the verdict, and the list of pages with filters."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

import page_timing
import served_pages
import waiting_bars as bars


def row(what: str, answer: float, whole: float = 9.0) -> dict:
    return {"page": "seasons", "what": what, "answer_median": answer, "whole_median": whole}


def test_each_wait_has_its_bar_on_the_median_of_the_answer() -> None:
    rows = [row(bars.FIRST_PAINT, 1.5), row("period", 0.5), row("two filters", 0.51), row(bars.AFTER_START, 8.0)]
    found = bars.of_pages(rows, 4.01)
    assert [(bar.most, bar.is_met) for bar in found] == [(1.5, True), (0.5, True), (0.5, False), (4.0, False)]
    told = bars.verdict(found)
    assert told.startswith("2 of 4 bars missed") and "seasons, two filters" in told and "peak memory" in told
    assert bars.verdict(found[:2]) == "All 2 bars met."


def test_readers_at_once_may_meet_no_error() -> None:
    met = {"sessions": 20, "errors": 0, "peak_gb": 3.9}
    assert all(bar.is_met for bar in bars.of_sessions(met))
    assert [bar.is_met for bar in bars.of_sessions(met | {"errors": 1, "peak_gb": 4.5})] == [False, False]


def test_every_page_with_filters_is_measured_for_them() -> None:
    text = served_pages.APP.read_text("utf-8")
    unscoped = next(line for line in text.splitlines() if line.startswith("UNSCOPED"))
    assert {name for name in served_pages.TITLES if f'"{name}"' not in unscoped} == set(page_timing.SCOPED)
