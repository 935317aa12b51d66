"""The company's own work: nothing lost by kill -9, by several writing at once, by sending twice; told when it cannot be kept."""

from __future__ import annotations

import hashlib
import json
import os
import signal
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

from pipelines.own_work import FILE_NAME, FORMAT_VERSION, Entry, OwnWork, OwnWorkError
from pipelines.own_work_copies import TITLE, Restored, export_copy, restore_copy

# Writes entries one after the other and says the number of each once it is kept.
WRITER = """
import sys
from pathlib import Path
from pipelines.own_work import Entry, OwnWork
own, name, n = OwnWork(Path(sys.argv[1])), sys.argv[2], int(sys.argv[3])
for number in range(n):
    own.add([Entry("correction", f"V{number}", {"new_value": name}, name, "seen", f"{name}-{number}")])
    print(number, flush=True)
"""


def writer(home: Path, name: str, n: int) -> subprocess.Popen[str]:
    return subprocess.Popen([sys.executable, "-c", WRITER, str(home), name, str(n)], stdout=subprocess.PIPE, text=True)


def correction(entry_id: str, value: str = "fan_worn", about: str = "V1") -> Entry:
    return Entry("correction", about, {"new_value": value}, "chief", "seen", entry_id)


@pytest.mark.skipif(os.name == "nt", reason="kill -9 is not there on Windows")
@pytest.mark.parametrize("n_before", [1, 7, 40])
def test_what_was_said_to_be_kept_survives_kill_9(tmp_path, n_before):
    child = writer(tmp_path, "anna", 100_000)
    try:
        said = [int(child.stdout.readline()) for _ in range(n_before)]
    finally:
        child.send_signal(signal.SIGKILL)
        child.wait()
    said += [int(line) for line in child.stdout.read().split()]
    child.stdout.close()
    kept = OwnWork(tmp_path).entries()
    assert child.returncode == -signal.SIGKILL
    # The child may have kept one more that it had no time to tell.
    assert [one.entry.about for one in kept][: len(said)] == [f"V{number}" for number in said]
    assert len(said) <= len(kept) <= len(said) + 1
    OwnWork(tmp_path).add([correction("after")])
    assert OwnWork(tmp_path).entries()[-1].entry.entry_id == "after"


def test_several_write_at_once_and_no_entry_is_lost(tmp_path):
    children = [writer(tmp_path, name, 25) for name in ("anna", "ben", "carl")]
    for child in children:
        child.communicate(timeout=120)
        assert child.returncode == 0
    kept = OwnWork(tmp_path).entries()
    assert len(kept) == 75
    assert {one.entry.entry_id for one in kept} == {f"{n}-{i}" for n in ("anna", "ben", "carl") for i in range(25)}
    assert [one.entry_no for one in kept] == sorted(one.entry_no for one in kept)


def test_the_journal_is_synced_at_every_commit(tmp_path):
    own = OwnWork(tmp_path)
    own.add([correction("a")])
    with own.file.writing() as con:
        assert con.execute("PRAGMA synchronous").fetchone() == (2,)
        assert con.execute("PRAGMA journal_mode").fetchone() == ("wal",)


def test_sent_twice_is_kept_once_and_another_content_is_refused(tmp_path):
    own = OwnWork(tmp_path)
    assert own.add([correction("a")]) == 1
    assert own.add([correction("a")]) == 0
    with pytest.raises(OwnWorkError, match="is there already, by chief"):
        own.add([correction("new"), correction("a", "hose_water")])
    assert [one.entry.entry_id for one in own.entries()] == ["a"], "all or none"


def test_an_entry_is_taken_back_by_the_first_letters_of_its_id(tmp_path):
    own = OwnWork(tmp_path)
    with pytest.raises(OwnWorkError, match="holds no entry 'abcd'"):
        own.undo("abcd", "nothing entered yet", "ben")
    own.add([correction("abcd1"), correction("abcd2"), correction("abcd"), correction("xyz_1")])
    with pytest.raises(OwnWorkError, match="holds no entry 'xyz'"):
        own.undo("xyz", "too short", "ben")
    with pytest.raises(OwnWorkError, match="holds no entry 'xyz%'"):
        own.undo("xyz%", "not a pattern", "ben")
    assert own.undo("xyz_", "first letters", "ben") and own.undo("abcd", "whole id", "ben")
    assert not own.undo("xyz_", "again", "carl")
    with pytest.raises(OwnWorkError, match="holds no entry 'undo'"):
        own.undo("undo", "not the undo itself", "ben")
    own.add([correction("abce1"), correction("abce2")])
    with pytest.raises(OwnWorkError, match="begins the ids of 2 entries: abce1, abce2"):
        own.undo("abce", "which", "ben")
    in_force = [kept.entry.entry_id for kept in own.entries("correction") if kept.is_in_force]
    assert in_force == ["abcd1", "abcd2", "abce1", "abce2"]


def test_an_undo_is_an_entry_and_nothing_is_removed(tmp_path):
    own = OwnWork(tmp_path)
    own.add([correction("a"), correction("b")])
    assert own.undo("a", "was right after all", "ben")
    assert not own.undo("a", "me too", "carl")
    first, second = own.entries("correction")
    assert not first.is_in_force and first.undone_by.entered_by == "ben" and second.is_in_force
    assert len(own.entries()) == 3
    with pytest.raises(OwnWorkError, match="holds no entry 'zz'"):
        own.undo("zz", "why", "ben")
    with pytest.raises(OwnWorkError, match="no such entry to take back"):
        own.undo("undo-a", "why", "ben")
    for statement in ("DELETE FROM entry", "UPDATE entry SET reason = 'x'"):
        with sqlite3.connect(tmp_path / FILE_NAME) as con, pytest.raises(sqlite3.IntegrityError, match="never"):
            con.execute(statement)


def test_a_copy_brings_everything_back_and_twice_adds_nothing(tmp_path):
    own, copy = OwnWork(tmp_path / "one"), tmp_path / "copy.jsonl"
    own.add([correction("a"), Entry("correction", "V2", {"new_value": "Dräger \u2028 x"}, "chief", "seen", "b")])
    own.undo("a", "no", "ben")
    assert len(export_copy(own, copy).entries) == 3
    other = OwnWork(tmp_path / "other")
    other.add([correction("mine")])
    assert restore_copy(other, copy) == Restored(3, 3, 0, 0)
    assert restore_copy(other, copy) == Restored(0, 3, 0, 0)
    assert {one.entry.entry_id: one.entry for one in own.entries()}.items() <= {
        one.entry.entry_id: one.entry for one in other.entries()
    }.items()
    assert [one.is_in_force for one in other.entries("correction")] == [True, False, True]


def test_a_copy_brings_the_mappings_of_loads_back(tmp_path):
    one, other, copy = OwnWork(tmp_path / "one"), OwnWork(tmp_path / "other"), tmp_path / "copy.jsonl"
    kept = tmp_path / "one" / "mappings" / "office-1f2e.toml"
    kept.parent.mkdir(parents=True)
    kept.write_text('name = "Büro"\nconfirmed = true\n', "utf-8")
    assert list(export_copy(one, copy).mappings) == ["office-1f2e.toml"]
    assert restore_copy(other, copy) == Restored(0, 0, 1, 1)
    brought = tmp_path / "other" / "mappings" / "office-1f2e.toml"
    assert brought.read_bytes() == kept.read_bytes()
    assert restore_copy(other, copy) == Restored(0, 0, 0, 1)

    one.add([correction("a")])
    export_copy(one, copy)
    brought.write_text("changed by hand", "utf-8")
    with pytest.raises(OwnWorkError, match="another text than in the copy"):
        restore_copy(other, copy)
    assert brought.read_text("utf-8") == "changed by hand" and other.entries() == []


@pytest.mark.parametrize("name", ["../away.toml", "/away.toml", "a\\b.toml", "away.txt", ".."])
def test_a_mapping_of_a_copy_never_lands_elsewhere(tmp_path, name):
    own, copy = OwnWork(tmp_path / "one"), tmp_path / "copy.jsonl"
    own.add([correction("a")])
    body = (json.dumps({"mapping": name, "toml": "x"}) + "\n").encode()
    head = {"title": TITLE, "version": FORMAT_VERSION + 1, "n_entries": 0, "n_mappings": 1}
    copy.write_bytes(json.dumps(head | {"sha256": hashlib.sha256(body).hexdigest()}).encode() + b"\n" + body)
    with pytest.raises(OwnWorkError, match="must be a plain name"):
        restore_copy(own, copy)
    assert not (tmp_path / "one" / "mappings").exists() and not (tmp_path / "one" / "away.toml").exists()


@pytest.mark.parametrize(
    ("spoil", "told"),
    [
        (lambda text: text[:-20], "is not whole"),
        (lambda text: text.replace(b"fan_worn", b"fan_torn"), "is not whole"),
        (lambda text: b"visit_id,site_id\n1,2\n", "is no copy of own work"),
        (lambda text: text.replace(b'"version": %d' % FORMAT_VERSION, b'"version": 99'), "Update goodpull"),
    ],
)
def test_a_spoiled_copy_is_refused_whole(tmp_path, spoil, told):
    own, copy = OwnWork(tmp_path), tmp_path / "copy.jsonl"
    own.add([correction("a"), correction("b")])
    export_copy(own, copy)
    copy.write_bytes(spoil(copy.read_bytes()))
    other = OwnWork(tmp_path / "other")
    with pytest.raises(OwnWorkError, match=told):
        restore_copy(other, copy)
    assert other.entries() == []


def test_failures_are_told_in_words(tmp_path):
    own = OwnWork(tmp_path, wait_seconds=0.1)
    with pytest.raises(OwnWorkError, match="reason is blank"):
        own.add([Entry("correction", "V1", {}, "chief")])
    with pytest.raises(OwnWorkError, match="Who enters this is blank"):
        own.add([Entry("bench_test", "T1", {}, " ")])
    own.add([correction("a")])
    with own.file.writing(), pytest.raises(OwnWorkError, match="somebody else is writing"):
        own.add([correction("b")])
    (tmp_path / "damaged").mkdir()
    (tmp_path / "damaged" / FILE_NAME).write_bytes(b"not a database at all" * 100)
    with pytest.raises(OwnWorkError, match="is damaged.*goodpull own-work restore"):
        OwnWork(tmp_path / "damaged").entries()
    (tmp_path / "foreign").mkdir()
    with sqlite3.connect(tmp_path / "foreign" / FILE_NAME) as con:
        con.execute("CREATE TABLE theirs (x)")
    with pytest.raises(OwnWorkError, match="another program's database"):
        OwnWork(tmp_path / "foreign").add([correction("a")])
    (tmp_path / "file").write_text("x")
    with pytest.raises(OwnWorkError, match="--home"):
        OwnWork(tmp_path / "file").add([correction("a")])


@pytest.mark.skipif(os.name == "nt", reason="RLIMIT_FSIZE is not there on Windows")
def test_a_disk_that_is_full_is_told_and_nothing_is_half_kept(tmp_path):
    own = OwnWork(tmp_path)
    own.add([correction("a")])
    code = (
        "import resource, signal, sys; from pathlib import Path; from pipelines.own_work import *; "
        "signal.signal(signal.SIGXFSZ, signal.SIG_IGN); resource.setrlimit(resource.RLIMIT_FSIZE, (60000, 60000)); "
        "own = OwnWork(Path(sys.argv[1]))\n"
        "try:\n    own.add([Entry('correction', 'V', {'x': 'y' * 200000}, 'me', 'why', 'big')])\n"
        "except OwnWorkError as error:\n    print(error)"
    )
    done = subprocess.run([sys.executable, "-c", code, str(tmp_path)], capture_output=True, text=True)
    assert f"{FILE_NAME}: the disk gave an error or is full" in done.stdout and not done.stderr, done
    assert [one.entry.entry_id for one in own.entries()] == ["a"]


def test_a_draft_is_kept_until_it_is_no_longer_needed(tmp_path):
    own = OwnWork(tmp_path)
    assert own.draft("bench T1") is None
    own.save_draft("bench T1", {"make_1": "0.8"})
    assert OwnWork(tmp_path).draft("bench T1") == {"make_1": "0.8"}
    own.save_draft("bench T1", None)
    assert own.draft("bench T1") is None and own.entries() == []
