"""Amounts in the currency the reader chose, where settings.toml gives a rate of exchange for it."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import streamlit as st

from dashboard import reader_choice, roles, store_access, words
from pipelines import exchange_rates


@dataclass(frozen=True)
class Exchange:
    """rate: units of `currency` for one of `company_currency`, on the day `on`."""

    currency: str
    rate: float
    company_currency: str
    on: dt.date


def given() -> exchange_rates.ExchangeRates:
    """The rates of settings.toml, read anew so that an edit shows at the next click."""
    return exchange_rates.load(store_access.home(), store_access.settings().currency)


def offered() -> tuple[str, ...]:
    """The currencies this reader may choose beside the company's; none for whom amounts are not."""
    return tuple(given().exchange_rates) if roles.may_see("waste") else ()


def chosen() -> Exchange | None:
    """What amounts are converted by for this reader; None while they stand in the company's currency."""
    asked = reader_choice.currency()
    if not asked or asked not in offered():
        return None
    rates = given()
    if rates.exchange_rates_on is None:
        return None
    return Exchange(asked, rates.exchange_rates[asked], store_access.settings().currency, rates.exchange_rates_on)


def currency() -> str:
    """The currency amounts stand in for this reader."""
    found = chosen()
    return found.currency if found else store_access.settings().currency


def line() -> str:
    """At which rate amounts were converted, to stand wherever they do; blank where they were not."""
    found = chosen()
    if found is None:
        return ""
    return (
        f"Amounts in {found.currency} at {rate_in_words(found.rate)} for 1 {found.company_currency}, the rate of "
        f"{words.date(found.on)} in settings.toml."
    )


def show() -> None:
    """The line, where there is one."""
    told = line()
    if told:
        st.caption(words.plain(told))


def rate_in_words(rate: float) -> str:
    """A rate with all its digits, in the reader's separators."""
    return reader_choice.written(f"{rate:,.10g}")
