"""Something between a program and a database that stops passing data on, and keeps every connection open."""

from __future__ import annotations

import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress


@contextmanager
def stalling_after(n_bytes: int, line: str) -> Iterator[str]:
    """The connection line through a proxy that passes on so many bytes of the database's answers, then nothing more.

    line: how the database is reached directly, as "host=... port=... ...".
    """
    told = dict(pair.split("=", 1) for pair in line.split())
    opened: list[socket.socket] = []
    with socket.create_server(("127.0.0.1", 0)) as door:

        def serve() -> None:
            while True:
                try:
                    client, _ = door.accept()
                except OSError:
                    return
                database = socket.create_connection((told["host"], int(told["port"])))
                opened.extend((client, database))
                for source, target, most in ((client, database, None), (database, client, n_bytes)):
                    threading.Thread(target=_pass_on, args=(source, target, most), daemon=True).start()

        threading.Thread(target=serve, daemon=True).start()
        try:
            yield line.replace(f"port={told['port']}", f"port={door.getsockname()[1]}")
        finally:
            # Closing alone wakes nobody who waits on a socket, and ends no connection meanwhile.
            for one in (door, *opened):
                with suppress(OSError):
                    one.shutdown(socket.SHUT_RDWR)
                one.close()


def _pass_on(source: socket.socket, target: socket.socket, most: int | None) -> None:
    left = most
    while left is None or left > 0:
        try:
            piece = source.recv(65536 if left is None else min(left, 65536))
            if not piece:
                return
            target.sendall(piece)
        except OSError:
            return
        left = None if left is None else left - len(piece)
