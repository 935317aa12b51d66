"""Method: definitions, settings in force, the model card, sources and limits."""

from __future__ import annotations

import datetime as dt
from dataclasses import fields
from typing import Any

import streamlit as st

from dashboard import (
    evidence,
    exchange,
    figures_access,
    model_card,
    note_reading,
    outside_list,
    page,
    roles,
    store_access,
    words,
)
from dashboard.glossary import GLOSSARY
from dashboard.reader_choice import written
from dashboard.sources import LIMITS, SOURCES


def show() -> None:
    roles.guard("method")
    st.title("Method")
    page.answer(
        "What each word means here, which settings are in force, how well the probability model does, and what "
        "these figures cannot say."
    )
    definitions, settings, model, sources, proof, limits = st.tabs(
        [
            "Definitions",
            "Settings",
            "Model card",
            "Methods and sources",
            "What these figures were proven on",
            "Honest limits",
        ]
    )
    with definitions:
        page.rows((("Term", "text"), ("What it means here", "text")), sorted(GLOSSARY.items()), "")
    with settings:
        _settings()
    with model:
        _model_card()
    with sources:
        page.rows((("Figure", "text"), ("Method", "text"), ("Source", "text")), SOURCES, "")
    with proof:
        evidence.show()
        st.subheader("Checked against values that are not ours")
        outside_list.show()
        st.subheader("How well notes are read")
        note_reading.show()
    with limits:
        st.markdown("\n".join(f"- {words.plain(line)}" for line in LIMITS))
        evidence.show_limits()


def _settings() -> None:
    in_force = store_access.settings()
    defaults = type(in_force)()
    # What an hour and a trip cost is for those who may see what swaps cost.
    is_money_shown = roles.may_see("waste")
    lines = [
        (
            entry.metadata["meaning"],
            setting_value(value, unit, in_force.currency)
            if value is None or unit != "currency" or is_money_shown
            else "not shown",
            "default"
            if value == usual
            else f"set by the company (default {setting_value(usual, unit, defaults.currency)})",
            entry.name,
        )
        for entry in fields(in_force)
        for value, usual, unit in [
            (getattr(in_force, entry.name), getattr(defaults, entry.name), entry.metadata["unit"])
        ]
    ]
    columns = (("What it is", "text"), ("In force", "text"), ("", "text"), ("Name in the file", "text"))
    page.rows(columns, lines + _exchange_rates(in_force.currency), "")
    st.caption(
        words.plain(
            f"To change one, write it into {store_access.home() / 'settings.toml'}, such as labour_cost_per_hour = 95.0"
        )
    )


def _exchange_rates(currency: str) -> list[tuple[str, str, str, str]]:
    """The rates of exchange and their day, as the settings above them."""
    given = exchange.given()
    rates = [f"{exchange.rate_in_words(rate)} {code} for 1 {currency}" for code, rate in given.exchange_rates.items()]
    shown = (
        words.joined(rates) if rates else "not set",
        words.date(given.exchange_rates_on) if given.exchange_rates_on else "not set",
    )
    return [
        (
            entry.metadata["meaning"],
            value,
            "default" if value == "not set" else "set by the company (default not set)",
            entry.name,
        )
        for entry, value in zip(fields(given), shown, strict=True)
    ]


def setting_value(value: Any, unit: str, currency: str) -> str:
    """A setting as people read it. unit: as in its metadata; an amount of money stands in the currency."""
    if value is None:
        return "not set"
    if unit == "share":
        return words.share(value)
    if unit == "points":
        return f"{written(f'{100 * value:g}')} points"
    if unit == "currency":
        return f"{words.number(value, 2)} {currency}"
    if unit == "month of the year":
        return dt.date(2000, int(value), 1).strftime("%B")
    if unit == "°C":
        return f"{words.number(value)} °C ({words.number(value * 9 / 5 + 32, 0)} °F)"
    if unit == "Pa":
        return f"{written(f'{value:g}')} Pa"
    if isinstance(value, tuple):
        return f"{words.joined([_told(entry) for entry in value])} {unit}".strip()
    # A whole number without a unit is no quantity: the seed of the draws.
    return f"{_told(value)} {unit}" if unit else _told(value) if isinstance(value, float) else str(value)


def _told(value: Any) -> str:
    """A setting without its unit: numbers in the reader's separators, anything else as it stands in the file."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return str(value)
    return written(f"{value:,g}" if isinstance(value, float) else f"{value:,}")


def _model_card() -> None:
    if store_access.generation() is None:
        st.markdown("No records yet, so there is no model.")
        return
    scores = figures_access.whole().scores
    st.markdown(words.plain(scores.sentence))
    model_card.show(scores.model_card)


if __name__ == "__main__":
    show()
