"""Rates of exchange: how they are given, what is told when they are given wrong, and that they make nothing anew."""

from __future__ import annotations

import datetime as dt

import duckdb
import pytest

from models.figures import sidecar
from pipelines import exchange_rates
from pipelines.build import build
from pipelines.contract.ddl import create_delivered
from pipelines.loading import _is_built_with
from pipelines.settings import Settings, SettingsError

GIVEN = "exchange_rates_on = 2026-11-02\n[exchange_rates]\nEUR = 0.92\nJPY = 150\n"


def put(home, text):
    (home / "settings.toml").write_text(text, encoding="utf-8")
    return home


def test_rates_stand_beside_the_settings(tmp_path):
    put(tmp_path, "trip_cost = 40\n" + GIVEN)
    given = exchange_rates.load(tmp_path, "USD")
    assert dict(given.exchange_rates) == {"EUR": 0.92, "JPY": 150.0}
    assert given.exchange_rates_on == dt.date(2026, 11, 2)
    assert Settings.load(tmp_path) == Settings(trip_cost=40.0)


@pytest.mark.parametrize("text", ["", "exchange_rates_on = 2026-11-02", "[exchange_rates]", None])
def test_without_rates_there_are_none(tmp_path, text):
    if text is not None:
        put(tmp_path, text)
    assert Settings.load(tmp_path) == Settings()
    assert not exchange_rates.load(tmp_path, "USD").exchange_rates


def test_rates_change_neither_stamp_nor_store(tmp_path):
    before = sidecar.stamp(Settings.load(put(tmp_path, "trip_cost = 40\n")))
    assert sidecar.stamp(Settings.load(put(tmp_path, "trip_cost = 40\n" + GIVEN))) == before
    # While a setting does.
    assert sidecar.stamp(Settings.load(put(tmp_path, "trip_cost = 41\n" + GIVEN))) != before


def test_facts_built_without_rates_are_built_with_them(tmp_path):
    con = duckdb.connect()
    create_delivered(con)
    build(con, Settings.load(tmp_path))
    assert _is_built_with(con, Settings.load(put(tmp_path, GIVEN)))
    assert not _is_built_with(con, Settings.load(put(tmp_path, "trip_cost = 41\n" + GIVEN)))


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (GIVEN.replace("EUR", "EUX"), "exchange_rates names 'EUX'; must be an ISO 4217 code"),
        (GIVEN.replace("EUR", "eur"), "exchange_rates names 'eur'; must be an ISO 4217 code"),
        (GIVEN.replace("EUR", "USD"), "exchange_rates names USD, the company's own currency; must be other currencies"),
        ("currency = 'EUR'\n" + GIVEN, "exchange_rates names EUR, the company's own currency"),
        (GIVEN + "trip_cost = 40\n", "'trip_cost'; must be an ISO 4217 code"),
        (GIVEN + "trip_cost = 40\n", "belongs above the line [exchange_rates]"),
        ("[exchange_rates]\nEUR = 0.92\n", "write exchange_rates_on = 2026-11-02, with your own date, above"),
        ("exchange_rates = 0.92", "exchange_rates is 0.92; must be a table"),
        (GIVEN.replace("2026-11-02", "'2026-11-02'"), "exchange_rates_on is '2026-11-02'; must be a date without quotes"),
        (GIVEN.replace("2026-11-02", "2026-11-02T10:00:00"), "must be a date without quotes"),
        *(
            (GIVEN.replace("0.92", rate), f"exchange_rates, EUR is {told}; must be a number above 0: units of EUR for one USD")
            for rate, told in (("0", "0"), ("-0.92", "-0.92"), ("inf", "inf"), ("nan", "nan"), ("true", "True"),
                               ("'0.92'", "'0.92'"), ("1" + 400 * "0", "1" + 400 * "0"))
        ),
    ],
)  # fmt: skip
def test_what_is_wrong_is_told_with_the_file_the_value_and_what_is_allowed(tmp_path, text, says):
    put(tmp_path, text)
    for loaded in (lambda: Settings.load(tmp_path), lambda: exchange_rates.load(tmp_path, own(text))):
        with pytest.raises(SettingsError) as error:
            loaded()
        assert says in str(error.value)
        assert str(error.value).count("settings.toml") == 1


def own(text):
    return "EUR" if text.startswith("currency") else "USD"


def test_a_misspelt_table_is_told_with_the_right_name(tmp_path):
    with pytest.raises(
        SettingsError, match="exchange_rate is not a setting. Settings are: .*exchange_rates, exchange_rates_on"
    ):
        Settings.load(put(tmp_path, "[exchange_rate]\nEUR = 0.92\n"))
