"""Files that must survive a crash: fast copies, flushing to disk, replacing in one step, removing if we may."""

from __future__ import annotations

import os
import shutil
import threading
import time
from contextlib import suppress
from pathlib import Path

# Virus scanners and readers hold files for moments on Windows; a replacement is tried again for this long.
REPLACE_SECONDS = 5.0


def copy_file(source: Path, target: Path) -> None:
    """Copy the content of a file, inside the kernel where that can be done: twice as fast, or shared blocks.

    Raises OSError, also when the disk is full. Falls back to a plain copy where the kernel cannot.
    """
    if not hasattr(os, "copy_file_range"):
        shutil.copyfile(source, target)
        return
    with source.open("rb") as reading, target.open("wb") as writing:
        left = os.fstat(reading.fileno()).st_size
        try:
            while left > 0:
                copied = os.copy_file_range(reading.fileno(), writing.fileno(), left)
                if copied == 0:
                    break
                left -= copied
        except OSError as error:
            if error.errno not in _NOT_POSSIBLE_HERE:
                raise
    if left > 0:
        shutil.copyfile(source, target)


def replace(source: Path, target: Path) -> None:
    """Put `source` in the place of `target` in one step, and make it last: both the name and the content."""
    sync_file(source)
    ends_at = time.monotonic() + REPLACE_SECONDS
    while True:
        try:
            os.replace(source, target)
            break
        except PermissionError:
            if os.name != "nt" or time.monotonic() > ends_at:
                raise
            time.sleep(0.02)
    sync_folder(target.parent)


def remove(path: Path) -> None:
    """Remove a file or a folder if the system lets us; one still held on Windows is left for the next time."""
    if path.is_dir() and not path.is_symlink():
        shutil.rmtree(path, ignore_errors=True)
        return
    try:
        path.unlink(missing_ok=True)
    except PermissionError:
        return


def sync_file(path: Path) -> None:
    """Wait until the content of a file is on the disk."""
    with path.open("rb+") as file:
        os.fsync(file.fileno())


class EarlySync:
    """Begins to bring a file to the disk. Nothing rests on it: what must last is synced again, and fails aloud then.

    Its handle stays open until `close`, to be called after the database has let go of the file: where locks belong to
    the process, closing any handle of a file drops the locks that others of the process hold on it. Windows keeps
    handles from sharing a file, so that nothing is begun early there.
    """

    def __init__(self, path: Path) -> None:
        self._handle = None if os.name == "nt" else os.open(path, os.O_RDWR)
        self._thread = threading.Thread(target=self._sync, daemon=True)
        self._thread.start()

    def close(self) -> None:
        """Wait for the disk, and let go of the file."""
        self._thread.join()
        if self._handle is not None:
            os.close(self._handle)

    def _sync(self) -> None:
        if self._handle is not None:
            with suppress(OSError):
                os.fsync(self._handle)


def sync_folder(folder: Path) -> None:
    """Wait until the names in a folder are on the disk; Windows does this by itself."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _not_possible_here() -> frozenset[int]:
    import errno

    names = ("EXDEV", "ENOSYS", "EINVAL", "EOPNOTSUPP", "ENOTSUP", "EPERM")
    return frozenset(getattr(errno, name) for name in names if hasattr(errno, name))


_NOT_POSSIBLE_HERE = _not_possible_here()
