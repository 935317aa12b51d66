"""Remarks on a technician's sheet: kept once, taken back by their author only, never in a figure, and files of before read on."""

from __future__ import annotations

import sqlite3
import subprocess
import sys

import pytest

from pipelines.loading import load
from pipelines.own_records import n_waiting
from pipelines.own_work import FILE_NAME, Entry, OwnWork, OwnWorkError
from pipelines.own_work_copies import Restored, export_copy, restore_copy
from pipelines.own_work_file import APPLICATION_ID, FORMAT_VERSION
from pipelines.remarks import LONGEST_REMARK, MOST_REMARKS, enter_remark, remarks_of, take_back
from pipelines.store import Store

# The tables as format 1 made them, from the program of that time.
FORMAT_1 = f"""
CREATE TABLE entry (
    entry_no INTEGER PRIMARY KEY AUTOINCREMENT,
    entry_id TEXT NOT NULL UNIQUE CHECK (entry_id <> ''),
    kind TEXT NOT NULL CHECK (kind IN ('correction', 'bench_test', 'bench_draw', 'mended_row', 'dismissed_row', 'undo')),
    about TEXT NOT NULL,
    content TEXT NOT NULL CHECK (json_valid(content)),
    reason TEXT NOT NULL,
    entered_by TEXT NOT NULL CHECK (trim(entered_by) <> ''),
    entered_at TEXT NOT NULL,
    undoes TEXT UNIQUE REFERENCES entry (entry_id),
    CHECK ((kind = 'undo') = (undoes IS NOT NULL))
);
CREATE INDEX entry_about ON entry (kind, about);
CREATE TRIGGER entry_stays BEFORE UPDATE ON entry BEGIN SELECT raise(ABORT, 'entries are never changed'); END;
CREATE TRIGGER entry_is_kept BEFORE DELETE ON entry BEGIN SELECT raise(ABORT, 'entries are never removed'); END;
CREATE TABLE draft (draft_key TEXT PRIMARY KEY, content TEXT NOT NULL, saved_at TEXT NOT NULL);
INSERT INTO entry VALUES (3, 'a', 'correction', 'V1', '{{"x": 1}}', 'seen', 'chief', '2026-01-01T00:00:00Z', NULL);
INSERT INTO entry VALUES (7, 'undo-a', 'undo', 'V1', '{{"kind": "correction"}}', 'wrong', 'chief', '2026-01-02T00:00:00Z', 'a');
INSERT INTO draft VALUES ('k', '{{"y": 2}}', '2026-01-01T00:00:00Z');
PRAGMA application_id = {APPLICATION_ID};
PRAGMA user_version = 1;
"""


def remark(own: OwnWork, entry_id: str = "r1", text: str = "The hose was new.", by: str = "jo@x.example") -> bool:
    return enter_remark(own, "T1", "good_pulls", text, by, False, entry_id)


def test_sent_twice_is_kept_once(tmp_path):
    own = OwnWork(tmp_path)
    assert remark(own) is True
    assert remark(own) is False
    assert [one.text for one in remarks_of(own, "T1")] == ["The hose was new."]
    assert remarks_of(own, "T2") == []
    with pytest.raises(OwnWorkError, match="says something else"):
        remark(own, text="Another text under the same form.")


def test_only_its_author_takes_a_remark_back_and_both_stay(tmp_path):
    own = OwnWork(tmp_path)
    remark(own)
    with pytest.raises(OwnWorkError, match=r"taken back by whoever made it \(jo@x.example\)"):
        take_back(own, "r1", "chief@x.example")
    # By the common undo neither.
    with pytest.raises(OwnWorkError, match="taken back by whoever made it"):
        own.undo("r1", "not nice", "chief@x.example")
    assert len(remarks_of(own, "T1")) == 1
    assert take_back(own, "r1", " Jo@x.example")
    assert remarks_of(own, "T1") == []
    assert [kept.entry.kind for kept in own.entries()] == ["remark", "undo"]


@pytest.mark.parametrize(("text", "said"), [("  \n", "blank"), ("x" * (LONGEST_REMARK + 1), "characters")])
def test_what_cannot_be_kept_is_refused_in_words(tmp_path, text, said):
    own = OwnWork(tmp_path)
    with pytest.raises(OwnWorkError, match=said):
        remark(own, text=text)
    assert own.entries() == []


def test_a_sheet_takes_a_bounded_number(tmp_path):
    own = OwnWork(tmp_path)
    content = {"beside": "steps", "text": "a", "is_on_behalf": False}
    own.add([Entry("remark", "T1", content, "jo@x.example", "", f"r{n}") for n in range(1, MOST_REMARKS + 1)])
    with pytest.raises(OwnWorkError, match="no more are taken"):
        remark(own, "one-more")
    assert enter_remark(own, "T1", "steps", "a", "jo@x.example", False, "r1") is False, "sent twice is no new one"


def test_a_copy_brings_remarks_back(tmp_path):
    own, other = OwnWork(tmp_path / "a"), OwnWork(tmp_path / "b")
    remark(own, text="Größe 5, «ja» 👍\nzweite Zeile")
    assert len(export_copy(own, tmp_path / "copy.jsonl").entries) == 1
    assert restore_copy(other, tmp_path / "copy.jsonl") == Restored(1, 1, 0, 0)
    assert remarks_of(other, "T1") == remarks_of(own, "T1")


def test_no_figure_waits_for_a_remark_and_loading_anew_loses_none(tmp_path):
    records = tmp_path / "visits.csv"
    records.write_text(
        "visit_id,site_id,technician_id,arrived_at,visit_kind,symptom\n"
        "V1,S1,T1,2025-01-10T10:00:00Z,no_heat,draft_not_proven\n"
    )
    home = tmp_path / "home"
    load(home, [records])
    before = Store(home).current()
    remark(OwnWork(home))
    con = Store(home).open_reader()
    try:
        assert n_waiting(con, OwnWork(home)) == 0
    finally:
        con.close()
    load(home, [])
    assert Store(home).current() == before, "a remark makes no new generation"
    load(home, [records])
    assert len(remarks_of(OwnWork(home), "T1")) == 1


def test_a_file_of_format_1_is_brought_on_whole(tmp_path):
    with sqlite3.connect(tmp_path / FILE_NAME) as con:
        con.executescript(FORMAT_1)
    con.close()
    own = OwnWork(tmp_path)
    (kept,) = own.entries("correction")
    assert (kept.entry_no, kept.entry.content, kept.undone_by.entered_by) == (3, {"x": 1}, "chief")
    assert own.draft("k") == {"y": 2}
    remark(own)
    assert [one.entry_no for one in own.entries()] == [3, 7, 8], "numbers go on where they were"
    with own.file.writing() as con:
        assert con.execute("PRAGMA user_version").fetchone() == (FORMAT_VERSION,)
        assert con.execute("PRAGMA foreign_key_check").fetchall() == []
        for statement in ("DELETE FROM entry", "UPDATE entry SET reason = 'x'"):
            with pytest.raises(sqlite3.IntegrityError, match="entries are never"):
                con.execute(statement)
    fresh = OwnWork(tmp_path / "fresh")
    remark(fresh)
    assert _schema(own) == _schema(fresh)


ADDING = """
import sys
from pathlib import Path
from pipelines.own_work import Entry, OwnWork
own = OwnWork(Path(sys.argv[1]))
print("ready", flush=True)
sys.stdin.readline()
for n in range(5):
    own.add([Entry("correction", "V2", {"n": n}, "ben", "seen", f"{sys.argv[2]}-{n}")])
"""


def test_programs_that_bring_a_file_on_at_once_lose_nothing(tmp_path):
    with sqlite3.connect(tmp_path / FILE_NAME) as con:
        con.executescript(f"PRAGMA journal_mode = WAL; {FORMAT_1}")
    con.close()
    running = [
        subprocess.Popen(
            [sys.executable, "-c", ADDING, str(tmp_path), str(one)], stdin=subprocess.PIPE, stdout=subprocess.PIPE
        )
        for one in range(3)
    ]
    for one in running:
        assert one.stdout.readline() == b"ready\n"
    for one in running:
        one.stdin.write(b"go\n")
        one.stdin.flush()
    for one in running:
        one.communicate(timeout=60)
        assert one.returncode == 0
    kept = OwnWork(tmp_path).entries()
    assert [one.entry_no for one in kept[:2]] == [3, 7]
    assert {one.entry.entry_id for one in kept[2:]} == {f"{one}-{n}" for one in range(3) for n in range(5)}
    assert [one.entry_no for one in kept[2:]] == list(range(8, 23)), "numbers go on where they were"


def test_reading_leaves_a_file_of_format_1_as_it_is(tmp_path):
    with sqlite3.connect(tmp_path / FILE_NAME) as con:
        con.executescript(FORMAT_1)
    con.close()
    assert len(OwnWork(tmp_path).entries()) == 2
    with sqlite3.connect(tmp_path / FILE_NAME) as con:
        assert con.execute("PRAGMA user_version").fetchone() == (1,), "a program of before may still be writing"
    con.close()


def _schema(own: OwnWork) -> list[tuple[str, str]]:
    with own.file.reading() as con:
        return sorted(
            con.execute("SELECT name, replace(sql, '\"', '') FROM sqlite_schema WHERE sql IS NOT NULL").fetchall()
        )
