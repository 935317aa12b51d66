"""A connection over which nothing comes any more, and which nobody closed: it is ended from this side.

The limit that a database sets to a statement acts within the database. Where something between the two stops passing data
on, the connection stays open and a reader would wait for good.
"""

from __future__ import annotations

import math
import socket
import threading
import time
from typing import Any

_LOOKS_EVERY_SECONDS = 0.25


class SilenceWatch:
    """Ends a connection that was silent for longer than `seconds`, from a thread of its own; a context manager.

    connection: an open psycopg connection. is_ended: whether it was ended here. Whoever waits on the connection then gets
    the error of one that was closed. The clock starts anew with `heard`, and stands still from `busy` to `heard`.
    """

    def __init__(self, connection: Any, seconds: float) -> None:
        self.seconds = seconds
        self.is_ended = False
        self._since = time.monotonic()
        self._left = threading.Event()
        # A copy of its own: a number of a closed connection may by then be that of another one.
        borrowed = socket.socket(fileno=connection.fileno())
        try:
            self._socket = borrowed.dup()
        finally:
            borrowed.detach()
        self._thread = threading.Thread(target=self._watch, name="silence of a database", daemon=True)

    def __enter__(self) -> SilenceWatch:
        self.heard()
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._left.set()
        self._thread.join()
        self._socket.close()

    def heard(self) -> None:
        """Something came, or is asked for from now on."""
        self._since = time.monotonic()

    def busy(self) -> None:
        """Nothing is waited for until `heard`: what came is being worked on."""
        self._since = math.inf

    def _watch(self) -> None:
        while not self._left.wait(_LOOKS_EVERY_SECONDS):
            if time.monotonic() - self._since > self.seconds:
                self.is_ended = True
                self._end()
                return

    def _end(self) -> None:
        try:
            self._socket.shutdown(socket.SHUT_RDWR)
        except OSError:
            # The other side closed it in the same moment; who waits is told so.
            return
