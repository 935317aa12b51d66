"""The company's own work: what people put right, tested, decided or remarked. Kept apart from the store.

The store can be rebuilt from the files it was loaded from; what people typed in cannot. It stands in an SQLite file of
its own in the home, one row an entry, written before the person is told so (journal synced at every commit). Nothing is
ever changed or removed: to undo an entry is an entry of its own, and triggers refuse anything else. Several people and
programs may write at once; each waits a little for the other.

An entry bears an id that is given when its form is opened: sent twice, it is kept once.
"""

from __future__ import annotations

import json
import sqlite3
import uuid
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from pipelines.own_work_file import FILE_NAME, FORMAT_VERSION, KINDS, WAIT_SECONDS, OwnWorkError, OwnWorkFile

__all__ = ["FILE_NAME", "FORMAT_VERSION", "KINDS", "Entry", "Kept", "OwnWork", "OwnWorkError", "new_id", "now_text"]

LONGEST_TEXT = 2_000

SHORTEST_ID = 4
_COLUMNS = "entry_id, kind, about, content, reason, entered_by, entered_at, undoes"


@dataclass(frozen=True)
class Entry:
    """One thing somebody entered.

    about: what it concerns (a visit, a tag, the key of a row held back). content: what was entered, as JSON knows it.
    entered_at: ISO 8601, UTC. undoes: for an undo, the id of the entry it takes back.
    """

    kind: str
    about: str
    content: dict[str, Any]
    entered_by: str
    reason: str = ""
    entry_id: str = field(default_factory=lambda: new_id())
    entered_at: str = field(default_factory=lambda: now_text())
    undoes: str | None = None


@dataclass(frozen=True)
class Kept:
    """An entry as it stands in the file. entry_no: its place in the order of writing. undone_by: the undo, if any, and
    undone_no its place."""

    entry: Entry
    entry_no: int
    undone_by: Entry | None
    undone_no: int | None = None

    @property
    def is_in_force(self) -> bool:
        return self.undone_by is None


def new_id() -> str:
    """An id for an entry about to be made; give it when the form is opened."""
    return uuid.uuid4().hex


def now_text() -> str:
    """The time now, UTC, to the microsecond: later entries sort later."""
    return datetime.now(UTC).isoformat(timespec="microseconds").replace("+00:00", "Z")


class OwnWork:
    """The file in one home. Making the object touches nothing; it holds no connection and may be shared by threads.

    wait_seconds: how long to wait for somebody else who is writing.
    """

    def __init__(self, home: Path, wait_seconds: float = WAIT_SECONDS) -> None:
        self.home = Path(home)
        self.file = OwnWorkFile(self.home / FILE_NAME, wait_seconds)

    def add(self, entries: Sequence[Entry]) -> int:
        """Write the entries durably, all or none; how many were new.

        An entry whose id is there already with the same content is passed over: it was sent twice. Raises OwnWorkError
        when it differs, when what it undoes is not there, is an undo, or was undone by another entry, and when the file
        cannot be written.
        """
        for entry in entries:
            _refuse_unfit(entry)
        with self.file.writing() as con:
            return sum(_add(con, entry) for entry in entries)

    def undo(self, entry_id: str, reason: str, entered_by: str) -> bool:
        """Take an entry back by an entry of its own; False when it was taken back already, by anybody.

        entry_id: the id, or its first letters, at least SHORTEST_ID of them, where no other entry begins so.
        """
        with self.file.reading() as con:
            entry_id = self._whole_id(con, entry_id)
            assert con is not None
            row = con.execute("SELECT kind, about, entered_by FROM entry WHERE entry_id = ?", [entry_id]).fetchone()
        if row[0] == "remark" and row[2].casefold() != entered_by.strip().casefold():
            raise OwnWorkError(f"A remark is taken back by whoever made it ({row[2]}). Nothing was changed.")
        # One id for the undo of an entry: two people at once make one undo.
        undo = Entry("undo", row[1], {"kind": row[0]}, entered_by, reason, f"undo-{entry_id}", undoes=entry_id)
        return self.add([undo]) == 1

    def _whole_id(self, con: sqlite3.Connection | None, given: str) -> str:
        """The id of the one entry that is called so. Raises OwnWorkError where none is, or more than one."""
        like = "entry_id = ?1 OR (kind <> 'undo' AND length(?1) >= ?2 AND substr(entry_id, 1, length(?1)) = ?1)"
        found = [
            one
            for (one,) in (
                con.execute(f"SELECT entry_id FROM entry WHERE {like} ORDER BY rowid", [given, SHORTEST_ID])
                if con
                else ()
            )
        ]
        if given in found:
            return given
        if len(found) > 1:
            named = ", ".join(found[:5]) + (" and others" if len(found) > 5 else "")
            raise OwnWorkError(f"{given!r} begins the ids of {len(found)} entries: {named}. Write more of it.")
        if not found:
            raise OwnWorkError(
                f"{self.file.path}: holds no entry {given!r}. Write its id, or at least its first {SHORTEST_ID} letters; "
                "see the ids with: goodpull own-work list"
            )
        return str(found[0])

    def entries(self, *kinds: str, about: str | None = None) -> list[Kept]:
        """Entries of these kinds (all when none is named), in the order of writing, with what undid them."""
        wanted = kinds or KINDS
        marks = ", ".join("?" for _ in wanted)
        condition, bound = f"e.kind IN ({marks})", list(wanted)
        if about is not None:
            condition, bound = f"{condition} AND e.about = ?", [*bound, about]
        names = _COLUMNS.split(", ")
        both = ", ".join(f"{alias}.{name}" for alias in "eu" for name in names)
        with self.file.reading() as con:
            if con is None:
                return []
            rows = con.execute(
                f"SELECT e.entry_no, u.entry_no, {both} FROM entry AS e LEFT JOIN entry AS u ON u.undoes = e.entry_id "
                f"WHERE {condition} ORDER BY e.entry_no",
                bound,
            ).fetchall()
        width = len(names)
        return [
            Kept(_entry(row[2 : 2 + width]), row[0], _entry(row[2 + width :]) if row[1] is not None else None, row[1])
            for row in rows
        ]

    def last_no(self, *kinds: str) -> int:
        """Number of the newest entry, or of the newest of these kinds or undo of one; 0 when there is none."""
        marks = ", ".join("?" for _ in kinds)
        condition = f"kind IN ({marks}) OR (kind = 'undo' AND content ->> 'kind' IN ({marks}))" if kinds else "true"
        with self.file.reading() as con:
            if con is None:
                return 0
            row = con.execute(f"SELECT coalesce(max(entry_no), 0) FROM entry WHERE {condition}", [*kinds, *kinds])
            return int(row.fetchone()[0])

    def save_draft(self, key: str, content: dict[str, Any] | None) -> None:
        """Keep what is half typed, so that a lost connection loses nothing; None = no longer needed."""
        with self.file.writing() as con:
            if content is None:
                con.execute("DELETE FROM draft WHERE draft_key = ?", [key])
            else:
                con.execute("INSERT OR REPLACE INTO draft VALUES (?, ?, ?)", [key, json.dumps(content), now_text()])

    def draft(self, key: str) -> dict[str, Any] | None:
        """What was kept under this key."""
        with self.file.reading() as con:
            row = con.execute("SELECT content FROM draft WHERE draft_key = ?", [key]).fetchone() if con else None
        return json.loads(row[0]) if row else None


def _add(con: sqlite3.Connection, entry: Entry) -> int:
    there = con.execute(f"SELECT {_COLUMNS} FROM entry WHERE entry_id = ?", [entry.entry_id]).fetchone()
    if there is not None:
        known = _entry(there)
        if (known.kind, known.about, known.content, known.undoes) != (
            entry.kind, entry.about, entry.content, entry.undoes,
        ):  # fmt: skip
            raise OwnWorkError(
                f"An entry with the id {entry.entry_id!r} is there already, by {known.entered_by}, and says something "
                "else. Nothing was entered; open the form anew and enter it again."
            )
        return 0
    if entry.undoes is not None:
        row = con.execute("SELECT kind FROM entry WHERE entry_id = ?", [entry.undoes]).fetchone()
        if row is None or row[0] == "undo":
            raise OwnWorkError(f"{entry.undoes!r}: there is no such entry to take back. Nothing was entered.")
        if con.execute("SELECT 1 FROM entry WHERE undoes = ?", [entry.undoes]).fetchone():
            raise OwnWorkError(f"{entry.undoes!r}: was taken back already. Nothing was entered.")
    con.execute(
        f"INSERT INTO entry ({_COLUMNS}) VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
        [entry.entry_id, entry.kind, entry.about, json.dumps(entry.content, ensure_ascii=False, sort_keys=True),
         entry.reason, entry.entered_by.strip(), entry.entered_at, entry.undoes],
    )  # fmt: skip
    return 1


def _refuse_unfit(entry: Entry) -> None:
    if entry.kind not in KINDS:
        raise OwnWorkError(f"kind: got {entry.kind!r}; must be one of {', '.join(KINDS)}.")
    if not entry.entered_by.strip():
        raise OwnWorkError("Who enters this is blank; fill in a name. Nothing was entered.")
    if entry.kind not in ("bench_test", "bench_draw", "remark", "coaching_session") and not entry.reason.strip():
        raise OwnWorkError("The reason is blank; say in a few words why. Nothing was entered.")
    for name, said in (("reason", entry.reason), ("name", entry.entered_by)):
        if len(said) > LONGEST_TEXT:
            raise OwnWorkError(f"The {name} has {len(said):,} characters; at most {LONGEST_TEXT:,} are allowed.")


def _entry(row: Sequence[Any]) -> Entry:
    entry_id, kind, about, content, reason, entered_by, entered_at, undoes = row
    return Entry(kind, about, json.loads(content), entered_by, reason, entry_id, entered_at, undoes)
