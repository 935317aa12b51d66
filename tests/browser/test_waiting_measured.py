"""The command that measures what a reader waits for works on a small fleet, and a filter change costs the server little."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from pathlib import Path

import pytest
from streamlit import config
from streamlit.testing.v1 import AppTest

import dashboard
from pipelines.store import Store

pytestmark = pytest.mark.browser

BENCH = Path(__file__).parents[1] / "bench" / "pages.py"
# Processor time of a filter change whose figures are worked out for it, against reading every cell of the store once.
# Measured: 6 to 12 times.
MOST_SCANS = 30


MISSED = 3


def measured(home: Path, told: Path, *options: str) -> dict:
    """What the command found; its exit code must say whether a bar was missed, which this machine may be too busy for."""
    done = subprocess.run(
        [sys.executable, str(BENCH), "--home", str(home), "--json", str(told), *options],
        capture_output=True,
        text=True,
        timeout=400,
    )
    assert done.returncode in (0, MISSED), done.stderr[-3000:]
    found = json.loads(told.read_text("utf-8"))
    is_missed = any(bar["got"] > bar["most"] for bar in found["bars"])
    assert found["bars"] and is_missed == (done.returncode == MISSED)
    assert ("bars missed:" if is_missed else "bars met.") in done.stdout
    return found


def test_pages_and_filters_are_measured(browser, fleet_home: Path, tmp_path: Path) -> None:
    pages = [word for page in ("missing", "method", "own_sheet") for word in ("--page", page)]
    found = measured(fleet_home, tmp_path / "told.json", *pages, "--repeats", "1", "--choices", "1")
    waits = found["waits"]
    assert {(wait["page"], wait["what"]) for wait in waits} >= {
        ("missing", "first paint"), ("method", "first paint"), ("missing", "period"), ("missing", "branch"),
        ("own_sheet", "first paint"), ("own_sheet", "period"),
    }  # fmt: skip
    assert all(0 < wait["answered"] <= wait["whole"] for wait in [*waits, *found["cold"]])
    assert found["peak_gb"] > 0.05


def test_sessions_at_once_are_measured(browser, fleet_home: Path, tmp_path: Path) -> None:
    told = measured(fleet_home, tmp_path / "told.json", "--sessions", "2", "--seconds", "4")["sessions"]
    assert told["sessions"] == 2 and told["pages opened"] >= 2
    assert told["errors"] == 0, told["first errors"]


def test_a_walk_by_hand_tells_what_it_opened(browser, fleet_home: Path) -> None:
    command = [sys.executable, str(BENCH), "--home", str(fleet_home), "--walk", "--page", "own_sheet"]
    done = subprocess.run(command, capture_output=True, text=True, timeout=400)
    assert done.returncode == 0, done.stdout + done.stderr[-3000:]
    assert "own_sheet: " in done.stdout and done.stdout.endswith("No error on any page.\n")


def test_a_filter_change_costs_the_server_few_reads_of_the_store(
    fleet_home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    scan = min(_scan(fleet_home) for _ in range(3))
    monkeypatch.setenv("GOODPULL_HOME", str(fleet_home))
    config.set_option("server.address", "127.0.0.1")
    tester = AppTest.from_file(str(Path(dashboard.__path__[0]) / "app.py"), default_timeout=120)
    tester.run()
    costs = []
    for region in tester.selectbox(key="region").options[1:]:
        started = time.process_time()
        tester.selectbox(key="region").set_value(region).run()
        costs.append(time.process_time() - started)
        assert not tester.exception and not tester.error
    assert min(costs) < MOST_SCANS * scan, f"{min(costs):.3f} s against {scan:.4f} s for a read of the store"


def _scan(home: Path) -> float:
    """Processor seconds of one plain read of every cell of every fact and record."""
    con = Store(home).open_reader()
    try:
        names = [
            row[0]
            for row in con.execute("SELECT table_name FROM duckdb_tables() WHERE schema_name = 'main'").fetchall()
        ]
        started = time.process_time()
        for name in names:
            con.execute(f'SELECT sum(hash(t)) FROM (SELECT t FROM "{name}" t)').fetchall()
        return time.process_time() - started
    finally:
        con.close()
