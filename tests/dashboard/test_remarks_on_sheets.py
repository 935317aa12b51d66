"""Technicians answer to their own sheet: beside the figure, on paper, by nobody else, as text, once."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import duckdb
import pytest
from page_texts import APP, SECONDS, assert_drawn, said
from streamlit.testing.v1 import AppTest

from dashboard import code_names, remarks, roles, sign_in, store_access
from dashboard.printed import coaching, packs, typeset, web_page
from models.figures.scope import Scope
from pipelines.own_work import FILE_NAME, OwnWork, OwnWorkError, new_id
from pipelines.remarks import Remark

EMAIL = "{}@company.example"
HOSTILE = '<script>alert(1)</script> **bold** [a](javascript:b) $x$ <img src=x onerror="y"> #set text(red)\n=cmd|calc'


@pytest.fixture(scope="module")
def shared_home(fleet_home: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    home = tmp_path_factory.mktemp("remarks") / "home"
    shutil.copytree(fleet_home, home)
    return home


@pytest.fixture(scope="module")
def two(shared_home: Path) -> tuple[str, str]:
    """The two technicians with the most swaps; the first may see their sheet."""
    store = shared_home / (shared_home / "current").read_text().strip()
    with duckdb.connect(str(store), read_only=True) as con:
        rows = con.execute(
            "SELECT technician_id FROM swap_case GROUP BY 1 ORDER BY count(*) DESC, 1 LIMIT 2"
        ).fetchall()
    own, other = (row[0] for row in rows)
    people = [
        f'[people."{EMAIL.format(role)}"]\nrole = "{role}"' for role in ("manager", "trainer", "owner", "technician")
    ]
    (shared_home / "settings.toml").write_text("\n".join([*people, f'technician_id = "{own}"', ""]), "utf-8")
    return own, other


@pytest.fixture
def home(shared_home: Path, two: tuple[str, str], monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """The home put in force with sign-in; nothing was entered yet."""
    monkeypatch.setenv("GOODPULL_HOME", str(shared_home))
    monkeypatch.setenv(sign_in.FLAG, "on")
    yield shared_home
    for file in shared_home.glob(f"{FILE_NAME}*"):
        file.unlink()


@pytest.fixture
def act_as(home: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[str | None], None]:
    def now(role: str | None) -> None:
        monkeypatch.setattr(sign_in, "email", lambda: EMAIL.format(role) if role else None)

    return now


def opened_as(role: str, **address: str) -> AppTest:
    test = AppTest.from_file(str(APP), default_timeout=SECONDS)
    test.user = {"is_logged_in": True, "email": EMAIL.format(role)}
    for key, value in address.items():
        test.query_params[key] = value
    test.run()
    assert_drawn(test)
    return test


def widget(test: AppTest, kind: str, label: str) -> Any:
    (found,) = [one for one in getattr(test, kind) if one.label == label]
    return found


def answer(test: AppTest, text: str, about: str = "good_pulls", visit: str | None = None) -> AppTest:
    widget(test, "selectbox", "About").select(about)
    if visit is not None:
        test.run()
        widget(test, "text_input", "Visit").input(visit)
    widget(test, "text_area", "Remark").input(text)
    test.run()
    return widget(test, "button", "Keep the remark").click().run()


def paper(technician_id: str, is_code: bool = False) -> str:
    document = packs.document("coaching", Scope(), code_names.naming(is_code), technician_id, font=None)
    return web_page.web_page(document).decode()


def test_an_answer_stands_beside_the_figure_on_every_sheet_and_on_paper(
    home: Path, two: tuple[str, str], act_as: Callable[[str | None], None]
) -> None:
    own, other = two
    test = answer(opened_as("technician"), "The gauge was at the shop for a month.")
    assert_drawn(test)
    (kept,) = OwnWork(home).entries("remark")
    assert (kept.entry.about, kept.entry.entered_by) == (own, EMAIL.format("technician"))
    assert kept.entry.content["is_on_behalf"] is False
    for page in (test, opened_as("technician"), opened_as("trainer", technician=own)):
        text = said(page)
        assert re.search(rf"Remark by [^\n]*\({own}\), \d+ \w+ \d{{4}}\s+The gauge was at the shop for a month\.", text)
        parts = [re.sub(r"<[^>]+>", "", str(part.proto.body)) for part in page.get("html")]
        card = next(place for place, part in enumerate(parts) if "Good switches pulled per draft fault" in part)
        remark = next(place for place, part in enumerate(parts) if "at the shop" in part)
        following = next(place for place, part in enumerate(parts) if "Share of good ones among swaps" in part)
        assert card < remark < following, "beside its figure"
    assert "at the shop" not in said(opened_as("trainer", technician=other))
    act_as("trainer")
    printed = paper(own)
    assert "The gauge was at the shop for a month." in printed and "Remark by" in printed
    assert "at the shop" not in paper(other)
    hidden = paper(own, is_code=True)
    assert "at the shop" in hidden and own not in hidden, "a remark of their own stands under the code name"
    assert coaching.AS_WRITTEN in hidden and coaching.AS_WRITTEN not in paper(other)


def test_a_trainer_enters_for_them_and_it_says_so(home: Path, two: tuple[str, str]) -> None:
    answer(opened_as("trainer", technician=two[1]), "Told me the tap was blocked.", "steps")
    text = said(opened_as("trainer", technician=two[1]))
    assert re.search(rf"Remark by {EMAIL.format('trainer')}, on behalf of [^\n]*\({two[1]}\)", text)


def test_nobody_writes_on_another_sheet(home: Path, two: tuple[str, str], act_as: Callable[[str | None], None]) -> None:
    own, other = two
    # The address names somebody else: the sheet, and where the remark goes, stay their own.
    answer(opened_as("technician", technician=other), "mine")
    assert [kept.entry.about for kept in OwnWork(home).entries("remark")] == [own]
    for role, technician_id in (
        ("technician", other),
        ("owner", own),
        ("owner", other),
        (None, own),
        ("stranger", own),
    ):
        act_as(role)
        for ask in (
            lambda one=technician_id: remarks.enter(one, "steps", "x", "Somebody", new_id()),
            lambda one=technician_id: remarks.of(one),
            lambda one=technician_id: remarks.take_back(one, "any", "Somebody"),
        ):
            with pytest.raises(roles.NotAllowed):
                ask()
    assert len(OwnWork(home).entries("remark")) == 1


def test_the_name_is_the_signed_in_one_whatever_is_typed(
    home: Path, two: tuple[str, str], act_as: Callable[[str | None], None]
) -> None:
    act_as("technician")
    one = new_id()
    assert remarks.enter(two[0], "steps", "x", EMAIL.format("manager"), one)
    assert OwnWork(home).entries("remark")[0].entry.entered_by == EMAIL.format("technician")
    act_as("trainer")
    with pytest.raises(OwnWorkError, match="taken back by whoever made it"):
        remarks.take_back(two[0], one, EMAIL.format("technician"))
    with pytest.raises(OwnWorkError, match="No such remark stands on this sheet"):
        remarks.take_back(two[1], one, "")
    act_as("technician")
    assert remarks.take_back(two[0], one, "")


def test_a_visit_must_be_theirs(home: Path, two: tuple[str, str], act_as: Callable[[str | None], None]) -> None:
    with roles.whoever_has_the_files():
        mine, foreign = (
            store_access.row("SELECT min(visit_id) AS one FROM visit WHERE technician_id = ?", [one])["one"]
            for one in two
        )
    act_as("technician")
    with pytest.raises(roles.NotAllowed, match="Only your own visits"):
        remarks.enter(two[0], f"visit {foreign}", "x", "", new_id())
    act_as("trainer")
    for beside in (f"visit {foreign}", "visit NONE", "no such figure", ""):
        with pytest.raises(OwnWorkError, match="no visit of theirs"):
            remarks.enter(two[0], beside, "x", "", new_id())
    assert not OwnWork(home).entries("remark")
    act_as("technician")
    text = said(answer(opened_as("technician"), "The old one was torn.", remarks.OTHER_VISIT, mine))
    assert f"Visit {mine}" in text and "The old one was torn." in text
    act_as("trainer")
    assert "The old one was torn." in paper(two[0])


def test_sent_twice_is_kept_once_and_taken_back_on_the_page(
    home: Path, two: tuple[str, str], act_as: Callable[[str | None], None]
) -> None:
    test = answer(opened_as("technician"), "only one time", "swaps")
    assert widget(test, "text_area", "Remark").value == "", "the form is a new one"
    assert widget(test, "button", "Keep the remark").disabled
    (kept,) = OwnWork(home).entries("remark")
    # The same form sent again, from a page that has not heard of the first time.
    act_as("technician")
    assert remarks.enter(two[0], "swaps", "only one time", "", kept.entry.entry_id) is False
    assert len(OwnWork(home).entries("remark")) == 1
    widget(test, "selectbox", "Take back a remark of yours").select_index(0).run()
    widget(test, "button", "Take back").click().run()
    assert_drawn(test)
    assert "only one time" not in said(test)
    (kept,) = OwnWork(home).entries("remark")
    assert kept.undone_by is not None


def test_nothing_in_a_remark_is_markup(home: Path, two: tuple[str, str], act_as: Callable[[str | None], None]) -> None:
    test = answer(opened_as("technician"), HOSTILE)
    bodies = [str(part.proto.body) for part in test.get("html") if 'class="gp-remark"' in str(part.proto.body)]
    assert len(bodies) == 1
    assert re.findall(r"<(\w+)", bodies[0]) == ["div", "span", "bdi"], "only our own marks"
    assert "&lt;script&gt;alert(1)&lt;/script&gt; **bold** [a](javascript:b)" in bodies[0]
    for part in test.markdown:
        assert "alert(1)" not in part.value
    act_as("trainer")
    printed = paper(two[0])
    assert "<script>alert" not in printed and "onerror=&quot;" in printed.replace("<wbr>", "")
    document = packs.document("coaching", Scope(), code_names.naming(False), two[0])
    assert typeset.pdf(document, "a4").startswith(b"%PDF")


def test_a_remark_changes_no_figure(home: Path, two: tuple[str, str]) -> None:
    def figures() -> list[str]:
        parts = [str(part.proto.body) for part in opened_as("technician").get("html")]
        return [part for part in parts if "gp-card" in part]

    before = figures()
    answer(opened_as("technician"), "It was not me.")
    assert figures() == before and len(before) >= 3


def test_without_sign_in_the_typed_name_stands(
    home: Path, two: tuple[str, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv(sign_in.FLAG)
    test = AppTest.from_file(str(APP), default_timeout=SECONDS)
    test.query_params["technician"] = two[0]
    test.run().switch_page("views/coaching.py").run()
    (name,) = [one for one in test.text_input if one.label == "Your name" and "remark" in one.key]
    name.input("Chief")
    answer(test, "Said so on the phone.")
    (kept,) = OwnWork(home).entries("remark")
    assert (kept.entry.entered_by, kept.entry.content["is_on_behalf"]) == ("Chief", True)
    assert "Remark by Chief, on behalf of" in said(test)


def test_the_id_of_another_visit_keeps_its_capitals(monkeypatch: pytest.MonkeyPatch) -> None:
    drawn: list[str] = []
    monkeypatch.setattr(remarks.st, "markdown", drawn.append)
    monkeypatch.setattr(remarks, "show", lambda said, *beside: None)
    remarks.show_others([Remark("e", "T1", "visit V12aB", "x", "Chief", "2026-01-01T00:00:00Z", True)], [])
    assert drawn[-1] == "Visit V12aB"
