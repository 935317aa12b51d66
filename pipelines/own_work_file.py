"""The file the company's own work stands in: an SQLite database, opened for one thing at a time, failures in words."""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path

from pipelines.errors import GoodpullError

FILE_NAME = "own-work.sqlite"
WAIT_SECONDS = 15.0
# Raised with every kind added: a program that does not know a kind would leave it out of the figures.
FORMAT_VERSION = 3
# "GPow": tells the file from any other SQLite file.
APPLICATION_ID = 0x47506F77
KINDS = (
    "correction", "bench_test", "bench_draw", "mended_row", "dismissed_row", "identity", "remark", "coaching_session", "undo",
)  # fmt: skip

_ENTRY = f"""(
    entry_no INTEGER PRIMARY KEY AUTOINCREMENT,
    entry_id TEXT NOT NULL UNIQUE CHECK (entry_id <> ''),
    kind TEXT NOT NULL CHECK (kind IN ({", ".join(f"'{kind}'" for kind in KINDS)})),
    about TEXT NOT NULL,
    content TEXT NOT NULL CHECK (json_valid(content)),
    reason TEXT NOT NULL,
    entered_by TEXT NOT NULL CHECK (trim(entered_by) <> ''),
    entered_at TEXT NOT NULL,
    undoes TEXT UNIQUE REFERENCES entry (entry_id),
    CHECK ((kind = 'undo') = (undoes IS NOT NULL))
);
"""
_RULES = """
CREATE INDEX entry_about ON entry (kind, about);
CREATE TRIGGER entry_stays BEFORE UPDATE ON entry BEGIN SELECT raise(ABORT, 'entries are never changed'); END;
CREATE TRIGGER entry_is_kept BEFORE DELETE ON entry BEGIN SELECT raise(ABORT, 'entries are never removed'); END;
"""
_VERSION = f"PRAGMA user_version = {FORMAT_VERSION};\n"
_TABLES = f"""
CREATE TABLE entry {_ENTRY}{_RULES}
CREATE TABLE draft (draft_key TEXT PRIMARY KEY, content TEXT NOT NULL, saved_at TEXT NOT NULL);
PRAGMA application_id = {APPLICATION_ID};
{_VERSION}"""
# An older file differs in the kinds it allows; its entries are kept with their numbers.
_WIDENED = f"""
CREATE TABLE entry_widened {_ENTRY}
INSERT INTO entry_widened SELECT * FROM entry ORDER BY entry_no;
DROP TABLE entry;
ALTER TABLE entry_widened RENAME TO entry;
{_RULES}{_VERSION}"""


class OwnWorkError(GoodpullError):
    """The company's own work cannot be read or written. What was entered before is untouched."""


@dataclass(frozen=True)
class OwnWorkFile:
    """The database at a path. wait_seconds: how long to wait for somebody else who is writing."""

    path: Path
    wait_seconds: float = WAIT_SECONDS

    @contextmanager
    def reading(self) -> Iterator[sqlite3.Connection | None]:
        """A connection for reading; None while nothing was ever entered."""
        with self._in_words():
            if not self.path.exists():
                yield None
                return
            with closing(self._connect()) as con:
                yield con

    @contextmanager
    def writing(self) -> Iterator[sqlite3.Connection]:
        with self._in_words():
            self.path.parent.mkdir(parents=True, exist_ok=True)
            with closing(self._connect()) as con:
                # Only here: what is only read is left as it was.
                if con.execute("PRAGMA user_version").fetchone()[0] < FORMAT_VERSION:
                    self._widen(con)
                con.execute("BEGIN IMMEDIATE")
                try:
                    yield con
                    con.execute("COMMIT")
                except BaseException:
                    if con.in_transaction:
                        con.execute("ROLLBACK")
                    raise

    def _connect(self) -> sqlite3.Connection:
        con = sqlite3.connect(self.path, timeout=self.wait_seconds, isolation_level=None)
        try:
            con.execute(f"PRAGMA busy_timeout = {int(self.wait_seconds * 1000)}")
            version = con.execute("PRAGMA user_version").fetchone()[0]
            if version == 0:
                self._create(con)
            self._refuse_other(con)
            # FULL: the journal is on the disk before a commit returns.
            con.execute("PRAGMA synchronous = FULL")
            con.execute("PRAGMA foreign_keys = ON")
        except BaseException:
            con.close()
            raise
        return con

    def _create(self, con: sqlite3.Connection) -> None:
        """Make the tables; another process may be doing so at the same time."""
        self._use_journal(con)
        con.execute("BEGIN IMMEDIATE")
        if con.execute("PRAGMA user_version").fetchone()[0] == 0:
            if con.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0]:
                con.execute("ROLLBACK")
                raise OwnWorkError(f"{self.path}: is another program's database; move it away. Nothing was changed.")
            for statement in _statements(_TABLES):
                con.execute(statement)
        con.execute("COMMIT")

    def _widen(self, con: sqlite3.Connection) -> None:
        """Let a file of an older format hold the kinds of this one, all or nothing; another process may be doing so."""
        con.execute("PRAGMA foreign_keys = OFF")
        con.execute("BEGIN IMMEDIATE")
        try:
            if con.execute("PRAGMA user_version").fetchone()[0] < FORMAT_VERSION:
                for statement in _statements(_WIDENED):
                    con.execute(statement)
            con.execute("COMMIT")
        except BaseException:
            if con.in_transaction:
                con.execute("ROLLBACK")
            raise
        con.execute("PRAGMA foreign_keys = ON")

    def _use_journal(self, con: sqlite3.Connection) -> None:
        """Switch to the write-ahead journal. SQLite does not wait by itself where two try to switch at once."""
        ends_at = time.monotonic() + self.wait_seconds
        while True:
            try:
                con.execute("PRAGMA journal_mode = WAL")
                return
            except sqlite3.OperationalError as error:
                if "locked" not in str(error) or time.monotonic() > ends_at:
                    raise
                time.sleep(0.02)

    def _refuse_other(self, con: sqlite3.Connection) -> None:
        if con.execute("PRAGMA application_id").fetchone()[0] != APPLICATION_ID:
            raise OwnWorkError(f"{self.path}: is another program's database; move it away. Nothing was changed.")
        version = con.execute("PRAGMA user_version").fetchone()[0]
        if version > FORMAT_VERSION:
            raise OwnWorkError(
                f"{self.path}: was written in format {version}; this program reads up to {FORMAT_VERSION}. "
                "Update goodpull; nothing was changed."
            )

    @contextmanager
    def _in_words(self) -> Iterator[None]:
        try:
            yield
        except sqlite3.Error as error:
            raise OwnWorkError(f"{self.path}: {_why(error)} What was entered before is untouched.") from error
        except OSError as error:
            raise OwnWorkError(f"{self.path}: {error.strerror or error}. Choose another folder with --home.") from error


def _statements(script: str) -> Iterator[str]:
    waiting = ""
    for line in script.splitlines(keepends=True):
        waiting += line
        if sqlite3.complete_statement(waiting):
            yield waiting
            waiting = ""


def _why(error: sqlite3.Error) -> str:
    said = str(error)
    if "locked" in said or "busy" in said:
        return "somebody else is writing to it and did not finish in time. Try again."
    if "full" in said or "disk I/O" in said:
        return "the disk gave an error or is full. Free some space and enter it again; it was not kept."
    if "readonly" in said or "unable to open" in said or "permission" in said:
        return "may not be written. See who owns the file and its folder."
    if "not a database" in said or "malformed" in said or "corrupt" in said:
        return (
            "is damaged. Move it away with its -wal and -shm files, and bring back the last copy with: "
            "goodpull own-work restore COPY"
        )
    return f"cannot be used ({said})."
