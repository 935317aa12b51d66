"""The list of people and the sign-in file: what is refused, in words that name file, entry and what is allowed."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from dashboard import roles, serving, sign_in
from dashboard.serving import command
from pipelines.settings import Settings

GOOD = {
    "redirect_uri": "https://goodpull.company.example/oauth2callback",
    "cookie_secret": "x" * 64,
    "client_id": "goodpull",
    "client_secret": "secret",
    "server_metadata_url": "https://id.company.example/.well-known/openid-configuration",
}
MANAGER = '[people."a@b.example"]\nrole = "manager"\n'


def written(home: Path, **changed: str | None) -> Path:
    lines = [f'{name} = "{value}"' for name, value in {**GOOD, **changed}.items() if value is not None]
    (home / sign_in.FILE_NAME).write_text("\n".join(["[auth]", *lines]), "utf-8")
    return home


@pytest.mark.parametrize(
    ("entry", "says"),
    [
        ('[people."a@b.example"]\nrole = "king"', "role is 'king'; must be one of manager, trainer, owner, technician"),
        ('[people."a@b.example"]\nrole = "technician"', "a technician needs technician_id"),
        ('[people."a@b.example"]\nrole = "owner"\ntechnician_id = "T1"', "belongs to role technician only"),
        ('[people."a@b.example"]\nrole = "owner"\nrolle = 1', "rolle is not known here"),
        ('[people.jo]\nrole = "owner"', 'write \\[people."jo@company.example"\\]'),
        ('[people."a@b.example"]\nrole = "owner"\n[people."A@b.example"]\nrole = "manager"', "stands twice"),
        ("people = 3", "people must be entries"),
    ],
)
def test_a_bad_entry_is_refused_in_words(entry: str, says: str, tmp_path: Path) -> None:
    (tmp_path / "settings.toml").write_text(entry, "utf-8")
    with pytest.raises(roles.PeopleError, match=says):
        roles.people(tmp_path)


def test_people_are_no_setting_of_a_figure(tmp_path: Path) -> None:
    (tmp_path / "settings.toml").write_text('currency = "EUR"\n' + MANAGER, "utf-8")
    assert Settings.load(tmp_path) == Settings(currency="EUR")
    assert roles.people(tmp_path) == {"a@b.example": roles.Person("manager", None, "a@b.example")}
    assert roles.people(tmp_path / "nowhere") == {}


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"client_secret": None, "client_id": None}, "there is no client_id and client_secret"),
        ({"cookie_secret": "short"}, "cookie_secret has 5 characters; must be 32 or more"),
        ({"redirect_uri": "http://goodpull.company.example/oauth2callback"}, "must be an https address"),
        ({"redirect_uri": "https://goodpull.company.example/"}, "must end in /oauth2callback"),
        ({"server_metadata_url": "ftp://id.company.example"}, "must be an https address"),
    ],
)
def test_a_sign_in_that_cannot_be_used_is_refused_in_words(changed: dict, says: str, tmp_path: Path) -> None:
    written(tmp_path, **changed)
    (tmp_path / "settings.toml").write_text(MANAGER, "utf-8")
    for address in ("127.0.0.1", "0.0.0.0"):
        with pytest.raises(sign_in.SignInError, match=says):
            sign_in.require_for(address, tmp_path)


def test_beyond_this_machine_only_with_a_sign_in(tmp_path: Path) -> None:
    assert sign_in.require_for("127.0.0.1", tmp_path) is None
    for address in ("0.0.0.0", "::", "192.0.2.7", "goodpull.company.example", ""):
        with pytest.raises(sign_in.SignInError, match="no sign-in is set up"):
            sign_in.require_for(address, tmp_path)
    written(tmp_path)
    with pytest.raises(sign_in.SignInError, match="nobody is named as manager"):
        sign_in.require_for("0.0.0.0", tmp_path)
    (tmp_path / "settings.toml").write_text(MANAGER, "utf-8")
    found = sign_in.require_for("0.0.0.0", tmp_path)
    assert found is not None and found.host == "goodpull.company.example"
    words = command(8642, False, "0.0.0.0", found)
    assert "--server.address=0.0.0.0" in words and "--browser.serverAddress=goodpull.company.example" in words
    assert f"--secrets.files={tmp_path / 'sign_in.toml'}" in words


@pytest.mark.skipif(os.name != "posix", reason="rights of files as POSIX has them")
def test_secrets_that_others_can_read_are_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    written(tmp_path)
    (tmp_path / "settings.toml").write_text(MANAGER, "utf-8")
    (tmp_path / "sign_in.toml").chmod(0o644)
    assert serving._sign_in("127.0.0.1", tmp_path) is not None
    assert "chmod 600" in capsys.readouterr().err.replace("\n", " ")
    (tmp_path / "sign_in.toml").chmod(0o600)
    assert serving._sign_in("127.0.0.1", tmp_path) is not None
    assert capsys.readouterr().err == ""
