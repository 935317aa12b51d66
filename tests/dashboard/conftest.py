"""Homes the pages are opened on: an empty one, one with a single visit, a small invented fleet."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import streamlit as st
from streamlit import config

# Test folders are no packages; the shared module stands beside this file.
sys.path.insert(0, str(Path(__file__).parent))

from dashboard import download
from pipelines.loading import load
from synthetic_data.generate import generate

# The pages ask for a sign-in wherever it is not certain that they listen on this machine only.
config.set_option("server.address", "127.0.0.1")

SEED, VISITS = 1, 4_000
HOSTILE = '<img src=x onerror="alert(1)"> =HYPERLINK("http://example.invalid")'


@pytest.fixture(scope="session")
def empty_home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("empty")


@pytest.fixture(scope="session")
def one_visit_home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One draft fault with one swap, and a note that holds HTML and a formula."""
    home = tmp_path_factory.mktemp("one_visit")
    records = home / "records"
    records.mkdir()
    notes = HOSTILE.replace('"', '""')
    (records / "visits.csv").write_text(
        "visit_id,site_id,technician_id,arrived_at,visit_kind,symptom,is_declared_complete,customer_name,notes\n"
        f'V1,S1,T1,2026-01-05T10:00:00Z,no_heat,draft_not_proven,yes,Somebody,"{notes}"\n'
        "V2,S1,T1,5014-09-15,no_heat,draft_not_proven,yes,Somebody,\n",
        "utf-8",
    )
    (records / "part_lines.csv").write_text("visit_id,line_no,part_class,quantity\nV1,1,draft_switch,1\n", "utf-8")
    load(home, [records])
    return home


@pytest.fixture(scope="session")
def fleet_home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    home = tmp_path_factory.mktemp("fleet")
    generate(home, seed=SEED, visits=VISITS)
    load(home, [home / "records"])
    (home / "demo.json").write_text("{}", "utf-8")
    return home


@pytest.fixture
def served_home(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The home named by the test's parameter, put in force; what the pages kept of another is dropped."""
    home = request.getfixturevalue(request.param)
    monkeypatch.setenv("GOODPULL_HOME", str(home))
    st.cache_data.clear()
    st.cache_resource.clear()
    return home


@pytest.fixture(scope="session")
def unproven_home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Twelve swaps that came back within days, on records that never say on which appliance; nothing tested."""
    home = tmp_path_factory.mktemp("unproven")
    visits = ["visit_id,site_id,technician_id,arrived_at,visit_kind,symptom,is_declared_complete"]
    lines = ["visit_id,line_no,part_class,quantity"]
    for number in range(12):
        day = f"2025-{1 + number % 12:02d}"
        visits.append(f"A{number},S{number},T{number % 2},{day}-05T10:00:00Z,no_heat,draft_not_proven,yes")
        visits.append(f"B{number},S{number},T{number % 2},{day}-15T10:00:00Z,no_heat,draft_not_proven,yes")
        lines.append(f"A{number},1,draft_switch,1")
    (home / "visits.csv").write_text("\n".join(visits) + "\n", "utf-8")
    (home / "part_lines.csv").write_text("\n".join(lines) + "\n", "utf-8")
    load(home, [home / "visits.csv", home / "part_lines.csv"])
    return home


@pytest.fixture(scope="session")
def unclassed_home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two draft faults with part lines that do not say what kind of part they are."""
    home = tmp_path_factory.mktemp("unclassed")
    (home / "visits.csv").write_text(
        "visit_id,site_id,technician_id,arrived_at,visit_kind,symptom,is_declared_complete\n"
        "V1,S1,T1,2026-01-05T10:00:00Z,no_heat,draft_not_proven,yes\n"
        "V2,S2,T1,2026-01-06T10:00:00Z,no_heat,draft_not_proven,yes\n",
        "utf-8",
    )
    (home / "part_lines.csv").write_text("visit_id,line_no,part_number,quantity\nV1,1,P1,1\nV2,1,P1,1\n", "utf-8")
    load(home, [home / "visits.csv", home / "part_lines.csv"])
    return home


@pytest.fixture
def files(monkeypatch: pytest.MonkeyPatch) -> dict[str, Callable[[], bytes]]:
    """What makes the files of the buttons drawn, by the button's key."""
    made: dict[str, Callable[[], bytes]] = {}
    drawn = download.st.download_button

    def noted(label: str, *, data: Any, key: str, **more: Any) -> Any:
        made[key] = data
        return drawn(label, data=data, key=key, **more)

    monkeypatch.setattr(download.st, "download_button", noted)
    return made
