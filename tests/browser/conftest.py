"""The pages over a small invented fleet, served once; a browser, or the reason why there is none."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

# Test folders are no packages; the shared module stands beside this file.
sys.path.insert(0, str(Path(__file__).parent))

import served_pages

VISITS = 4_000


@pytest.fixture(scope="session")
def browser():
    if served_pages.browser_path() is None:
        why = "No browser: install chromium, or name one in GOODPULL_CHROMIUM."
        if os.environ.get("CI"):
            pytest.fail(why)
        pytest.skip(why)
    with served_pages.browser() as started:
        yield started


@pytest.fixture(scope="session")
def fleet_home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    from pipelines.loading import load
    from synthetic_data.generate import generate

    home = tmp_path_factory.mktemp("fleet")
    generate(home, seed=1, visits=VISITS)
    load(home, [home / "records"])
    return home


@pytest.fixture(scope="session")
def fleet_address(fleet_home: Path) -> Iterator[str]:
    with served_pages.served(fleet_home) as address:
        yield address


@pytest.fixture(scope="session")
def empty_address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    with served_pages.served(tmp_path_factory.mktemp("empty")) as address:
        yield address
