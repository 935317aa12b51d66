"""The DuckDB store: generations, opening for reading, atomic switch-over.

DuckDB lets one process write a file or many read it, never both, and a path that is open in a process keeps serving
the file it was opened on. So nothing is ever written into a file that readers may hold: a load builds a new
generation beside the one in force and switches a small pointer to it in one atomic step. Readers keep the generation
they opened and move on when they next ask. A load that dies leaves a temporary file behind and the pointer untouched.
A file bears the name of a generation only once it is whole and on the disk.
"""

from __future__ import annotations

import re
import shutil
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import duckdb

from pipelines.contract.ddl import create_delivered
from pipelines.durable_files import EarlySync, copy_file, remove, replace
from pipelines.errors import StoreError
from pipelines.store_connection import connect, dead_spill_folders, disk_full, failures_in_words
from pipelines.writer_lock import WAIT_SECONDS, WriterLock

__all__ = ["Generation", "Store", "StoreError"]

POINTER_NAME = "current"
OPENING_TRIES = 5
# A generation of every so many is tidied: what earlier ones left half full is joined.
TIDY_EVERY = 20
# What a load may leave behind when it is killed; writers put their scratch folders in the home under this name.
LEFTOVERS = ("store-*.duckdb.tmp*", "store-*.duckdb.wal", f"{POINTER_NAME}.tmp", ".landing-*")
_NAME = re.compile(r"store-(\d{6,})\.duckdb")


@dataclass(frozen=True)
class Generation:
    """A generation being written: its read-write connection, its temporary path and the name it will get."""

    con: duckdb.DuckDBPyConnection
    path: Path
    name: str


class Store:
    """The store in one home folder. Making the object touches nothing.

    wait_seconds: how long a writer waits for another before it gives up.
    """

    def __init__(self, home: Path, wait_seconds: float = WAIT_SECONDS) -> None:
        self.home = Path(home)
        self.wait_seconds = wait_seconds

    def current(self) -> Path | None:
        """Path of the generation in force, or None when nothing has been loaded yet.

        Without a pointer it is the newest generation there. Raises StoreError when the pointer is damaged or names
        a file that is not there.
        """
        name: str | None = ""
        for _ in range(OPENING_TRIES):
            name = self._pointed_at()
            if name is None:
                return max(self._generations(), key=_number, default=None)
            path = self.home / name
            if not _NAME.fullmatch(name):
                break
            if path.is_file():
                return path
            time.sleep(0.01)  # a load may have switched the pointer in between
        raise StoreError(
            f"{self.home / POINTER_NAME}: names {str(name)[:80]!r}; must name a store-NNNNNN.duckdb file in "
            f"{self.home}. {self._pointer_hint()}"
        )

    def open_reader(self) -> duckdb.DuckDBPyConnection:
        """A read-only connection to the generation in force, unable to touch any other file.

        Use one cursor() of it per thread. Raises StoreError when there is none, or when a newer program wrote it.
        """
        with failures_in_words(self.home):
            for _ in range(OPENING_TRIES):
                path = self.current()
                if path is None:
                    raise StoreError(f"No records in {self.home} yet. Load some with: goodpull load FOLDER")
                try:
                    return connect(path, self.home, is_read_only=True)
                except StoreError:
                    if path.exists():
                        raise
        raise StoreError(f"{self.home}: the store was replaced while it was being opened. Try again.")

    @contextmanager
    def new_generation(self, start_from_current: bool = True) -> Iterator[Generation]:
        """Write the next generation; it comes into force when the block ends without an error.

        start_from_current: begin with a copy of the generation in force, else empty.
        Raises StoreError when another process keeps writing, the disk is full, or the store is newer.
        On any error the temporary file is removed and what was in force stays in force.
        """
        with failures_in_words(self.home):
            self.home.mkdir(parents=True, exist_ok=True)
            with WriterLock(self.home, self.wait_seconds):
                before = self.current()
                self._remove_leftovers()
                name = self._next_name()
                # A name of its own: DuckDB would give back a file of the same path still open in this process.
                path = self.home / f"{name}.tmp-{time.time_ns():x}"
                try:
                    yield from self._written(path, name, before if start_from_current else None)
                    self._publish(path, name)
                finally:
                    self._remove_leftovers()
                self._keep_only({self.home / name, before})

    def free_old(self) -> None:
        """Remove generations no longer in force. The last one before stays, for readers about to open it."""
        with failures_in_words(self.home), WriterLock(self.home, self.wait_seconds):
            current = self.current()
            if current is not None:
                older = [path for path in self._generations() if _number(path) < _number(current)]
                self._keep_only({current, max(older, key=_number, default=None)})
            self._remove_leftovers()

    def _written(self, path: Path, name: str, base: Path | None) -> Iterator[Generation]:
        if base is not None:
            connect(base, self.home, is_read_only=True).close()  # refuses a newer store before copying it
            needed, free = base.stat().st_size, shutil.disk_usage(self.home).free
            if free < needed:
                raise StoreError(disk_full(self.home, needed, free))
            copy_file(base, path)
        # The disk takes the copy while the load works on; at the end there is little left to wait for.
        syncing = EarlySync(path) if base is not None else None
        try:
            con = connect(path, self.home, is_read_only=False)
            try:
                if base is not None and _number(Path(name)) % TIDY_EVERY:
                    # Joining row groups left half full costs a week's load a tenth of its time, and can wait.
                    con.execute("SET max_vacuum_tasks = 0")
                create_delivered(con)
                yield Generation(con, path, name)
                con.execute("CHECKPOINT")
            finally:
                con.close()
        finally:
            if syncing is not None:
                syncing.close()

    def _publish(self, path: Path, name: str) -> None:
        replace(path, self.home / name)
        pointer = self.home / f"{POINTER_NAME}.tmp"
        pointer.write_text(name + "\n", encoding="utf-8")
        replace(pointer, self.home / POINTER_NAME)

    def _pointed_at(self) -> str | None:
        pointer = self.home / POINTER_NAME
        try:
            return pointer.read_text("utf-8").strip()
        except FileNotFoundError:
            return None
        except (OSError, UnicodeDecodeError) as error:
            raise StoreError(f"{pointer}: cannot be read ({error}). {self._pointer_hint()}") from error

    def _generations(self) -> list[Path]:
        return [path for path in self.home.glob("store-*.duckdb") if _NAME.fullmatch(path.name)]

    def _next_name(self) -> str:
        number = max((_number(path) for path in self._generations()), default=0) + 1
        return f"store-{number:06d}.duckdb"

    def _keep_only(self, kept: set[Path | None]) -> None:
        for path in self._generations():
            if path not in kept:
                remove(path)
                remove(path.with_suffix(".figures"))

    def _remove_leftovers(self) -> None:
        """What a load that died left behind. Only called under the writer lock."""
        for pattern in LEFTOVERS:
            for path in self.home.glob(pattern):
                remove(path)
        for folder in dead_spill_folders(self.home):
            remove(folder)

    def _pointer_hint(self) -> str:
        names = sorted((path.name for path in self._generations()), key=lambda name: _number(Path(name)))
        if not names:
            return "There is no generation to point to; load the records again into a new home (--home)."
        return f"There: {', '.join(names)}. Delete the file {POINTER_NAME} to use the newest, or write a name into it."


def _number(path: Path) -> int:
    match = _NAME.match(path.name)
    return int(match.group(1)) if match else 0
