"""The bars of what a reader waits for, and which of them a run has missed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

FIRST_PAINT_SECONDS = 1.5
FILTER_SECONDS = 0.5
MEMORY_GB = 4.0
SESSION_ERRORS = 0
FIRST_PAINT = "first paint"
# Told beside the others, without a bar: a server starts once.
AFTER_START = "first visit after start"
MEANING = f"""\
answer: from the click (first paint: from navigation) until the answer in a sentence and the first figure, picture or
  list for it are visible. What still says that it is being worked out is no figure, so cards that are filled in later
  are not waited for here.
whole page: until the script rests, every chart is drawn and nothing says any more that it is being worked out.
bar: on the median of the answer; {FIRST_PAINT_SECONDS} s for a first paint, {FILTER_SECONDS} s for a change of filters.
  The whole page has none, nor has the very first visit after the start."""


@dataclass(frozen=True)
class Bar:
    """What was found against what is asked for."""

    what: str
    got: float
    most: float

    @property
    def is_met(self) -> bool:
        return self.got <= self.most


def of_wait(what: str) -> float | None:
    """The bar of a wait, in seconds; None where there is none."""
    if what == AFTER_START:
        return None
    return FIRST_PAINT_SECONDS if what == FIRST_PAINT else FILTER_SECONDS


def of_pages(rows: list[dict[str, Any]], peak_gb: float) -> list[Bar]:
    """The bars of the waits and of the memory. rows: page, what and answer_median of each wait."""
    bars = [
        Bar(f"{row['page']}, {row['what']}: answer, median s", row["answer_median"], most)
        for row in rows
        if (most := of_wait(row["what"])) is not None
    ]
    return [*bars, Bar("peak memory, GB", peak_gb, MEMORY_GB)]


def of_sessions(told: dict[str, Any]) -> list[Bar]:
    """The bars of many readers at once. told: errors and peak_gb."""
    return [
        Bar(f"errors in {told['sessions']} sessions", told["errors"], SESSION_ERRORS),
        Bar("peak memory, GB", told["peak_gb"], MEMORY_GB),
    ]


def verdict(bars: list[Bar]) -> str:
    """Which bars were missed, a line each; or that none was."""
    missed = [bar for bar in bars if not bar.is_met]
    if not missed:
        return f"All {len(bars)} bars met."
    return "\n".join(
        [
            f"{len(missed)} of {len(bars)} bars missed:",
            *(f"  {bar.what}: {bar.got:.2f}, bar {bar.most:g}" for bar in missed),
        ]
    )
