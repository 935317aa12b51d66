"""Who sees what, with the sign-in taken as given: pages by role, guards on every page, rights asked at every run."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest
from page_texts import APP, SECONDS, said
from streamlit.testing.v1 import AppTest

from dashboard import roles, sign_in

VIEWS = sorted(path.stem for path in (APP.parent / "views").glob("[!_]*.py"))
PEOPLE = """
[people."chief@company.example"]
role = "manager"
[people."Teach@company.example"]
role = "trainer"
[people."purse@company.example"]
role = "owner"
[people."tech@company.example"]
role = "technician"
technician_id = "{own}"
"""
ADDRESS = {
    "manager": "chief@company.example",
    "trainer": "teach@company.example",
    "owner": "purse@company.example",
    "technician": "tech@company.example",
}


@pytest.fixture(scope="module")
def own(fleet_home: Path) -> str:
    """The technician with the most swaps of the fleet."""
    from pipelines.store import Store

    # As the pages open it: another test may hold the same file open still.
    with Store(fleet_home).open_reader() as con:
        return con.execute("SELECT technician_id FROM swap_case GROUP BY 1 ORDER BY count(*) DESC, 1").fetchone()[0]


@pytest.fixture(scope="module")
def shared_home(fleet_home: Path, own: str, tmp_path_factory: pytest.TempPathFactory) -> Path:
    home = tmp_path_factory.mktemp("shared") / "home"
    shutil.copytree(fleet_home, home)
    (home / "settings.toml").write_text(PEOPLE.format(own=own), "utf-8")
    return home


@pytest.fixture
def signed(shared_home: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("GOODPULL_HOME", str(shared_home))
    monkeypatch.setenv(sign_in.FLAG, "on")
    return shared_home


def run_as(email: str | None, **claims: object) -> AppTest:
    test = AppTest.from_file(str(APP), default_timeout=SECONDS)
    test.user = {"is_logged_in": True, "email": email, **claims} if email else {"is_logged_in": False}
    return test.run()


def only_view(name: str, email: str | None) -> AppTest:
    """The page itself, without the router that would not have offered it."""

    def script(name: str) -> None:
        import importlib

        from dashboard import page
        from pipelines.errors import GoodpullError

        try:
            importlib.import_module(f"dashboard.views.{name}").show()
        except GoodpullError as error:
            page.st.warning(str(error))

    test = AppTest.from_function(script, args=(name,), default_timeout=SECONDS)
    test.user = {"is_logged_in": True, "email": email} if email else {"is_logged_in": False}
    return test.run()


def test_every_page_belongs_to_a_role_on_purpose() -> None:
    known = {name for names in roles.PAGES_OF.values() for name in names}
    assert known <= set(VIEWS), "a role is given a page that is not there"
    assert set(roles.OWN_PAGES) <= set(roles.PAGES_OF["technician"])
    assert not set(roles.PAGES_OF["technician"]) - set(roles.OWN_PAGES), "a technician sees their own sheet only"


@pytest.mark.parametrize("name", VIEWS)
def test_every_page_begins_with_its_guard(name: str) -> None:
    text = (APP.parent / "views" / f"{name}.py").read_text("utf-8")
    assert re.search(rf'def show\(\) -> None:\n(?:    """[^"]*"""\n)?    roles\.guard\("{name}"\)\n', text)


def is_theirs(role: str, name: str) -> bool:
    if role == "manager":
        return name != "own_sheet"
    return name in roles.PAGES_OF.get(role, ())


NOT_THEIRS = [(role, name) for role in (*ADDRESS, "stranger", "nobody") for name in VIEWS if not is_theirs(role, name)]


@pytest.mark.parametrize(("role", "name"), NOT_THEIRS)
def test_a_page_of_another_role_shows_nothing(name: str, role: str, signed: Path) -> None:
    test = only_view(name, {**ADDRESS, "stranger": "who@else.example"}.get(role))
    assert not test.title and not test.markdown and not test.dataframe and not test.get("html")
    assert "not open to you" in test.warning[0].value


@pytest.mark.parametrize(
    ("role", "title"),
    [("manager", "This week"), ("trainer", "Coaching"), ("owner", "Parts waste"), ("technician", "Your sheet")],
)
def test_each_role_opens_on_its_own_page(role: str, title: str, signed: Path) -> None:
    test = run_as(ADDRESS[role].upper())
    assert not test.exception and not test.error
    assert [one.value for one in test.title] == [title]
    assert any(ADDRESS[role] in one.value.replace("\\", "") for one in test.caption)


def test_nobody_and_strangers_see_no_record(signed: Path) -> None:
    for email, title in ((None, "Sign in"), ("who@else.example", "Not on the list")):
        test = run_as(email)
        assert [one.value for one in test.title] == [title]
        assert not test.dataframe and not test.selectbox
        assert "visits" not in said(test)
    # An address the provider does not vouch for is no address.
    assert run_as(ADDRESS["manager"], email_verified=False).title[0].value == "Sign in"


def test_a_technician_sees_nobody_else(signed: Path, own: str) -> None:
    test = run_as(ADDRESS["technician"])
    test.query_params["technician"] = "T001" if own != "T001" else "T002"
    test.run()
    text = said(test) + " ".join(str(table.value.to_dict()) for table in test.dataframe)
    assert "three visits to talk through" in text.lower()
    others = set(re.findall(r"\bT\d{3}\b", text)) - {own}
    assert not others
    assert own in text
    assert not [box for box in test.selectbox if box.label == "Technician"]


def test_the_data_layer_refuses_a_technician(signed: Path, own: str, monkeypatch: pytest.MonkeyPatch) -> None:
    from dashboard import figures_access, visit_sheet
    from models.figures.scope import Scope

    monkeypatch.setattr(sign_in, "email", lambda: ADDRESS["technician"])
    assert len(figures_access.visits_behind(Scope(), "swaps", technician_id=own))
    for ask in (
        lambda: figures_access.visits_behind(Scope(), "swaps"),
        lambda: figures_access.visits_behind(Scope(), "swaps", technician_id="T999"),
        lambda: figures_access.waste(Scope()),
        lambda: figures_access.good_switch_by(Scope(), "technician_id"),
        lambda: figures_access.sites(Scope()),
    ):
        with pytest.raises(roles.NotAllowed):
            ask()
    monkeypatch.setattr(sign_in, "email", lambda: ADDRESS["manager"])
    swaps = figures_access.visits_behind(Scope(), "swaps")
    other = swaps.loc[swaps["technician_id"].ne(own), "visit_id"].iloc[0]
    monkeypatch.setattr(sign_in, "email", lambda: ADDRESS["technician"])
    with pytest.raises(roles.NotAllowed):
        visit_sheet.show(str(other))


def test_the_owner_sees_code_names_only(signed: Path) -> None:
    test = run_as(ADDRESS["owner"])
    text = said(test) + " ".join(str(table.value.to_dict()) for table in test.dataframe)
    assert "Technician" in text and not re.search(r"\bT\d{3}\b", text)


def test_the_trainer_may_not_load_records(signed: Path) -> None:
    test = run_as(ADDRESS["trainer"]).switch_page("views/records.py").run()
    assert [one.value for one in test.title] == ["Records"]
    assert not [one for one in test.button if "load_button" in (one.key or "")]
    assert not [one for one in test.text_input if "mending" not in one.key], "only rows held back may be mended"


@pytest.mark.parametrize("role", ["owner", "technician"])
def test_nothing_is_entered_by_readers_who_may_not(signed: Path, monkeypatch: pytest.MonkeyPatch, role: str) -> None:
    from dashboard import own_entry

    monkeypatch.setattr(sign_in, "email", lambda: ADDRESS[role])
    for ask in (own_entry.own, own_entry.take_in):
        with pytest.raises(roles.NotAllowed, match="Entering is open to"):
            ask()
    monkeypatch.setattr(sign_in, "email", lambda: ADDRESS["trainer"])
    own_entry.own()


def test_rights_taken_away_hold_at_the_next_click_and_for_files_made_later(
    signed: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from dashboard import figures_access
    from models.figures.scope import Scope

    file = signed / "settings.toml"
    before = file.read_text("utf-8")
    test = run_as(ADDRESS["owner"])
    monkeypatch.setattr(sign_in, "email", lambda: ADDRESS["owner"])
    behind = figures_access.behind(Scope(), "swaps")
    # The file is made on another thread, where nobody is signed in.
    monkeypatch.setattr(sign_in, "email", lambda: None)
    assert len(behind(5)) == 5
    try:
        file.write_text(before.replace("purse@", "gone@"), "utf-8")
        with pytest.raises(roles.NotAllowed):
            behind(5)
        monkeypatch.setattr(sign_in, "email", lambda: ADDRESS["owner"])
        assert [one.value for one in test.run().title] == ["Not on the list"]
    finally:
        file.write_text(before, "utf-8")


def test_without_sign_in_every_page_is_open(shared_home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("GOODPULL_HOME", str(shared_home))
    assert roles.person() == roles.AT_THIS_MACHINE
    # An address beyond this machine needs a sign-in, whatever command started it.
    monkeypatch.setattr(sign_in.st, "get_option", lambda name: "0.0.0.0")
    assert sign_in.is_required() and roles.person() is None
