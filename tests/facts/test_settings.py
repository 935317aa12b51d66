"""Settings: what is used when nothing is set, what a file may say, and what it is told when it says it wrong."""

from __future__ import annotations

import pytest

from pipelines.settings import Settings, SettingsError


def loaded(tmp_path, text):
    (tmp_path / "settings.toml").write_text(text, encoding="utf-8")
    return Settings.load(tmp_path)


def test_without_a_file_the_usual_values_hold(tmp_path):
    assert Settings.load(tmp_path) == Settings()


def test_a_file_changes_what_it_names(tmp_path):
    got = loaded(tmp_path, 'time_zone = "Europe/Berlin"\ntrip_cost = 40\ncallback_windows = [10, 30]\n')
    assert got == Settings(time_zone="Europe/Berlin", trip_cost=40.0, callback_windows=(10, 30))


def test_a_mark_at_the_start_of_the_file_does_not_matter(tmp_path):
    (tmp_path / "settings.toml").write_bytes(b'\xef\xbb\xbfcurrency = "EUR"\n')
    assert Settings.load(tmp_path).currency == "EUR"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("timezone = 'UTC'", "timezone is not a setting. Settings are: time_zone"),
        ("time_zone = 'Mars/Base'", "time_zone is 'Mars/Base'; must be a name of the IANA"),
        ("time_zone = 5", "time_zone is 5; must be text in quotes"),
        ("currency = 'usd'", "currency is 'usd'; must be an ISO 4217"),
        ("default_pressure_unit = 'furlong'", "default_pressure_unit is 'furlong'; must be one of"),
        ("default_pressure_unit = 'V'", "default_pressure_unit is 'V'; must be one of"),
        ("bench_good_probability = 1.5", "bench_good_probability is 1.5; must be a number from 0.5 to 1"),
        ("bench_good_probability = true", "bench_good_probability is True; must be a number"),
        ("bench_good_probability = 0.5\nbench_faulty_probability = 0.5", "must be less than bench_good_probability"),
        ("minimum_cases = 2.5", "minimum_cases is 2.5; must be a whole number"),
        ("season_starts_month = 13", "season_starts_month is 13; must be a number from 1 to 12"),
        ("callback_windows = [30, 7]", "callback_windows is [30, 7]; must be rising whole days"),
        ("callback_windows = []", "callback_windows is []; must be rising whole days"),
        ("headline_window = 21", "headline_window is 21; must be one of callback_windows"),
        ("heating_base_c = nan", "heating_base_c is nan; must be a number from 0 to 30"),
        ("currency = ", "is not valid TOML"),
    ],
)
def test_what_is_wrong_is_told_with_the_file_the_value_and_what_is_allowed(tmp_path, text, says):
    with pytest.raises(SettingsError) as error:
        loaded(tmp_path, text)
    assert says in str(error.value)
    assert "settings.toml" in str(error.value)


def test_a_file_that_is_no_text_is_told(tmp_path):
    (tmp_path / "settings.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(SettingsError, match="cannot be read"):
        Settings.load(tmp_path)


@pytest.mark.parametrize("spelling", ["inwc", "in. w.c.", "[in_i'H2O]"])
def test_the_usual_unit_may_be_spelled_as_people_do(tmp_path, spelling):
    assert loaded(tmp_path, f'default_pressure_unit = "{spelling}"').default_pressure_unit == "[in_i'H2O]"
