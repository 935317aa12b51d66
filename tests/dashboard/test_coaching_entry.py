"""A coaching session is written down on the technician's sheet: in the log at once, by trainer and manager only."""

from __future__ import annotations

import datetime as dt
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import duckdb
import pytest
from page_texts import APP, SECONDS, assert_drawn, opened, said
from small_company import made_home
from streamlit.testing.v1 import AppTest

from dashboard import coaching_sessions, lookups, roles, sign_in, store_access
from models.figures.scope import Scope
from pipelines.identity_decisions import enter_decision
from pipelines.loading import load
from pipelines.own_entries import today
from pipelines.own_work import FILE_NAME, OwnWork, OwnWorkError, new_id
from pipelines.settings import Settings

EMAIL = "{}@company.example"
FORM = "Write a coaching session down"
DAY = today(Settings())
CELLS = {"held_on": str(DAY), "topic": "gauge_use", "coach_id": "", "remark": "gauge in hand"}
HOSTILE = '<script>alert(1)</script> **bold** $x$ <img src=x onerror="y">'


@pytest.fixture(scope="module")
def shared(fleet_home: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str, str]:
    """A home with sign-in, the technician who may see their sheet, and another."""
    home = tmp_path_factory.mktemp("coaching") / "home"
    shutil.copytree(fleet_home, home)
    with duckdb.connect(str(home / (home / "current").read_text().strip()), read_only=True) as con:
        rows = con.execute("SELECT technician_id FROM swap_case GROUP BY 1 ORDER BY count(*) DESC, 1 LIMIT 2")
        own, other = (row[0] for row in rows.fetchall())
    people = [f'[people."{EMAIL.format(role)}"]\nrole = "{role}"' for role in roles.ROLES]
    assert roles.ROLES[-1] == "technician"
    (home / "settings.toml").write_text("\n".join([*people, f'technician_id = "{own}"', ""]), "utf-8")
    return home, own, other


@pytest.fixture
def home(shared: tuple[Path, str, str], monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    monkeypatch.setenv("GOODPULL_HOME", str(shared[0]))
    monkeypatch.setenv(sign_in.FLAG, "on")
    yield shared[0]
    for file in shared[0].glob(f"{FILE_NAME}*"):
        file.unlink()


@pytest.fixture
def act_as(home: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[str | None], None]:
    return lambda role: monkeypatch.setattr(sign_in, "email", lambda: EMAIL.format(role) if role else None)


def opened_as(role: str, page: str | None = None, **address: str) -> AppTest:
    test = AppTest.from_file(str(APP), default_timeout=SECONDS)
    test.user = {"is_logged_in": True, "email": EMAIL.format(role)}
    for key, value in address.items():
        test.query_params[key] = value
    test.run()
    if page is not None:
        test.switch_page(f"views/{page}.py").run()
    assert_drawn(test)
    return test


def widget(test: AppTest, kind: str, label: str) -> Any:
    (found,) = [one for one in getattr(test, kind) if one.label == label]
    return found


def write_down(test: AppTest, remark: str = "gauge in hand") -> AppTest:
    assert widget(test, "button", "Keep the session").disabled
    assert "Still to fill in: the day and the step." in said(test)
    widget(test, "date_input", "Held on").set_value(DAY)
    widget(test, "selectbox", "Step it was about").select("gauge_use")
    widget(test, "text_area", "Remark, if any").input(remark)
    test.run()
    return widget(test, "button", "Keep the session").click().run()


def test_a_trainer_writes_a_session_down_and_it_is_in_the_log_at_once(
    home: Path, shared: tuple[Path, str, str], act_as: Callable[[str | None], None]
) -> None:
    _, own, other = shared
    act_as("trainer")
    before = len(lookups.coaching_log())
    test = write_down(opened_as("trainer", technician=own), HOSTILE)
    assert_drawn(test)
    assert "is kept" in test.success[0].value and coaching_sessions.COMES in said(test)
    assert "1 entry is kept, but is not in the figures yet" in said(test)
    assert widget(test, "button", "Keep the session").disabled, "the form is open anew"
    (kept,) = OwnWork(home).entries("coaching_session")
    assert (kept.entry.about, kept.entry.entered_by) == (own, EMAIL.format("trainer"))
    assert kept.entry.content["stored"]["coach_id"] == EMAIL.format("trainer")
    assert coaching_sessions.COMES in said(opened_as("technician")), "the technician sees what is kept of them"
    log = coaching_sessions.log()
    assert len(log) == before + 1 and len(lookups.coaching_log()) == before
    assert log.iloc[0][["technician_id", "topic", "remark", "in_figures"]].tolist() == [
        own, "gauge_use", HOSTILE, coaching_sessions.COMES,
    ]  # fmt: skip
    assert log["held_on"].is_monotonic_decreasing
    assert coaching_sessions.COMES not in set(coaching_sessions.log(other)["in_figures"])
    assert coaching_sessions.COMES not in set(coaching_sessions.log(scope=Scope(branch="none"))["in_figures"])
    day_before = Scope(end_on=DAY - dt.timedelta(days=1))
    assert coaching_sessions.COMES not in set(coaching_sessions.log(scope=day_before)["in_figures"])
    corrections = opened_as("trainer", "corrections")
    line = corrections.dataframe[0].value.iloc[0]
    assert (line["What"], line["State"]) == ("coaching session", "not in the figures yet")
    assert own in line["About"] and "gauge use" in line["Says"]


def test_after_the_load_it_counts_and_a_session_taken_back_is_told(
    fleet_home: Path, tmp_path: Path, shared: tuple[Path, str, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    home = tmp_path / "home"
    shutil.copytree(fleet_home, home)
    monkeypatch.setenv("GOODPULL_HOME", str(home))
    own = shared[1]
    with roles.whoever_has_the_files():
        entry = coaching_sessions.enter(own, CELLS, "Chief", "first")
        assert coaching_sessions.enter(own, CELLS, "Chief", "first") == entry
        load(home, [])
        newest = coaching_sessions.log(own).iloc[0]
        assert (newest["remark"], newest["in_figures"]) == ("gauge in hand", coaching_sessions.COUNTS)
        OwnWork(home).undo("first", "another day", "Chief")
        assert coaching_sessions.log(own).iloc[0]["in_figures"] == coaching_sessions.LEAVES
        load(home, [])
        assert "entered:first" not in set(coaching_sessions.log(own)["session_id"])


@pytest.mark.parametrize("role", ["technician", "owner", None])
def test_nobody_else_may_write_one_down(
    role: str | None, home: Path, shared: tuple[Path, str, str], act_as: Callable[[str | None], None]
) -> None:
    act_as(role)
    with pytest.raises(roles.NotAllowed):
        coaching_sessions.enter(shared[1], CELLS, "Chief", new_id())
    assert OwnWork(home).entries() == []


def test_the_form_stands_on_the_trainers_sheet_and_never_on_the_own_one(
    home: Path, shared: tuple[Path, str, str]
) -> None:
    own = shared[1]
    assert FORM in [one.label for one in opened_as("trainer", technician=own).expander]
    assert FORM in [one.label for one in opened_as("manager", "coaching", technician=own).expander]
    assert FORM not in [one.label for one in opened_as("technician").expander]


def test_what_is_refused_is_told_in_words(home: Path, act_as: Callable[[str | None], None]) -> None:
    act_as("trainer")
    with pytest.raises(OwnWorkError, match="no such technician is on record"):
        coaching_sessions.enter("nobody", CELLS, "Chief", new_id())


def test_what_waits_stands_under_the_id_of_a_technician_who_stands_twice(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    home = made_home(tmp_path, monkeypatch)
    assert "Write one down on a technician's sheet above" in said(opened("coaching"))
    enter_decision(store_access.reader(), OwnWork(home), "technician", "T0", "T1", True, "one person", "Chief")
    load(home, [])
    coaching_sessions.enter("T1", CELLS, "Chief", "first")
    for log in (coaching_sessions.log(), coaching_sessions.log("T0")):
        assert log["technician_id"].tolist() == ["T0"] and log["in_figures"].tolist() == [coaching_sessions.COMES]
    assert coaching_sessions.log("T1").empty
    line = opened("corrections").dataframe[0].value.iloc[0]
    assert (line["What"], line["About"]) == ("coaching session", "Anna (T0)")
    assert OwnWork(home).entries("coaching_session")[0].entry.about == "T1", "as it was entered"
