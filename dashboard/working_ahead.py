"""While the pages are served, the figures of the parts most asked for are worked out beside them, by another process.

It runs at the lowest priority and in little memory, and ends with the server. Where it is not there or not done yet,
a page works out what it needs itself.
"""

from __future__ import annotations

import logging
import os
import subprocess
import sys
import threading
from pathlib import Path

# Set by whoever serves the pages for people; pages looked at by a test, or printed, start nothing.
SWITCH = "GOODPULL_WORK_AHEAD"
MEMORY_LIMIT = "1GB"

log = logging.getLogger("goodpull")

_running: list[subprocess.Popen[bytes]] = []
_starting = threading.Lock()


def start(home: Path) -> None:
    """Start it for the generation in force, in place of one that works on an older. Does nothing unless switched on."""
    if os.environ.get(SWITCH) != "on":
        return
    with _starting:
        while _running:
            before = _running.pop()
            before.terminate()
            before.wait()
        command = [sys.executable, "-m", "dashboard.working_ahead", str(home)]
        try:
            _running.append(subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.DEVNULL))
        except OSError as error:
            # Such as too little memory: then pages work out themselves what they need.
            log.warning("Figures are not worked out ahead: %s", error)


def _end_with_server() -> None:
    """The other end of standard input is held by the server: when that is gone, so is the reason to work."""
    # Read past Python's own buffer: its lock would be held when the work is done and the interpreter ends.
    os.read(sys.stdin.fileno(), 1)
    os._exit(0)


def main(home: Path) -> None:
    """Work out what is missing for the generation in force."""
    threading.Thread(target=_end_with_server, daemon=True).start()
    if hasattr(os, "nice"):
        os.nice(19)
    from models.figures.narrowed import work_ahead
    from pipelines.settings import Settings
    from pipelines.store import Store

    store = Store(home)
    path = store.current()
    if path is None:
        return
    con = store.open_reader()
    con.execute(f"SET memory_limit = '{MEMORY_LIMIT}'")
    con.execute("SET threads = 1")
    work_ahead(store, Settings.load(home), con, path)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
