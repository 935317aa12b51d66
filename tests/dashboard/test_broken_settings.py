"""A setting mistyped while the pages are open: a sentence with what to put right, no error box, on every page."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from page_texts import APP, SECONDS
from streamlit.testing.v1 import AppTest

from dashboard import sign_in


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("season_starts_month = 44", "season_starts_month is 44; must be a number from 1 to 12"),
        ("exchange_rates_on = 2026-11-02\n[exchange_rates]\nEUR = -1", "EUR is -1; must be a number above 0"),
    ],
)
def test_a_mistyped_setting_is_told_to_whoever_sits_here_and_its_place_to_nobody_else(
    text: str, says: str, one_visit_home: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    home = tmp_path / "home"
    shutil.copytree(one_visit_home, home)
    people = '\n[people."boss@company.example"]\nrole = "manager"\n'
    (home / "settings.toml").write_text(text + people, "utf-8")
    monkeypatch.setenv("GOODPULL_HOME", str(home))
    test = AppTest.from_file(str(APP), default_timeout=SECONDS).run()
    assert not test.exception and [one.value for one in test.title] == ["Not open"]
    assert says in test.error[0].value.replace("\\", "")
    monkeypatch.setenv(sign_in.FLAG, "on")
    monkeypatch.setattr(sign_in, "email", lambda: "boss@company.example")
    test = AppTest.from_file(str(APP), default_timeout=SECONDS).run()
    assert not test.exception and [one.value for one in test.title] == ["Not open"]
    (told,) = [one.value for one in test.error]
    assert told.startswith("The settings cannot be used") and str(home) not in told
