"""Method: definitions, settings in force, the model card, sources and limits."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

import streamlit as st

from dashboard import figures_access, page, store_access, words
from dashboard.glossary import GLOSSARY
from dashboard.sources import LIMITS, SOURCES


def show() -> None:
    st.title("Method")
    page.answer(
        "What each word means here, which settings are in force, how well the probability model does, and what "
        "these figures cannot say."
    )
    definitions, settings, model, sources, limits = st.tabs(
        ["Definitions", "Settings", "Model card", "Methods and sources", "Limits"]
    )
    with definitions:
        page.rows((("Term", "text"), ("What it means here", "text")), sorted(GLOSSARY.items()), "")
    with settings:
        _settings()
    with model:
        _model_card()
    with sources:
        page.rows((("Figure", "text"), ("Method", "text"), ("Source", "text")), SOURCES, "")
    with limits:
        st.markdown("\n".join(f"- {words.plain(line)}" for line in LIMITS))


def _settings() -> None:
    in_force = asdict(store_access.settings())
    defaults = asdict(type(store_access.settings())())
    lines = [
        (
            name,
            _value(value),
            "default" if value == defaults[name] else f"set by the company (default {_value(defaults[name])})",
        )
        for name, value in in_force.items()
    ]
    page.rows((("Setting", "text"), ("In force", "text"), ("", "text")), lines, "")
    st.caption(
        words.plain(
            f"To change one, write it into {store_access.home() / 'settings.toml'}, such as labour_cost_per_hour = 95.0"
        )
    )


def _value(value: Any) -> str:
    return "not set" if value is None else f"{value:g}" if isinstance(value, float) else str(value)


def _model_card() -> None:
    if store_access.generation() is None:
        st.markdown("No records yet, so there is no model.")
        return
    scores = figures_access.whole().scores
    st.markdown(words.plain(scores.sentence))
    lines = [
        (words.label(name).capitalize(), _card_value(value))
        for name, value in scores.model_card.items()
        if not isinstance(value, dict)
    ]
    page.rows((("Model card", "text"), ("", "text")), lines, "There is no model card: too few bench tests to train on.")
    for name, value in scores.model_card.items():
        if isinstance(value, dict) and value:
            st.markdown(f"**{words.plain(words.label(name).capitalize())}**")
            page.rows(
                (("", "text"), ("", "text")),
                [(words.label(inner), _card_value(entry)) for inner, entry in value.items()],
                "",
            )


def _card_value(value: Any) -> str:
    if value is None:
        return words.NOT_KNOWN
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return words.number(value, 3)
    if isinstance(value, int):
        return words.count(value)
    if isinstance(value, dict):
        return ", ".join(f"{words.label(name)} {_card_value(entry)}" for name, entry in value.items())
    if isinstance(value, list | tuple):
        return "; ".join(_card_value(entry) for entry in value)
    return str(value)


if __name__ == "__main__":
    show()
