"""Numbers of appliances that repeat from site to site, joined at the command line; and the crew of visits, which follows."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from pipelines.identity_decisions import enter_decision
from pipelines.loading import load
from pipelines.own_work import OwnWork
from pipelines.store import Store

TABLES = {
    "visits": """visit_id,site_id,appliance_id,technician_id,arrived_at,visit_kind
V1,S1,A-1,J1,2025-01-10T10:00:00Z,no_heat
V2,S1,a1,L1,2025-01-20T10:00:00Z,no_heat
V3,S2,A-1,J2,2025-02-10T10:00:00Z,no_heat
V4,S2,a1,L1,2025-02-20T10:00:00Z,no_heat
V5,S3,A-3,L1,2025-03-20T10:00:00Z,no_heat
""",
    "technicians": "technician_id,technician_name\nJ1,J. Ortiz\nJ2,Ortiz J\nL1,Ann Lee\n",
    "visit_crew": """visit_id,technician_id,is_lead
V2,L1,yes
V2,J2,no
V4,L1,yes
V4,J1,no
V5,J1,no
V5,J2,yes
""",
}


@pytest.fixture
def home(tmp_path: Path) -> Path:
    records = tmp_path / "records"
    records.mkdir()
    for table, text in TABLES.items():
        (records / f"{table}.csv").write_text(text, "utf-8")
    report = load(tmp_path / "home", [records])
    assert not sum(file.n_held_back for file in report.files)
    return tmp_path / "home"


def goodpull(home: Path, *words: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-c", "from dashboard.commands import main; main()", *words, "--home", str(home)]
    return subprocess.run(
        command, capture_output=True, text=True, check=False, env=os.environ, cwd=Path(__file__).parents[2]
    )


def asked(home: Path, query: str) -> list[tuple]:
    con = Store(home).open_reader()
    try:
        return con.execute(query).fetchall()
    finally:
        con.close()


def test_an_appliance_is_joined_on_the_named_site_only(home):
    words = ("identity", "same", "appliance", "A-1", "a1", "--reason", "one rating plate", "--by", "Ann")
    refused = goodpull(home, *words)
    assert refused.returncode == 1 and "several sites: S1, S2" in " ".join(refused.stderr.split())
    refused = goodpull(home, *words, "--site", "S3")
    assert refused.returncode == 1 and "do not both stand on the site S3" in " ".join(refused.stderr.split())
    done = goodpull(home, *words, "--site", "S2")
    assert done.returncode == 0, done.stderr
    listed = goodpull(home, "identity", "list", "appliance")
    assert "decided  appliance  site S2  A-1 = a1  Ann" in listed.stdout
    assert "site S1  A-1 ? a1" in listed.stdout and "site S2  A-1 ? a1" not in listed.stdout
    load(home, [])
    assert asked(home, "SELECT visit_id, appliance_key FROM visit ORDER BY 1") == [
        ("V1", "A-1"), ("V2", "a1"), ("V3", "A-1"), ("V4", "A-1"), ("V5", "A-3"),
    ]  # fmt: skip
    technician = goodpull(home, "identity", "same", "technician", "J1", "J2", "--site", "S1", "--reason", "one person")
    assert technician.returncode == 1 and "belongs to no site" in technician.stderr


def test_the_crew_follows_the_join_of_its_technicians_and_parts_again(home):
    crew = "SELECT visit_id, technician_id, is_lead FROM crew_member ORDER BY ALL"
    before = asked(home, crew)
    assert ("V2", "J2", False) in before and len(before) == 6
    own, con = OwnWork(home), Store(home).open_reader()
    try:
        made = enter_decision(con, own, "technician", "J1", "J2", True, "one person", "Ann")
    finally:
        con.close()
    load(home, [])
    assert asked(home, "SELECT technician_id FROM visit WHERE visit_id = 'V3'") == [("J1",)]
    # Both entries were named in the crew of V5: one person now, who led.
    assert asked(home, crew) == [
        ("V2", "J1", False), ("V2", "L1", True), ("V4", "J1", False), ("V4", "L1", True), ("V5", "J1", True),
    ]  # fmt: skip
    own.undo(made.entry_id, "two people after all", "Ann")
    load(home, [])
    assert asked(home, crew) == before
