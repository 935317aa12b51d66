"""What the Bench page knows: the list last drawn and kept, gauges, and what became of each switch."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pandas as pd

from dashboard import own_entry, roles, store_access, words
from dashboard.reader_choice import written

_STATE = """
SELECT s.removed_tag, s.visit_id, s.swapped_on, s.part_number, s.diagnosed_by AS technician_id, b.verdict, b.reason,
    b.tested_at, b.n_tests
FROM swap AS s LEFT JOIN bench_result AS b USING (swap_id) WHERE s.removed_tag = ? ORDER BY s.swapped_on DESC
"""
_TESTED = """
SELECT s.removed_tag, max(b.verdict) AS verdict FROM swap AS s JOIN bench_result AS b USING (swap_id)
WHERE s.removed_tag IN (SELECT unnest(?::VARCHAR[])) GROUP BY s.removed_tag
"""
_GAUGES = "SELECT * FROM gauge ORDER BY gauge_id"


@dataclass(frozen=True)
class Drawn:
    """One switch of the list. test_by: ISO date, last day a test can find it good. state: tested, entered or open."""

    removed_tag: str
    selection: str
    probability: float | None
    swapped_on: str
    test_by: str
    technician_id: str | None
    evidence: str
    state: str


@dataclass(frozen=True)
class KeptList:
    """A draw that was kept. sentence: what was drawn from what."""

    sentence: str
    drawn_by: str
    drawn_at: str
    switches: tuple[Drawn, ...]


def kept_list() -> KeptList | None:
    """The list last drawn and kept, not taken back."""
    draws = [kept.entry for kept in own_entry.own().entries("bench_draw") if kept.is_in_force]
    if not draws:
        return None
    entry = draws[-1]
    rows = entry.content["list"]
    tested = store_access.frame(_TESTED, [tuple(row["removed_tag"] for row in rows)])
    verdicts = dict(zip(tested["removed_tag"], tested["verdict"], strict=True))
    entered = entered_tags()
    switches = tuple(
        Drawn(
            row["removed_tag"],
            row["selection"],
            row["selection_probability"],
            row["swapped_on"],
            row["test_by"],
            row["technician_id"],
            row["evidence"],
            verdicts.get(row["removed_tag"]) or ("entered" if row["removed_tag"] in entered else ""),
        )
        for row in rows
    )
    return KeptList(entry.content["sentence"], entry.entered_by, entry.entered_at[:10], switches)


def entered_tags() -> set[str]:
    """Tags of the tests entered here and not taken back."""
    return {kept.entry.about for kept in own_entry.own().entries("bench_test") if kept.is_in_force}


def swaps_of(tag: str) -> pd.DataFrame:
    """The swaps whose removed switch bears the tag, the newest first, with their bench result where there is one."""
    roles.require_page("bench")
    return store_access.frame(_STATE, [tag])


def gauges() -> dict[str, str]:
    """The company's gauges, each with what its uncertainty comes from, in words."""
    roles.require_page("bench")
    return {str(row["gauge_id"]): in_words(row) for row in store_access.frame(_GAUGES).to_dict("records")}


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
