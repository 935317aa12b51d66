"""The pages served on loopback over one home, and a browser that looks at them."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import tempfile
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

APP = Path(__file__).parents[2] / "dashboard" / "app.py"
# Every page of the program by its address, with the title it shows.
TITLES = {
    "this_week": "This week",
    "coaching": "Coaching",
    "parts_waste": "Parts waste",
    "seasons": "Seasons",
    "sites": "Sites",
    "records": "Records",
    "bench": "Bench",
    "missing": "What is missing",
    "corrections": "Corrections",
    "method": "Method",
    "own_sheet": "Your sheet",
}
# Open to a technician who signed in, and to nobody else.
OWN_PAGES = ("own_sheet",)
# What opens without sign-in. The first page stands at the root of the address.
PAGES = tuple(name for name in TITLES if name not in OWN_PAGES)
BROWSER_FLAGS = (
    "--headless=new", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
)  # fmt: skip


def browser_path() -> str | None:
    """The browser to use: GOODPULL_CHROMIUM, else a chromium on the path; None when there is none."""
    return os.environ.get("GOODPULL_CHROMIUM") or shutil.which("chromium") or shutil.which("chromium-browser")


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


@contextmanager
def served(home: Path, port: int | None = None, environment: dict[str, str] | None = None) -> Iterator[str]:
    """The address of the pages over this home; the server is ended when the block is left.

    environment: further variables for the server.
    """
    from dashboard import serving, sign_in

    port = port or free_port()
    # Into a file: a pipe that nobody reads fills up, and then the server stands still.
    with tempfile.TemporaryFile() as told:
        server = subprocess.Popen(
            serving.command(port, False, sign_in=sign_in.load(home)),
            env={**os.environ, "GOODPULL_HOME": str(home), **(environment or {})},
            stdout=told,
            stderr=subprocess.STDOUT,
        )
        try:
            _wait(f"http://127.0.0.1:{port}/_stcore/health", server, told)
            yield f"http://127.0.0.1:{port}"
        except Exception as error:
            error.add_note(f"The server's last words: {_last_words(told)}")
            raise
        finally:
            server.terminate()
            try:
                server.wait(10)
            except subprocess.TimeoutExpired:
                server.kill()


def _last_words(told: IO[bytes]) -> str:
    told.seek(0)
    return told.read().decode("utf-8", "replace")[-3000:]


def _wait(address: str, server: subprocess.Popen, told: IO[bytes], seconds: float = 60.0) -> None:
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if server.poll() is not None:
            raise RuntimeError(f"The server ended by itself: {_last_words(told)}")
        try:
            with urllib.request.urlopen(address, timeout=2) as answer:
                if answer.status == 200:
                    return
        except OSError:
            time.sleep(0.2)
    raise TimeoutError(f"{address} did not answer within {seconds:.0f} s")


@contextmanager
def browser():
    """A headless browser, ended with the block."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        started = play.chromium.launch(executable_path=browser_path(), args=list(BROWSER_FLAGS))
        try:
            yield started
        finally:
            started.close()


def address_of(address: str, name: str) -> str:
    """The address of one page, as its reader has it: the first of theirs stands at the root."""
    return address + "/" + ("" if name in (PAGES[0], *OWN_PAGES) else name)


def settled(tab, seconds: float = 60.0) -> None:
    """Wait until the page has been drawn and its script rests, charts included."""
    tab.wait_for_selector('[data-testid="stApp"][data-test-script-state="notRunning"]', timeout=seconds * 1000)
    tab.wait_for_selector("h1:visible", timeout=seconds * 1000)
    tab.wait_for_function("document.querySelectorAll('[data-testid=stSkeleton]').length === 0", timeout=seconds * 1000)
    tab.wait_for_timeout(700)
