"""The command line as it is typed, a demo home made by it, and a small home of records with known faults."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest


def _goodpull(*arguments: object, timeout: float = 300) -> subprocess.CompletedProcess[str]:
    """Run the command in a process of its own, as installed."""
    code = "import sys; from dashboard.commands import main; sys.argv[0] = 'goodpull'; main()"
    return subprocess.run(
        [sys.executable, "-c", code, *map(str, arguments)],
        capture_output=True,
        text=True,
        timeout=timeout,
        env=os.environ | {"COLUMNS": "160"},
    )


@pytest.fixture(scope="session")
def goodpull() -> Callable[..., subprocess.CompletedProcess[str]]:
    return _goodpull


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A small demo home, made by the command itself."""
    home = tmp_path_factory.mktemp("demo") / "home"
    done = _goodpull("demo", "--home", home, "--visits", 6000, "--no-open")
    assert done.returncode == 0, done.stderr
    return home
