"""The pages over a small invented fleet, served once; a browser, or the reason why there is none."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

# Test folders are no packages; the shared module stands beside this file.
sys.path.insert(0, str(Path(__file__).parent))
# A database server stands beside the tests of mapping.
sys.path.append(str(Path(__file__).parents[1] / "mapping"))

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
def empty_home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("empty")


@pytest.fixture(scope="session")
def empty_address(empty_home: Path) -> Iterator[str]:
    with served_pages.served(empty_home) as address:
        yield address


@pytest.fixture(scope="session")
def one_visit_home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    from pipelines.loading import load

    home = tmp_path_factory.mktemp("one_visit")
    (home / "visits.csv").write_text(
        "visit_id,site_id,technician_id,arrived_at,visit_kind,symptom,is_declared_complete,notes\n"
        "V1,S1,T1,2026-01-05T10:00:00Z,no_heat,draft_not_proven,yes,<b>swapped</b>\n",
        "utf-8",
    )
    (home / "part_lines.csv").write_text("visit_id,line_no,part_class,quantity\nV1,1,draft_switch,1\n", "utf-8")
    load(home, [home / "visits.csv", home / "part_lines.csv"])
    return home


@pytest.fixture(scope="session")
def one_visit_address(one_visit_home: Path) -> Iterator[str]:
    with served_pages.served(one_visit_home) as address:
        yield address
