"""Connections to a store file: their settings, in one place, and their failures, in words."""

from __future__ import annotations

import errno
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import duckdb

from pipelines.contract.ddl import STORE_VERSION
from pipelines.errors import GoodpullError, StoreError

MEMORY_LIMIT = "3GB"
SPILL_PREFIX = ".spill-"
_DISK_FULL = (errno.ENOSPC, errno.EFBIG, getattr(errno, "EDQUOT", errno.ENOSPC))


def connect(path: Path, home: Path, is_read_only: bool) -> duckdb.DuckDBPyConnection:
    """A connection to a store file with the settings every connection has. Threads: as many as there are cores.

    A read-only connection can touch no other file. What does not fit in memory spills into the home folder.
    Raises StoreError when the file is damaged or in a newer format.
    """
    settings: dict[str, str | bool | int | float | list[str]] = {
        "memory_limit": MEMORY_LIMIT,
        "temp_directory": str(spill_folder(home)),
        "autoinstall_known_extensions": "false",
        "autoload_known_extensions": "false",
        # Loading is about twice as fast, and the file half as large, when rows may be stored in any order.
        "preserve_insertion_order": "true" if is_read_only else "false",
    }
    try:
        con = duckdb.connect(str(path), read_only=is_read_only, config=settings)
    except duckdb.Error as error:
        if _errno_in(error) in _DISK_FULL:
            raise
        raise StoreError(
            f"{path}: cannot be opened ({_first_line(error)}). It is damaged, or was written by a newer version. "
            "Update goodpull, or load the records into a new home (--home)."
        ) from error
    try:
        con.execute("SET enable_progress_bar = false")
        if not is_read_only:
            # A generation comes into force once, whole: what it holds is brought to its file once, at the end.
            con.execute("SET checkpoint_threshold = '1TB'")
            # And is synced once, when it is published; until then nothing rests on it.
            con.execute("SET fsync_mode = 'NONE'")
        _refuse_newer(con, path)
        if is_read_only:
            con.execute("SET enable_external_access = false")
    except BaseException:
        con.close()
        raise
    return con


def spill_folder(home: Path) -> Path:
    """Where this process's connections spill. All of a process share it: DuckDB asks for equal settings."""
    return home / f"{SPILL_PREFIX}{os.getpid()}"


def dead_spill_folders(home: Path) -> list[Path]:
    """Spill folders of processes that no longer run."""
    return [folder for folder in home.glob(f"{SPILL_PREFIX}*") if _is_dead(folder.name.removeprefix(SPILL_PREFIX))]


@contextmanager
def failures_in_words(home: Path) -> Iterator[None]:
    """A full disk, too little memory, a folder that may not be written: StoreError instead of the system's words."""
    try:
        yield
    except GoodpullError:
        raise
    except (OSError, duckdb.Error, MemoryError) as error:
        number = _errno_in(error)
        if number in _DISK_FULL:
            raise StoreError(disk_full(home)) from error
        if number in (errno.EACCES, errno.EPERM, errno.EROFS):
            place = getattr(error, "filename", None) or home
            raise StoreError(
                f"{place}: may not be read or written. Nothing was changed. "
                "See who owns the folder, or choose another with --home."
            ) from error
        if number in (errno.ENOENT, errno.ENOTDIR, errno.EEXIST, errno.EISDIR, errno.EINVAL, errno.ENAMETOOLONG):
            raise StoreError(
                f"{home}: cannot be used as a folder ({_first_line(error)}). Choose another with --home."
            ) from error
        if isinstance(error, (MemoryError, duckdb.OutOfMemoryException)):
            raise StoreError(
                f"{home}: more memory was needed than there is (limit {MEMORY_LIMIT}). Nothing was changed. "
                "Close other programs, or load fewer files at a time."
            ) from error
        raise


def is_disk_full(error: BaseException) -> bool:
    """Whether an error of the system or of the database says that the disk, or the user's share of it, is full."""
    return _errno_in(error) in _DISK_FULL


def disk_full(home: Path, needed: int | None = None, free: int | None = None) -> str:
    """The sentence for a full disk. needed, free: bytes, where known."""
    sizes = "" if needed is None or free is None else f" ({needed / 1e9:.2f} GB needed, {free / 1e9:.2f} GB free)"
    return (
        f"{home}: the disk is full{sizes}. Nothing was changed; what was in force before is still in force. "
        "Free some space (about twice the size of the store) and load again."
    )


def _refuse_newer(con: duckdb.DuckDBPyConnection, path: Path) -> None:
    known = con.execute("SELECT count(*) FROM duckdb_tables() WHERE table_name = 'store_format'").fetchone()
    if not known or not known[0]:
        return
    row = con.execute("SELECT max(version) FROM store_format").fetchone()
    if row and row[0] is not None and row[0] > STORE_VERSION:
        raise StoreError(
            f"{path}: was written in store format {row[0]}; this program reads up to {STORE_VERSION}. "
            "Update goodpull; nothing was changed."
        )


def _errno_in(error: BaseException) -> int | None:
    """The operating system's error number; DuckDB tells it only in its text."""
    if isinstance(error, OSError):
        return error.errno
    text = str(error)
    if "No space left" in text or "max_temp_directory_size" in text:
        return errno.ENOSPC
    for words, number in (("File too large", errno.EFBIG), ("quota exceeded", errno.ENOSPC)):
        if words.lower() in text.lower():
            return number
    return None


def _first_line(error: BaseException) -> str:
    lines = str(error).strip().splitlines()
    return lines[0][:200] if lines else type(error).__name__


def _is_dead(process: str) -> bool:
    if os.name == "nt":
        return True  # files in use cannot be removed there, so trying does no harm
    try:
        os.kill(int(process), 0)
    except ProcessLookupError:
        return True
    except (OSError, OverflowError, ValueError):
        return False
    return False
