"""Decisions about who is the same: in the figures as a full build has them, taken back, refused, copied, kept."""

from __future__ import annotations

import shutil
import sqlite3
from functools import partial

import pytest

from pipelines import build, loading
from pipelines.identity_decisions import KIND, enter_decision, standing
from pipelines.identity_pairs import find_pairs, undecided
from pipelines.own_entries import enter_correction
from pipelines.own_records import n_waiting
from pipelines.own_work import FILE_NAME, Entry, OwnWork, OwnWorkError
from pipelines.own_work_copies import Restored, export_copy, restore_copy
from pipelines.own_work_file import FORMAT_VERSION
from pipelines.relations import read_relations
from pipelines.settings import Settings
from pipelines.store import Store


@pytest.fixture
def home(tmp_path):
    """Forty sites with two visits each. B on two sites, J on one, T and U elsewhere; site S5 has one furnace twice, under A5
    and a-05, and a visit that names none. Delivered in two files of visits."""
    records = tmp_path / "records"
    records.mkdir()
    visits = [
        "visit_id,site_id,appliance_id,technician_id,arrived_at,left_at,visit_kind,symptom,cause_code,is_declared_complete"
    ]
    lines = ["visit_id,line_no,part_number,part_class,quantity,removed_tag"]
    for n in range(40):
        who = "B" if n in (3, 4) else "J" if n == 6 else "U" if n % 2 else "T"
        again = "" if n == 5 else "a-06" if n == 6 else f"A{n}"
        visits.append(
            f"V{n},S{n},A{n},{who},2025-01-{10 + n % 5}T{n % 12 + 8}:00:00Z,,no_heat,draft_not_proven,fan_worn,yes"
        )
        visits.append(f"W{n},S{n},{again},T,2025-02-15T10:{n}:00Z,,no_heat,draft_not_proven,,yes")
        lines.append(f"V{n},1,SW,draft_switch,1,TAG{n}")
    appliances = ["appliance_id,site_id,appliance_kind,installed_on,model_code,serial_number"]
    appliances += [f"A{n},S{n},furnace,2015-01-01,M80,SER{n:05d}" for n in range(40)]
    appliances += ["a-05,S5,furnace,2015-01-01,M80,ser-00005"]
    tables = {
        "visits": visits,
        "part_lines": lines,
        "appliances": appliances,
        "technicians": [
            "technician_id,technician_name,branch,started_on",
            "T,Tom Reed,east,2019-01-01", "U,Una Price,east,2018-01-01", "B,Bea Long,,2012-01-01", "J,Long Bea,west,2024-01-01",
        ],
        "coaching_sessions": ["session_id,technician_id,held_on,topic,coach_id", "C1,J,2025-01-20,hose,chief"],
        "parts": ["part_number,part_class,rated_make_pressure,make_tolerance,pressure_unit", "SW,draft_switch,200,10,Pa"],
    }  # fmt: skip
    for name, rows in tables.items():
        (records / f"{name}.csv").write_text("\n".join(rows) + "\n")
    loading.load(tmp_path / "home", [records])
    return tmp_path / "home"


def facts(con):
    names = read_relations(con, build.FOLDERS)
    return {name: sorted(map(repr, con.execute(f'SELECT * FROM "{name}"').fetchall())) for name in names}


def reading(home, work):
    con = Store(home).open_reader()
    try:
        return work(con)
    finally:
        con.close()


def asked(home, query):
    return reading(home, lambda con: con.execute(query).fetchall())


def decide(home, subject, keep, other, is_same=True, entry_id=None, by="chief"):
    own = OwnWork(home)
    return reading(home, lambda con: enter_decision(con, own, subject, keep, other, is_same, "seen", by, entry_id))


def undo_all(home):
    own = OwnWork(home)
    for kept in own.entries(KIND, "correction"):
        own.undo(kept.entry.entry_id, "no", "ben")


def owned(home):
    reading(home, lambda con: enter_correction(con, OwnWork(home), Settings(), "V9", "owner", "J", "seen", "chief"))
    decide(home, "technician", "B", "J")


STEPS = {
    "one person, one of them the owner of another's job": (owned, True),
    "one appliance, in both registers": (lambda home: decide(home, "appliance", "A5", "a-05"), True),
    "one appliance, one id on visits alone": (lambda home: decide(home, "appliance", "A6", "a-06"), True),
    "who is on most sites": (lambda home: decide(home, "technician", "T", "B"), False),
    "all taken back": (undo_all, False),
}


def test_every_step_gives_the_facts_of_a_full_build(home, monkeypatch):
    reports, whole = [], build.build
    monkeypatch.setattr(loading.build, "build", lambda *given: reports.append(whole(*given)))
    before = first = reading(home, facts)
    for name, (step, is_small) in STEPS.items():
        step(home)
        assert loading.load(home, []).is_changed, name
        assert reports[-1].is_incremental == is_small, name
        with Store(home).new_generation() as generation:
            now = facts(generation.con)
            assert now != before, name
            whole(generation.con, Settings())
            assert facts(generation.con) == now, name
        before = now
    assert before == first, "everything was taken back"


def test_figures_count_one_technician_and_the_delivered_rows_stay(home):
    delivered = asked(home, "SELECT * FROM delivered.visits ORDER BY visit_id")
    decide(home, "technician", "B", "J")
    assert reading(home, lambda con: n_waiting(con, OwnWork(home))) == 1
    loading.load(home, [])
    assert reading(home, lambda con: n_waiting(con, OwnWork(home))) == 0
    assert asked(home, "SELECT technician_id, count(*) FROM draft_fault GROUP BY ALL HAVING technician_id IN ('B', 'J')") \
        == [("B", 3)]  # fmt: skip
    assert asked(home, "SELECT DISTINCT technician_id FROM coaching_session") == [("B",)]
    assert asked(home, "SELECT technician_name, branch, started_on::VARCHAR FROM technician WHERE technician_id = 'B'") \
        == [("Bea Long", "west", "2012-01-01")]  # fmt: skip
    assert asked(home, "SELECT count(*) FROM technician") == [(3,)]
    assert asked(home, "SELECT * FROM delivered.visits ORDER BY visit_id") == delivered


def test_one_appliance_proves_which_a_visit_was_to(home):
    blank = "SELECT appliance_key, is_appliance_proven FROM visit WHERE visit_id = 'W5'"
    assert asked(home, blank) == [(None, False)]
    decide(home, "appliance", "A5", "a-05")
    loading.load(home, [])
    assert asked(home, blank) == [("A5", False)]
    assert asked(home, "SELECT count(*) FROM appliance WHERE site_id = 'S5'") == [(1,)]


def test_contradictions_are_refused_and_name_who_said_otherwise(home):
    decide(home, "technician", "B", "J")
    decide(home, "technician", "T", "J", is_same=False)
    for what, told in (
        (("technician", "T", "B"), "chief on .* said that T and J are not the same: seen"),
        (("technician", "J", "B", False), "count as the same, under B: B = J, chief"),
        (("technician", "J", "B"), "count as the same already"),
        (("technician", "B", "T", False), "said so already: T and J are not the same"),
        (("technician", "B", "Z"), "Z: no such technician is on record"),
        (("technician", "B", "B"), "B is one entry; name two"),
        (("appliance", "A1", "A2"), "A1 and A2 stand on different sites"),
        (("appliance", "a-06", "A6"), "keep A6"),
        (("site", "S1", "S2"), "must be one of technician, appliance"),
    ):
        with pytest.raises(OwnWorkError, match=told):
            decide(home, *what)
    assert len(OwnWork(home).entries(KIND)) == 2
    decide(home, "technician", "U", "B")
    with pytest.raises(OwnWorkError, match="not the same"):
        decide(home, "technician", "T", "U")
    own = OwnWork(home)
    own.undo(own.entries(KIND)[1].entry.entry_id, "looked again", "ben")
    decide(home, "technician", "T", "U")
    assert [row[2:] for row in standing(own.entries()).merged()] == [("B", "T"), ("J", "T"), ("U", "T")]
    # Taking the middle one back parts what it had joined and nothing else.
    own.undo(own.entries(KIND)[2].entry.entry_id, "looked again", "ben")
    assert [row[2:] for row in standing(own.entries()).merged()] == [("J", "B"), ("U", "T")]


def test_sent_twice_is_one(home):
    for _ in range(2):
        decide(home, "technician", "B", "J", entry_id="form")
    assert len(OwnWork(home).entries(KIND)) == 1


def test_pairs_are_asked_once(home):
    def waiting():
        now = standing(OwnWork(home).entries())
        every = [
            pair
            for subject in ("technician", "appliance")
            for pair in reading(home, partial(find_pairs, subject=subject))
        ]
        return [tuple(node[2] for node in pair.nodes) for pair in undecided(every, now)]

    assert waiting() == [("B", "J"), ("A5", "a-05"), ("A6", "a-06")]
    decide(home, "technician", "B", "J", is_same=False)
    assert reading(home, lambda con: n_waiting(con, OwnWork(home))) == 0, "no figure waits for it"
    decide(home, "appliance", "A5", "a-05")
    assert waiting() == [("A6", "a-06")]
    loading.load(home, [])
    assert waiting() == [("A6", "a-06")]


def test_decisions_outlive_the_store_and_a_copy_brings_them_back(home, tmp_path):
    decide(home, "technician", "B", "J")
    decide(home, "appliance", "A5", "a-05")
    decide(home, "technician", "T", "U", is_same=False)
    loading.load(home, [])
    entered = reading(home, facts)
    copy = tmp_path / "copy.jsonl"
    export_copy(OwnWork(home), copy)
    shutil.rmtree(home)
    loading.load(home, [tmp_path / "records"])
    assert reading(home, facts) != entered
    assert restore_copy(OwnWork(home), copy) == Restored(3, 3, 0, 0)
    loading.load(home, [])
    assert reading(home, facts) == entered
    # A technician's row delivered anew, with another name, leaves the decision as it is.
    (tmp_path / "records" / "technicians.csv").write_text("technician_id,technician_name\nJ,Beatrice Long\n")
    loading.load(home, [tmp_path / "records"])
    assert asked(home, "SELECT count(*) FROM visit WHERE technician_id = 'J'") == [(0,)]


def test_decisions_that_contradict_each_other_merge_nothing(home):
    """As a copy of another home may bring them."""

    def said(entry_id, keep, other, decision):
        content = {"subject": "technician", "site_id": "", "keep": keep, "other": other, "decision": decision}
        return Entry(KIND, f"technician:{keep}|{other}", content, "ann", "seen", entry_id)

    own = OwnWork(home)
    own.add([said("1", "B", "J", "same"), said("2", "T", "J", "same"), said("3", "B", "T", "different")])
    now = standing(own.entries())
    assert [row[2:] for row in now.merged()] == [("J", "B")]
    assert [one.kept.entry.entry_id for one in now.against] == ["2"]


def test_a_refusal_that_comes_with_a_copy_waits_to_part_what_was_joined(home):
    def said(entry_id, decision):
        content = {"subject": "technician", "site_id": "", "keep": "B", "other": "J", "decision": decision}
        return Entry(KIND, "technician:B|J", content, "chief", "seen", entry_id)

    own = OwnWork(home)
    waits = partial(n_waiting, own=own)
    own.add([said("1", "same")])
    assert reading(home, waits) == 1
    loading.load(home, [])
    own.add([said("2", "different")])
    assert reading(home, waits) == 1, "the two are still one in the figures"
    loading.load(home, [])
    assert reading(home, waits) == 0
    assert reading(home, lambda con: con.execute("FROM entered.same_as").fetchall()) == []
    own.undo("2", "one person", "chief")
    assert reading(home, waits) == 1
    loading.load(home, [])
    assert reading(home, lambda con: con.execute("SELECT record_id FROM entered.same_as").fetchall()) == [("J",)]


def test_a_file_of_the_format_before_takes_decisions_and_keeps_its_entries(tmp_path):
    own = OwnWork(tmp_path)
    own.add([Entry("correction", "V1", {"new_value": "a"}, "chief", "seen", "one")])
    own.undo("one", "no", "ben")
    with sqlite3.connect(tmp_path / FILE_NAME) as con:
        (made,) = con.execute("SELECT sql FROM sqlite_schema WHERE name = 'entry'").fetchone()
        old = made.replace(", 'identity'", "").replace("CREATE TABLE entry", "CREATE TABLE older", 1)
        assert old != made
        con.executescript(f"{old}; INSERT INTO older SELECT * FROM entry; DROP TABLE entry;")
        con.executescript("ALTER TABLE older RENAME TO entry; PRAGMA user_version = 1;")
    con.close()
    before = own.entries()
    assert [kept.entry_no for kept in before] == [1, 2]
    content = {"subject": "technician", "site_id": "", "keep": "A", "other": "B", "decision": "same"}
    own.add([Entry(KIND, "technician:A|B", content, "chief", "seen", "two")])
    assert own.entries()[:2] == before
    assert [kept.entry_no for kept in own.entries()] == [1, 2, 3]
    with sqlite3.connect(tmp_path / FILE_NAME) as con:
        assert con.execute("PRAGMA user_version").fetchone() == (FORMAT_VERSION,)
        with pytest.raises(sqlite3.DatabaseError, match="never removed"):
            con.execute("DELETE FROM entry")
    con.close()
