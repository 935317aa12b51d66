"""Printed packs and exports obey the roles: asked on the server when the file is made, not only when its button is drawn."""

from __future__ import annotations

import io
import re
import shutil
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from typing import Any

import duckdb
import pandas as pd
import pytest
from page_texts import APP, SECONDS, assert_drawn
from streamlit.testing.v1 import AppTest
from typer.testing import CliRunner

from dashboard import (
    code_names,
    commands,
    download,
    lookups,
    reader_choice,
    roles,
    shown_cells,
    sign_in,
    store_access,
)
from dashboard.printed import packs, web_page
from models.figures.scope import Scope

EMAIL = "{}@company.example"
ALLOWED = {
    "manager": {"week", "coaching", "warranty", "season", "closeout"},
    "trainer": {"coaching", "season", "closeout"},
    "owner": {"week", "warranty", "season"},
    "technician": set(),
}
MATRIX = [(role, kind) for role in ALLOWED for kind in packs.KINDS]


@pytest.fixture(scope="module")
def shared_home(fleet_home: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    home = tmp_path_factory.mktemp("shared_files") / "home"
    shutil.copytree(fleet_home, home)
    return home


@pytest.fixture(scope="module")
def two(shared_home: Path) -> tuple[str, str]:
    """The two technicians with the most swaps; the first may see the pages."""
    store = shared_home / (shared_home / "current").read_text().strip()
    with duckdb.connect(str(store), read_only=True) as con:
        rows = con.execute(
            "SELECT technician_id FROM swap_case GROUP BY 1 ORDER BY count(*) DESC, 1 LIMIT 2"
        ).fetchall()
    own, other = (row[0] for row in rows)
    write_people(shared_home, "technician", own)
    return own, other


def write_people(home: Path, role_of_technician: str, own: str) -> None:
    lines = [f'[people."{EMAIL.format(role)}"]\nrole = "{role}"' for role in ("manager", "trainer", "owner")]
    lines.append(f'[people."{EMAIL.format("technician")}"]\nrole = "{role_of_technician}"')
    if role_of_technician == "technician":
        lines.append(f'technician_id = "{own}"')
    (home / "settings.toml").write_text("\n".join(lines) + "\n", "utf-8")


@pytest.fixture
def own(two: tuple[str, str]) -> str:
    return two[0]


@pytest.fixture
def other(two: tuple[str, str]) -> str:
    return two[1]


@pytest.fixture
def signed(shared_home: Path, two: tuple[str, str], monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("GOODPULL_HOME", str(shared_home))
    monkeypatch.setenv(sign_in.FLAG, "on")
    return shared_home


@pytest.fixture
def act_as(signed: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[str | None], None]:
    def now(role: str | None) -> None:
        monkeypatch.setattr(sign_in, "email", lambda: EMAIL.format(role) if role else None)

    return now


def text_of(document: Any) -> str:
    return re.sub(r"<[^>]+>", " ", web_page.web_page(document).decode().replace("<wbr>", ""))


def pack(kind: str, technician_id: str | None) -> Any:
    with roles.whoever_has_the_files():
        claim = store_access.row("SELECT claim_id FROM warranty_claim ORDER BY 1")["claim_id"]
    return packs.document(kind, Scope(), code_names.naming(False), technician_id, claim, None)


def test_every_pack_belongs_to_a_page() -> None:
    assert set(roles.PACK_PAGES) == set(packs.KINDS) and roles.OWN_PACK in packs.KINDS
    pages = {path.stem for path in (APP.parent / "views").glob("[!_]*.py")}
    assert set(roles.PACK_PAGES.values()) <= pages - set(roles.OWN_PAGES)


@pytest.mark.parametrize(("role", "kind"), MATRIX)
def test_a_pack_is_made_for_those_who_may_see_its_page_only(
    role: str, kind: str, act_as: Callable[[str | None], None], other: str
) -> None:
    act_as(role)
    if kind in ALLOWED[role]:
        assert pack(kind, other).blocks
    else:
        with pytest.raises(roles.NotAllowed, match="not open to you"):
            pack(kind, other)


@pytest.mark.parametrize("kind", packs.KINDS)
def test_no_pack_for_nobody(kind: str, act_as: Callable[[str | None], None], own: str) -> None:
    act_as(None)
    with pytest.raises(roles.NotAllowed, match="not signed in"):
        packs.document(kind, Scope(), str, own, "any", None)


def test_a_technician_prints_their_own_sheet_and_nobody_elses(
    act_as: Callable[[str | None], None], own: str, other: str
) -> None:
    act_as("technician")
    text = text_of(pack("coaching", own))
    assert set(re.findall(r"\bT\d{3}\b", text)) <= {own}
    with roles.whoever_has_the_files():
        names = store_access.frame("SELECT technician_id, technician_name FROM technician")
        n_all = store_access.row("SELECT count(*) AS n FROM visit")["n"]
        n_own = store_access.row("SELECT count(*) AS n FROM visit WHERE technician_id = ?", [own])["n"]
    assert names.loc[names["technician_id"].eq(own), "technician_name"].iloc[0] in text
    for name in names.loc[names["technician_id"].ne(own), "technician_name"].dropna():
        assert name not in text
    assert f"{n_all:,} visits" not in text and f"own visits · {n_own:,} visits" in text
    for refused in (other, None):
        with pytest.raises(roles.NotAllowed):
            pack("coaching", refused)
    # The lists it is made of refuse by themselves, too.
    for ask in (lambda: lookups.own_extent(other, Scope()), lambda: lookups.coaching_log(other), lookups.coaching_log):
        with pytest.raises(roles.NotAllowed):
            ask()


def test_an_owners_pack_shows_code_names_whatever_is_asked(act_as: Callable[[str | None], None]) -> None:
    act_as("owner")
    text = text_of(pack("week", None))
    with roles.whoever_has_the_files():
        names = store_access.frame("SELECT technician_id, technician_name FROM technician")
        codes = [*map(code_names.naming(True), names["technician_id"])]
    assert any(code in text for code in codes) and not re.search(r"\bT\d{3}\b", text)
    assert not [name for name in names["technician_name"].dropna() if name in text]


def offered(role: str, monkeypatch: pytest.MonkeyPatch, page: str | None = None, **address: str) -> dict[str, Any]:
    """What makes each file that the page offers to this reader, by the key of its button."""
    found: dict[str, Any] = {}
    drawn = download.st.download_button

    def noted(*arguments: Any, **more: Any) -> bool:
        found[more["key"]] = more["data"]
        return drawn(*arguments, **more)

    with monkeypatch.context() as meanwhile:
        meanwhile.setattr(download.st, "download_button", noted)
        test = AppTest.from_file(str(APP), default_timeout=SECONDS)
        test.user = {"is_logged_in": True, "email": EMAIL.format(role)}
        for key, value in address.items():
            test.query_params[key] = value
        test.run()
        if page:
            test.switch_page(f"views/{page}.py").run()
        else:
            # Unfold what is worked out on opening, such as the table of all swaps.
            test.session_state["own_swaps"] = True
            test.run()
        assert_drawn(test)
    return found


def test_a_technician_exports_their_own_rows_and_their_own_pack(
    signed: Path, act_as: Callable[[str | None], None], own: str, other: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    files = offered("technician", monkeypatch, technician=other)
    # The file is made on another thread, where nobody is signed in.
    act_as(None)
    assert {key for key in files if key.startswith("pack_")} == {
        f"pack_coaching_{one}" for one in ("a4", "letter", "html")
    }
    page = files["pack_coaching_html"]().decode()
    assert own in page and other not in page
    tables = [key for key in files if key.startswith("export_") and not key.endswith(("_xlsx", "_parquet"))]
    assert "export_own" in tables
    with roles.whoever_has_the_files():
        mine = set(store_access.frame("SELECT visit_id FROM visit WHERE technician_id = ?", [own])["visit_id"])
    table = pd.read_csv(io.BytesIO(files["export_own"]()), encoding="utf-8-sig", dtype=str)
    assert len(table) and set(table["Visit"]) <= mine
    for key in tables:
        assert not set(re.findall(r"\bT\d{3}\b", files[key]().decode("utf-8-sig"))) - {own}, key
    # Rights taken away after the buttons were drawn hold for every file: off the list, or the page no longer theirs.
    before = (signed / "settings.toml").read_text("utf-8")
    try:
        for role in ("owner", "manager"):
            write_people(signed, role, own)
            for key, made in files.items():
                with pytest.raises(roles.NotAllowed):
                    made()
                    pytest.fail(f"{key} was made")
        (signed / "settings.toml").write_text("", "utf-8")
        for made in files.values():
            with pytest.raises(roles.NotAllowed):
                made()
    finally:
        (signed / "settings.toml").write_text(before, "utf-8")


def test_the_trainer_gets_the_coaching_pack_and_the_owner_the_week(
    signed: Path, act_as: Callable[[str | None], None], other: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    coaching = offered("trainer", monkeypatch, technician=other)
    week = offered("owner", monkeypatch, "this_week")
    act_as(None)
    assert b"Three cases to talk through" in coaching["pack_coaching_html"]()
    assert b"Needs someone today" in week["pack_week_html"]()
    assert not any(key.startswith("pack_coaching") for key in week)
    assert not any(key.startswith("pack_week") for key in coaching)


def test_a_file_is_written_in_the_readers_units(
    signed: Path, act_as: Callable[[str | None], None], other: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    address = {"technician": other, reader_choice.DRAFT_KEY: "Pa", reader_choice.NUMBERS_KEY: "1.234,5"}
    made = [offered("trainer", monkeypatch, **more)["pack_coaching_html"] for more in (address, {"technician": other})]
    act_as(None)
    told = [one().decode() for one in made]
    assert re.search(r"\d Pa\b", told[0]) and "in. w.c." not in told[0].split("Checklist")[0]
    assert re.search(r"in\. w\.c\.", told[1])
    assert re.search(r"\d,\d%", told[0])
    assert not re.search(r"\d\.\d%", re.sub(r"<style.*?</style>|<svg.*?</svg>", "", told[0], flags=re.S))


def test_numbers_come_back_whatever_they_were_written_with() -> None:
    columns = (("Swaps", "number"),)
    for separators in reader_choice.NUMBERS.values():
        thousands, decimal = separators
        frame = shown_cells.shown_frame(columns, [(f"12{thousands}345",), (f"−3{decimal}5",)], separators)
        assert frame["Swaps"].tolist() == [12345.0, -3.5]


def test_commands_need_no_sign_in_and_pages_still_do(
    signed: Path, act_as: Callable[[str | None], None], other: str, tmp_path: Path
) -> None:
    act_as(None)
    done = CliRunner().invoke(
        commands.app,
        ["report", "coaching", "--technician", other, "--home", str(signed), "--to", str(tmp_path), "--paper", "a4"],
    )
    assert done.exit_code == 0, done.output
    assert sorted(path.suffix for path in tmp_path.iterdir()) == [".html", ".pdf"]
    assert roles.person() is None


def test_packs_differ_by_role_in_nothing_but_names_and_extent(act_as: Callable[[str | None], None], own: str) -> None:
    """The technician reads what the trainer reads."""
    act_as("trainer")
    theirs = pack("coaching", own)
    act_as("technician")
    mine = pack("coaching", own)
    assert [asdict(one) for one in theirs.blocks] == [asdict(one) for one in mine.blocks]
