"""Coaching sessions entered here: judged as a file of them is, counted as loaded ones are, taken back, copied, never doubled."""

from __future__ import annotations

import shutil
import sqlite3
from datetime import timedelta

import pandas as pd
import pytest

from models.figures.coaching_effect import coaching_effect
from models.figures.pulls import good_pulls
from models.figures.scope import Scope
from models.misdiagnosis.scores import score_swaps
from pipelines import build, loading
from pipelines.identity_decisions import enter_decision
from pipelines.own_entries import enter_coaching_session, session_id_of, today
from pipelines.own_records import n_waiting
from pipelines.own_work import FILE_NAME, Entry, OwnWork, OwnWorkError
from pipelines.own_work_copies import Restored, export_copy, restore_copy
from pipelines.relations import read_relations
from pipelines.settings import Settings
from pipelines.store import Store

SETTINGS = Settings()
CELLS = {
    "technician_id": "T1",
    "held_on": "2024-06-15",
    "topic": "gauge_use",
    "coach_id": "",
    "remark": "gauge in hand",
}
SESSIONS = (
    "SELECT session_id, technician_id, held_on::VARCHAR, topic, coach_id, remark FROM coaching_session ORDER BY ALL"
)
HEADER = "session_id,technician_id,held_on,topic,coach_id,remark"


@pytest.fixture(scope="module")
def records(tmp_path_factory):
    """Two years of draft faults of three technicians, one of whom stands twice, with a home of their own."""
    folder = tmp_path_factory.mktemp("coached")
    visits = ["visit_id,site_id,appliance_id,technician_id,arrived_at,visit_kind,symptom,is_declared_complete"]
    lines = ["visit_id,line_no,part_class,quantity"]
    for n in range(96):
        day = f"{2024 + n // 48}-{n // 4 % 12 + 1:02d}-{n % 4 + 10}"
        visits.append(f"V{n},S{n},A{n},T{n % 4},{day}T10:00:00Z,no_heat,draft_not_proven,yes")
        lines.append(f"V{n},1,draft_switch,1")
    tables = {
        "visits": visits,
        "part_lines": lines,
        "technicians": ["technician_id,started_on", "T0,2015-01-01", "T1,2015-01-01", "T2,2015-01-01"],
        "coaching_sessions": [HEADER, "1,T2,2024-09-01,hose,chief,"],
    }
    paths = []
    for name, rows in tables.items():
        paths.append(folder / f"{name}.csv")
        paths[-1].write_text("\n".join(rows) + "\n")
    loading.load(folder / "home", paths)
    return folder


@pytest.fixture
def home(records, tmp_path):
    shutil.copytree(records / "home", tmp_path / "home")
    return tmp_path / "home"


def asked(home, query):
    con = Store(home).open_reader()
    try:
        return con.execute(query).fetchall()
    finally:
        con.close()


def enter(home, entry_id="1", by="chief@x.example", **cells) -> Entry:
    con = Store(home).open_reader()
    try:
        return enter_coaching_session(con, OwnWork(home), SETTINGS, CELLS | cells, by, entry_id)
    finally:
        con.close()


def waiting(home) -> int:
    con = Store(home).open_reader()
    try:
        return n_waiting(con, OwnWork(home))
    finally:
        con.close()


def people(home) -> pd.DataFrame:
    con = Store(home).open_reader()
    try:
        pulls = good_pulls(con, Scope(), score_swaps(con, Scope(), SETTINGS))
        return coaching_effect(con, Scope(), SETTINGS, pulls).people
    finally:
        con.close()


def test_an_entered_session_is_counted_as_a_loaded_one_and_kept_across_rebuilds(home, records, tmp_path):
    assert set(people(home)["technician_id"]) == {"T2"}
    entry = enter(home)
    assert (entry.kind, entry.about, entry.entered_by) == ("coaching_session", "T1", "chief@x.example")
    assert waiting(home) == 1 and len(asked(home, SESSIONS)) == 1
    loading.load(home, [])
    assert waiting(home) == 0
    # The loaded session is numbered as the entry is: both stand.
    entered = ("entered:1", "T1", "2024-06-15", "gauge_use", "chief@x.example", "gauge in hand")
    assert asked(home, SESSIONS) == [("1", "T2", "2024-09-01", "hose", "chief", None), entered]
    found = people(home)
    assert set(found["technician_id"]) == {"T1", "T2"}
    file = tmp_path / "coaching_sessions.csv"
    file.write_text(f"{HEADER}\n1,T2,2024-09-01,hose,chief,\n2,T1,2024-06-15,gauge_use,chief,\n")
    other = tmp_path / "other"
    loading.load(other, [*(path for path in records.glob("*.csv") if path.name != file.name), file])
    pd.testing.assert_frame_equal(found, people(other))
    # The facts are those of a whole build.
    con = Store(home).open_reader()
    names = read_relations(con, build.FOLDERS)
    before = {name: sorted(map(repr, con.execute(f'FROM "{name}"').fetchall())) for name in names}
    con.close()
    with Store(home).new_generation() as generation:
        build.build(generation.con, SETTINGS)
    after = {name: sorted(map(repr, asked(home, f'FROM "{name}"'))) for name in names}
    assert after == before
    # Records loaded anew into an empty store, beside the same own work.
    for path in [*home.glob("*.duckdb"), home / "current"]:
        path.unlink()
    loading.load(home, [*records.glob("*.csv")])
    assert entered in asked(home, SESSIONS)


def test_taken_back_it_leaves_with_the_next_load_and_both_stay_on_record(home):
    enter(home)
    loading.load(home, [])
    assert OwnWork(home).undo("1", "another day", "ben")
    assert waiting(home) == 1
    loading.load(home, [])
    assert [row[0] for row in asked(home, SESSIONS)] == ["1"] and set(people(home)["technician_id"]) == {"T2"}
    assert [kept.entry.kind for kept in OwnWork(home).entries()] == ["coaching_session", "undo"]


@pytest.mark.parametrize(
    ("cells", "said"),
    [
        ({"technician_id": "T9"}, "technician_id is T9; no such technician is on record"),
        ({"technician_id": " "}, "technician_id is blank"),
        ({"held_on": str(today(SETTINGS) + timedelta(days=1))}, "a day still to come"),
        ({"held_on": str(today(SETTINGS) + timedelta(days=30))}, "must lie between"),
        ({"held_on": "yesterday"}, "must be a date"),
        ({"held_on": ""}, "held_on is blank"),
        ({"topic": "manners"}, "topic is manners; must be one of hose, "),
        ({"remark": "x" * 2001}, "2,001 characters; at most 2,000"),
        ({"coach_id": "x" * 201}, "201 characters; at most 200"),
    ],
)
def test_what_acceptance_or_the_records_refuse_is_told_and_not_kept(home, cells, said):
    with pytest.raises(OwnWorkError, match=said):
        enter(home, **cells)
    with pytest.raises(OwnWorkError, match="fill in a name"):
        enter(home, by=" ", coach_id="chief")
    assert OwnWork(home).entries() == []


def test_today_and_a_technician_known_from_visits_alone_are_accepted_and_sent_twice_is_kept_once(home):
    held_on = str(today(SETTINGS))
    assert enter(home, technician_id="T3", held_on=held_on) == enter(home, technician_id="T3", held_on=held_on)
    assert len(OwnWork(home).entries("coaching_session")) == 1
    with pytest.raises(OwnWorkError, match="says something else"):
        enter(home, technician_id="T3", held_on=held_on, topic="hose")


def test_the_day_is_the_companys(home, monkeypatch):
    """Where the sun rises first it is another day already than where it rises last."""
    early, late = Settings(time_zone="Pacific/Kiritimati"), Settings(time_zone="Pacific/Pago_Pago")
    assert today(early) > today(late)
    monkeypatch.setitem(globals(), "SETTINGS", late)
    with pytest.raises(OwnWorkError, match=r"a day still to come|must lie between"):
        enter(home, held_on=str(today(early)))


def test_a_copy_brings_it_back_and_an_export_of_the_log_loaded_again_doubles_nothing(home, records, tmp_path):
    entry = enter(home)
    export_copy(OwnWork(home), tmp_path / "copy.jsonl")
    shutil.copytree(records / "home", tmp_path / "other")
    assert restore_copy(OwnWork(tmp_path / "other"), tmp_path / "copy.jsonl") == Restored(1, 1, 0, 0)
    assert [kept.entry for kept in OwnWork(tmp_path / "other").entries()] == [entry]
    loading.load(tmp_path / "other", [])
    sessions = asked(tmp_path / "other", SESSIONS)
    assert len(sessions) == 2
    log = tmp_path / "coaching_sessions.csv"
    log.write_text("\n".join([HEADER, *(",".join(cell or "" for cell in row) for row in sessions)]) + "\n")
    loading.load(tmp_path / "other", [log])
    assert asked(tmp_path / "other", SESSIONS) == sessions
    assert asked(tmp_path / "other", "SELECT count(*) FROM delivered.coaching_sessions") == [(2,)]
    assert session_id_of("1") in {row[0] for row in sessions}


def test_a_session_follows_a_technician_who_stands_twice(home):
    enter(home, technician_id="T3")
    con = Store(home).open_reader()
    enter_decision(con, OwnWork(home), "technician", "T1", "T3", True, "one person", "chief", "same")
    con.close()
    loading.load(home, [])
    held = "SELECT technician_id FROM coaching_session WHERE session_id = 'entered:1'"
    assert asked(home, held) == [("T1",)] and set(people(home)["technician_id"]) == {"T1", "T2"}
    OwnWork(home).undo("same", "two people", "chief")
    loading.load(home, [])
    assert asked(home, held) == [("T3",)]


def test_a_file_of_the_format_before_takes_sessions_and_keeps_its_entries(home):
    own = OwnWork(home)
    own.add([Entry("correction", "V1", {"new_value": "a"}, "chief", "seen", "one")])
    with sqlite3.connect(home / FILE_NAME) as con:
        (made,) = con.execute("SELECT sql FROM sqlite_schema WHERE name = 'entry'").fetchone()
        old = made.replace(", 'coaching_session'", "").replace("CREATE TABLE entry", "CREATE TABLE older", 1)
        assert "coaching_session" not in old
        con.executescript(f"{old}; INSERT INTO older SELECT * FROM entry; DROP TABLE entry;")
        con.executescript("ALTER TABLE older RENAME TO entry; PRAGMA user_version = 2;")
    con.close()
    before = own.entries()
    entry = enter(home)
    assert [kept.entry for kept in own.entries()] == [*(kept.entry for kept in before), entry]
