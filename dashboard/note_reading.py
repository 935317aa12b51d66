"""How well free-text notes are read: precision and recall as the Method page shows them."""

from __future__ import annotations

import json
from importlib import resources
from typing import Any

import streamlit as st

from dashboard import page, words
from models.methods.numeral import marked

FILE = "note_reading.json"
COLUMNS = (
    ("Texts", "text"), ("What is read", "text"), ("Of what is read, right", "text"), ("Of what is there, read", "text"),
    ("Texts in all", "number"),
)  # fmt: skip
# (texts, what is read) as named in the file -> in words, in the order they are shown.
SHOWN = {
    ("held_out_hands", "cause_described"): (
        "invented notes, wording not taught",
        "a finding that bears out the recorded cause",
    ),
    ("held_out_hands", "phrases"): ("the same, each phrase once", "a finding that bears out the recorded cause"),
    ("held_out_hands", "action"): ("invented notes, wording not taught", "an action"),
    ("held_out_hands", "denial_or_doubt"): ("invented notes, wording not taught", "a denial or a doubt"),
    ("excavator_texts", "has_finding"): ("work orders of excavators", "a finding"),
    ("excavator_texts", "has_action"): ("work orders of excavators", "an action"),
    ("excavator_texts", "is_denied_or_open, marked texts too"): (
        "work orders of excavators, those with doubting words drawn too",
        "a denial or a doubt",
    ),
}


def table() -> dict[str, Any]:
    """The measurement as it was made; empty where this copy has none that can be read."""
    try:
        found = json.loads(resources.files("models").joinpath("evidence", FILE).read_text("utf-8"))
    except (OSError, ValueError):
        return {}
    return {name: part for name, part in found.items() if isinstance(part, dict) and part.get("scores")}


def lines(found: dict[str, Any]) -> list[tuple[str, str, str, str, int]]:
    """One line per kind of text and of statement."""
    return [
        (texts, what, _share(score["precision"]), _share(score["recall"]), score["n"])
        for (part, name), (texts, what) in SHOWN.items()
        if (score := found.get(part, {}).get("scores", {}).get(name))
    ]


def show() -> None:
    """The table with what it means."""
    found = table()
    if not found:
        return
    st.markdown(
        "A note is read by a list of words that anyone can look at. What it reads is nearly always there; words nobody "
        "listed are not read, so that a described cause may go unseen. Ranges: 95%."
    )
    page.rows(COLUMNS, lines(found), "")
    for part in found.values():
        st.caption(words.plain(marked(part["about"])))


def _share(value: list[float] | None) -> str:
    if value is None:
        return words.NOT_KNOWN
    middle, low, high = value
    return f"{words.share(middle)} ({words.share(low)} to {words.share(high)})"
