"""The DuckDB store: generations, opening for reading, atomic switch-over.

DuckDB lets one process write a file or many read it, never both, and a path that is open in a process keeps serving
the file it was opened on. So nothing is ever written into a file that readers may hold: a load builds a new
generation beside the one in force and switches a small pointer to it in one atomic step. Readers keep the generation
they opened and move on when they next ask. A load that dies leaves a temporary file behind and the pointer untouched.
"""

from __future__ import annotations

import errno
import os
import re
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import duckdb

from pipelines.contract.ddl import STORE_VERSION, create_delivered
from pipelines.errors import GoodpullError
from pipelines.writer_lock import WriterLock

POINTER_NAME = "current"
GENERATIONS_KEPT = 2
MEMORY_LIMIT = "3GB"
_NAME = re.compile(r"store-(\d{6,})\.duckdb")


class StoreError(GoodpullError):
    """The store cannot be opened, read or written."""


@dataclass(frozen=True)
class Generation:
    """A generation being written: its read-write connection, its temporary path and the name it will get."""

    con: duckdb.DuckDBPyConnection
    path: Path
    name: str


class Store:
    """The store in one home folder. Making the object touches nothing."""

    def __init__(self, home: Path) -> None:
        self.home = Path(home)

    def current(self) -> Path | None:
        """Path of the generation in force, or None when nothing has been loaded yet.

        Raises StoreError when the pointer is unreadable or names a file that is not there.
        """
        pointer = self.home / POINTER_NAME
        try:
            name = pointer.read_text("utf-8").strip()
        except FileNotFoundError:
            return None
        except (OSError, UnicodeDecodeError) as error:
            raise StoreError(f"{pointer}: cannot be read ({error}). {self._generations_hint()}") from error
        path = self.home / name
        if not _NAME.fullmatch(name) or not path.is_file():
            raise StoreError(
                f"{pointer}: names {name[:80]!r}; must name a store-NNNNNN.duckdb file in {self.home}. "
                + self._generations_hint()
            )
        return path

    def open_reader(self) -> duckdb.DuckDBPyConnection:
        """A read-only connection to the generation in force, unable to touch any other file.

        Raises StoreError when there is none, or when it was written by a newer program.
        """
        path = self.current()
        if path is None:
            raise StoreError(f"No records in {self.home} yet. Load some with: goodpull load FOLDER")
        con = _connect(path, is_read_only=True)
        _refuse_newer(con, path)
        con.execute("SET enable_external_access = false")
        return con

    @contextmanager
    def new_generation(self, start_from_current: bool = True) -> Iterator[Generation]:
        """Write the next generation; it comes into force when the block ends without an error.

        start_from_current: begin with a copy of the generation in force, else empty.
        Raises StoreError when another process is writing, the disk is full, or the store is newer.
        On any error the temporary file is removed and what was in force stays in force.
        """
        self.home.mkdir(parents=True, exist_ok=True)
        with WriterLock(self.home), _in_words(self.home):
            self._remove_leftovers()
            name = self._next_name()
            path = self.home / f"{name}.tmp"
            try:
                base = self.current() if start_from_current else None
                if base is not None:
                    shutil.copyfile(base, path)
                con = _connect(path, is_read_only=False)
                try:
                    con.execute("SET temp_directory = ?", [str(self.home / f"{name}.spill")])
                    _refuse_newer(con, path)
                    create_delivered(con)
                    yield Generation(con, path, name)
                    con.execute("CHECKPOINT")
                finally:
                    con.close()
                self._publish(path, name)
            finally:
                self._remove_leftovers()
        self.free_old()

    def free_old(self) -> None:
        """Remove generations that are no longer in force; the newest few stay for readers about to open them."""
        current = self.current()
        for path in sorted(self._generations(), key=_number)[:-GENERATIONS_KEPT]:
            if path != current:
                _remove(path)
                shutil.rmtree(path.with_suffix(".figures"), ignore_errors=True)

    def _publish(self, path: Path, name: str) -> None:
        _sync_file(path)
        os.replace(path, self.home / name)
        pointer = self.home / f"{POINTER_NAME}.tmp"
        with pointer.open("w", encoding="utf-8") as file:
            file.write(name + "\n")
            file.flush()
            os.fsync(file.fileno())
        _sync_folder(self.home)
        os.replace(pointer, self.home / POINTER_NAME)
        _sync_folder(self.home)

    def _generations(self) -> list[Path]:
        return [path for path in self.home.glob("store-*.duckdb") if _NAME.fullmatch(path.name)]

    def _next_name(self) -> str:
        number = max((_number(path) for path in self._generations()), default=0) + 1
        return f"store-{number:06d}.duckdb"

    def _remove_leftovers(self) -> None:
        """What a load that died left behind. Only called under the writer lock."""
        for path in (*self.home.glob("store-*.duckdb.tmp*"), *self.home.glob("store-*.duckdb.wal")):
            _remove(path)
        for folder in self.home.glob("store-*.duckdb.spill"):
            shutil.rmtree(folder, ignore_errors=True)

    def _generations_hint(self) -> str:
        names = ", ".join(sorted(path.name for path in self._generations())) or "none"
        return f"Generations there: {names}. Write the name of one into the pointer, or load the records again."


def _connect(path: Path, is_read_only: bool) -> duckdb.DuckDBPyConnection:
    settings = {
        "memory_limit": MEMORY_LIMIT,
        "autoinstall_known_extensions": "false",
        "autoload_known_extensions": "false",
        "preserve_insertion_order": "false",
    }
    try:
        return duckdb.connect(str(path), read_only=is_read_only, config=settings)
    except (duckdb.IOException, duckdb.SerializationException, duckdb.FatalException) as error:
        if _errno_in(error) == errno.ENOSPC:
            raise
        raise StoreError(
            f"{path}: cannot be opened ({_first_line(error)}). It may be damaged or written by a newer version; "
            "update goodpull, or load the records into a new home."
        ) from error


def _refuse_newer(con: duckdb.DuckDBPyConnection, path: Path) -> None:
    known = con.execute("SELECT count(*) FROM duckdb_tables() WHERE table_name = 'store_format'").fetchone()
    if not known or not known[0]:
        return
    row = con.execute("SELECT max(version) FROM store_format").fetchone()
    if row and row[0] is not None and row[0] > STORE_VERSION:
        con.close()
        raise StoreError(
            f"{path}: was written in store format {row[0]}; this program reads up to {STORE_VERSION}. "
            "Update goodpull; nothing was changed."
        )


@contextmanager
def _in_words(home: Path) -> Iterator[None]:
    """A full disk and the like, told in words."""
    try:
        yield
    except GoodpullError:
        raise
    except (OSError, duckdb.Error, MemoryError) as error:
        number = _errno_in(error)
        if number in (errno.ENOSPC, errno.EFBIG, errno.EDQUOT):
            raise StoreError(
                f"{home}: the disk is full. Nothing was changed; what was in force before is still in force. "
                "Free some space (about twice the size of the store) and load again."
            ) from error
        if isinstance(error, PermissionError):
            raise StoreError(
                f"{error.filename or home}: may not be written or read. Check who owns the folder."
            ) from error
        raise


def _errno_in(error: BaseException) -> int | None:
    """The operating system's error number; DuckDB tells it only in its text."""
    if isinstance(error, OSError):
        return error.errno
    text = str(error)
    if "No space left" in text or "failed to offload data" in text and "max_temp_directory_size" in text:
        return errno.ENOSPC
    if "File too large" in text:
        return errno.EFBIG
    if "quota exceeded" in text.lower():
        return errno.EDQUOT
    return None


def _first_line(error: BaseException) -> str:
    return str(error).strip().splitlines()[0][:200]


def _number(path: Path) -> int:
    match = _NAME.match(path.name)
    return int(match.group(1)) if match else 0


def _remove(path: Path) -> None:
    """Remove a file if the system lets us; a reader may still hold it on Windows, then the next load removes it."""
    try:
        path.unlink(missing_ok=True)
    except PermissionError:
        return


def _sync_file(path: Path) -> None:
    with path.open("rb+") as file:
        os.fsync(file.fileno())


def _sync_folder(folder: Path) -> None:
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
