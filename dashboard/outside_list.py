"""What the methods were checked against outside: the list as the Method page can show it."""

from __future__ import annotations

from collections import Counter
from typing import Any

import streamlit as st

from dashboard import page, words
from dashboard.reader_choice import written
from models.evidence.outside import STATUSES, outside_checks

COLUMNS = (
    ("About", "text"), ("Check", "text"), ("Expected", "number"), ("Found", "number"), ("Source", "text"),
    ("How far it was followed", "text"),
)  # fmt: skip
# More numbers than this are told by the first ones.
NUMBERS_SHOWN = 3


def show() -> None:
    """How many checks of each status, then every one with its source."""
    checks = outside_checks()
    st.markdown(words.plain(summary(checks)))
    page.rows(COLUMNS, [line(row) for row in checks], "No check is listed in this copy.")
    st.caption("Made by: python tests/outside/list\\_checks.py; a test holds the list and the checks together.")


def summary(checks: tuple[dict[str, Any], ...]) -> str:
    found = Counter(row["status"] for row in checks)
    parts = [f"{words.count(found[status])} {status}" for status in STATUSES if found[status]]
    n_broken = sum(not is_held(row) for row in checks)
    told = "All hold." if not n_broken else f"{words.plural(n_broken, 'check')} of them did not hold when it was made."
    return f"{words.plural(len(checks), 'check')} against values that are not ours: {words.joined(parts)}. {told}"


def is_held(row: dict[str, Any]) -> bool:
    """Whether every number lies within what is allowed of the expected one."""
    return all(abs(x - y) <= row["allowed"] for x, y in zip(row["expected"], row["got"], strict=True))


def line(row: dict[str, Any]) -> tuple[str, str, str, str, str, str]:
    """One check in words; its note stands with the status."""
    status = row["status"] if not row["note"] else f"{row['status']}. {row['note']}"
    return row["topic"], row["name"], _numbers(row["expected"]), _numbers(row["got"]), row["source"], status


def _numbers(values: list[float]) -> str:
    shown = "; ".join(written(f"{value:.5g}") for value in values[:NUMBERS_SHOWN])
    return shown if len(values) <= NUMBERS_SHOWN else f"{shown} and {len(values) - NUMBERS_SHOWN} more"
