"""Rates of exchange a company may give, so that a reader can see its amounts in another currency.

They stand in settings.toml beside the settings, but are none of a figure: figures and stores keep the company's currency,
so a new rate makes nothing anew.
"""

from __future__ import annotations

import datetime as dt
import sys
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from pathlib import Path
from typing import Any

from pipelines import settings_file
from pipelines.contract.currencies import CURRENCY_CODES
from pipelines.settings_file import SettingsError, not_allowed

RATES, DATE = "exchange_rates", "exchange_rates_on"


@dataclass(frozen=True)
class ExchangeRates:
    """Each field's metadata holds its meaning, as the page Method shows it. Without rates nothing is converted."""

    exchange_rates: Mapping[str, float] = field(
        default_factory=dict,
        metadata={"meaning": "Units of another currency for one of the company's; amounts are offered in these too"},
    )
    exchange_rates_on: dt.date | None = field(
        default=None, metadata={"meaning": "Day on which these rates of exchange held"}
    )


NAMES = tuple(entry.name for entry in fields(ExchangeRates))


def load(home: Path, currency: str) -> ExchangeRates:
    """The rates of a home. currency: the company's. Raises SettingsError naming the file, the entry and what is allowed."""
    given = settings_file.read(home)
    try:
        return checked(given, currency)
    except SettingsError as error:
        raise SettingsError(f"{Path(home) / settings_file.FILE_NAME}: {error}") from error


def checked(given: Mapping[str, Any], currency: str) -> ExchangeRates:
    """The rates among the entries of a settings file. Raises SettingsError."""
    rates, day = given.get(RATES, {}), given.get(DATE)
    if not isinstance(rates, dict):
        raise SettingsError(
            not_allowed(RATES, rates, f"a table: the line [{RATES}], and below it one such as EUR = 0.92")
        )
    # A day with a time is a day to Python, but not to who reads the line.
    if day is not None and (not isinstance(day, dt.date) or isinstance(day, dt.datetime)):
        raise SettingsError(not_allowed(DATE, day, "a date without quotes, such as 2026-11-02"))
    for code, rate in rates.items():
        _check(code, rate, currency)
    if rates and day is None:
        raise SettingsError(
            f"{RATES} are given without the day they held: write {DATE} = 2026-11-02, with your own date, above the line [{RATES}]."
        )
    return ExchangeRates({code: float(rate) for code, rate in rates.items()}, day)


def _check(code: str, rate: Any, currency: str) -> None:
    if code not in CURRENCY_CODES:
        raise SettingsError(
            f'{RATES} names {code!r}; must be an ISO 4217 code of a currency in use, such as "EUR". '
            f"Correct it; a setting that is no rate belongs above the line [{RATES}]."
        )
    if code == currency:
        raise SettingsError(
            f"{RATES} names {code}, the company's own currency; must be other currencies only, each as units for one {code}. "
            "Take the line out."
        )
    is_number = isinstance(rate, int | float) and not isinstance(rate, bool)
    # Neither infinite, nor "nan", nor a whole number beyond what a float holds.
    if not (is_number and 0 < rate <= sys.float_info.max):
        raise SettingsError(
            not_allowed(f"{RATES}, {code}", rate, f"a number above 0: units of {code} for one {currency}")
        )
