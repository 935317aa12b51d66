"""The process that works ahead: only where it is asked for, one at a time, gone with the server, and never in the way."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from dashboard import working_ahead

SECONDS = 60
# Waits for the end of the server as the real one does, with work that would take longer than any test.
AT_WORK = (
    "import threading, time\n"
    "from dashboard import working_ahead\n"
    "threading.Thread(target=working_ahead._end_with_server, daemon=True).start()\n"
    "print('at work', flush=True)\n"
    "time.sleep(600)\n"
)


@pytest.fixture
def running(monkeypatch: pytest.MonkeyPatch) -> Iterator[list[subprocess.Popen[bytes]]]:
    found: list[subprocess.Popen[bytes]] = []
    monkeypatch.setattr(working_ahead, "_running", found)
    yield found
    for process in found:
        process.kill()
        process.wait()


def test_nothing_is_started_unless_it_is_switched_on(
    running: list[subprocess.Popen[bytes]], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv(working_ahead.SWITCH, raising=False)
    working_ahead.start(tmp_path)
    assert running == []


def test_it_ends_when_the_server_is_gone() -> None:
    with subprocess.Popen([sys.executable, "-c", AT_WORK], stdin=subprocess.PIPE, stdout=subprocess.PIPE) as process:
        assert process.stdin and process.stdout
        assert process.stdout.readline().strip() == b"at work"
        assert process.poll() is None
        process.stdin.close()
        assert process.wait(SECONDS) == 0


def test_another_start_takes_the_place_of_the_first(
    running: list[subprocess.Popen[bytes]], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = subprocess.Popen([sys.executable, "-c", AT_WORK], stdin=subprocess.PIPE)
    running.append(first)
    monkeypatch.setenv(working_ahead.SWITCH, "on")
    working_ahead.start(tmp_path)
    assert first.poll() is not None and len(running) == 1 and running[0] is not first
    # Over a home without records there is nothing to do.
    assert running[0].wait(SECONDS) == 0


def test_a_page_is_drawn_where_it_cannot_be_started(
    running: list[subprocess.Popen[bytes]], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refused(*arguments: object, **more: object) -> None:
        raise OSError("no memory")

    monkeypatch.setenv(working_ahead.SWITCH, "on")
    monkeypatch.setattr(working_ahead.subprocess, "Popen", refused)
    working_ahead.start(tmp_path)
    assert running == []
