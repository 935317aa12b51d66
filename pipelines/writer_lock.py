"""One writer at a time, across processes. The operating system lets go of the lock when its holder dies."""

from __future__ import annotations

import os
import time
from pathlib import Path
from types import TracebackType
from typing import IO

from pipelines.errors import StoreError

LOCK_NAME = ".writer.lock"
WAIT_SECONDS = 10.0


class WriterBusy(StoreError):
    """Another process is loading into the same home."""


class WriterLock:
    """Held for the time of one load. Waits a little for another writer, then says so.

    home: an existing folder. wait_seconds: how long to wait. Raises WriterBusy.
    """

    def __init__(self, home: Path, wait_seconds: float = WAIT_SECONDS) -> None:
        self.path = home / LOCK_NAME
        self.wait_seconds = wait_seconds
        self._file: IO[bytes] | None = None

    def __enter__(self) -> WriterLock:
        file = self.path.open("ab")
        ends_at = time.monotonic() + self.wait_seconds
        while not _try_lock(file):
            if time.monotonic() > ends_at:
                file.close()
                raise WriterBusy(
                    f"{self.path.parent}: another load is running. Wait until it is done and try again; "
                    "nothing was changed."
                )
            time.sleep(0.05)
        self._file = file
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._file is not None:
            self._file.close()
            self._file = None


def _try_lock(file: IO[bytes]) -> bool:
    if os.name == "nt":
        import msvcrt

        try:
            file.seek(0)
            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined]
        except OSError:
            return False
        return True
    import fcntl

    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    return True
