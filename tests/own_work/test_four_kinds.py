"""Corrections, bench tests, identity decisions and mappings: each entered as the product does it, by several at once and
killed in the middle; and each brought back whole from a copy."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from pipelines import loading
from pipelines.mapping.mapping_file import mapping_of, read_mapping
from pipelines.mapping.writing import toml_of, version_path
from pipelines.own_work import OwnWork
from pipelines.own_work_copies import Restored, export_copy, restore_copy
from pipelines.store import Store

TOML = """
name = "calls"
confirmed = true
[[source]]
file = "calls*.csv"
[[source.table]]
table = "visits"
[source.table.columns]
visit_id = "Call"
site_id = "Site"
technician_id = "Tech"
arrived_at = "In"
visit_kind = { value = "other" }
[aliases.sites]
"old" = "S1"
"""
N_SITES = 300

# Enters things of one kind one after the other and says the number of each once it is kept.
WRITER = """
import sys
from pathlib import Path
from pipelines.identity_decisions import enter_decision
from pipelines.mapping.writing import write_durably
from pipelines.own_entries import enter_bench_test, enter_correction
from pipelines.own_work import OwnWork
from pipelines.settings import Settings
from pipelines.store import Store
home, kind, name, first, n = Path(sys.argv[1]), sys.argv[2], sys.argv[3], int(sys.argv[4]), int(sys.argv[5])
own, settings = OwnWork(home), Settings()
con = Store(home).open_reader()
body = (home / "body.toml").read_text("utf-8") if kind == "mapping" else ""
for number in range(first, first + n):
    key = f"{name}-{number}"
    if kind == "correction":
        enter_correction(con, own, settings, f"V{number}", "cause_code", "fan_worn", "seen", name, key)
    elif kind == "bench_test":
        cells = {"removed_tag": f"T{number}", "tested_at": "2025-02-01T10:00:00Z", "pressure_unit": "Pa", "make_1": "200"}
        enter_bench_test(own, settings, cells, name, key)
    elif kind == "identity":
        enter_decision(con, own, "technician", f"P{number}", f"Q{number}", True, "seen", name, key)
    else:
        write_durably(home / "jobs.toml", body + f"# {name} {number}\\n" + "# rest of the remark\\n" * 2000)
    print(number, flush=True)
"""
ENTERED = ("correction", "bench_test", "identity")


@pytest.fixture(scope="module")
def records(tmp_path_factory) -> Path:
    """A visit and a switch a site, technicians that stand twice, in a home of their own."""
    folder = tmp_path_factory.mktemp("company")
    header = "visit_id,site_id,technician_id,arrived_at,visit_kind,symptom\n"
    rows = (f"V{n},S{n},{'PQ'[n % 2]}{n},2025-01-10T10:00:00Z,no_heat,draft_not_proven\n" for n in range(N_SITES))
    (folder / "visits.csv").write_text(header + "".join(rows))
    (folder / "technicians.csv").write_text(
        "technician_id\n" + "".join(f"P{n}\nQ{n}\n" for n in range(N_SITES))
    )  # fmt: skip
    loading.load(folder / "home", [folder / "visits.csv", folder / "technicians.csv"])
    return folder


@pytest.fixture
def home(records, tmp_path) -> Path:
    shutil.copytree(records / "home", tmp_path / "home")
    (tmp_path / "home" / "body.toml").write_text(TOML)
    return tmp_path / "home"


def writer(home: Path, kind: str, name: str, first: int, n: int) -> subprocess.Popen[str]:
    command = [sys.executable, "-c", WRITER, str(home), kind, name, str(first), str(n)]
    return subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


@pytest.mark.skipif(os.name == "nt", reason="kill -9 is not there on Windows")
@pytest.mark.parametrize("kind", [*ENTERED, "mapping"])
def test_what_was_said_to_be_kept_survives_kill_9(home, kind):
    child = writer(home, kind, "anna", 0, N_SITES)
    said = [int(child.stdout.readline()) for _ in range(5)]
    time.sleep(0.013)
    child.send_signal(signal.SIGKILL)
    child.wait()
    said += [int(line) for line in child.stdout.read().split()]
    child.stdout.close()
    child.stderr.close()
    assert child.returncode == -signal.SIGKILL and len(said) < N_SITES
    if kind == "mapping":
        # Whole, and the last that was said or the one after it.
        assert read_mapping(home / "jobs.toml").sources == mapping_of(TOML).sources
        text = (home / "jobs.toml").read_text("utf-8")
        assert text.count("# rest of the remark\n") == 2000
        assert any(f"# anna {number}\n" in text for number in (said[-1], said[-1] + 1))
    else:
        kept = [one.entry.entry_id for one in OwnWork(home).entries(kind)]
        assert kept[: len(said)] == [f"anna-{number}" for number in said] and len(kept) <= len(said) + 1
        assert Store(home).current() is not None
    after = writer(home, kind, "ben", N_SITES - 1, 1)
    _, told = after.communicate(timeout=60)
    assert after.returncode == 0, told


@pytest.mark.parametrize("kind", [*ENTERED, "mapping"])
def test_several_enter_at_once_and_nothing_is_lost(home, kind):
    # A mapping is one file that all of them write, so they must truly meet.
    n = 300 if kind == "mapping" else 20
    children = [writer(home, kind, name, 20 * at, n) for at, name in enumerate(("anna", "ben", "carl"))]
    for child in children:
        _, told = child.communicate(timeout=120)
        assert child.returncode == 0, told
    if kind == "mapping":
        # The last holds, whole; nobody's half.
        text = (home / "jobs.toml").read_text("utf-8")
        assert text.count("# rest of the remark\n") == 2000 and mapping_of(text).name == "calls"
        assert not list(home.glob("*.tmp*"))
        return
    kept = {one.entry.entry_id for one in OwnWork(home).entries(kind)}
    assert kept == {f"{name}-{20 * at + n}" for at, name in enumerate(("anna", "ben", "carl")) for n in range(20)}


def test_a_copy_brings_all_kinds_of_entries_back_with_who_and_why(home, tmp_path):
    for kind in ENTERED:
        child = writer(home, kind, f"anna of {kind}", 0, 3)
        _, told = child.communicate(timeout=60)
        assert child.returncode == 0, told
    assert len(export_copy(OwnWork(home), tmp_path / "copy.jsonl").entries) == 9
    other = OwnWork(tmp_path / "other")
    assert restore_copy(other, tmp_path / "copy.jsonl") == Restored(9, 9, 0, 0)
    assert [one.entry for one in other.entries()] == [one.entry for one in OwnWork(home).entries()]
    assert {one.entry.kind for one in other.entries()} == set(ENTERED)


def test_a_mapping_kept_with_its_load_is_the_mapping_once_more(home, tmp_path):
    """What a load was made with, taken from the home it is kept in, reads the same file as known elsewhere too."""
    (tmp_path / "calls.csv").write_text("Call,Site,Tech,In\nC1,Old,T,2025-01-01\n")
    mapping = mapping_of(TOML)
    loading.load(home, [tmp_path / "calls.csv"], mapping=mapping)
    kept = version_path(home, mapping)
    moved = shutil.copy(kept, tmp_path / "restored.toml")
    restored = read_mapping(Path(moved))
    assert restored.digest == mapping.digest and restored.is_confirmed and toml_of(restored) == kept.read_text("utf-8")
    report = loading.load(home, [tmp_path / "calls.csv"], mapping=restored)
    assert report.files[0].is_already_loaded and not report.is_changed


# Loads with a mapping and is killed when its version is kept and the new generation is not yet in force.
KILLED_LOAD = """
import os, signal, sys
from pathlib import Path
from pipelines.loading import load
from pipelines.mapping.mapping_file import mapping_of
from pipelines.store import Store
Store._publish = lambda *_: os.kill(os.getpid(), signal.SIGKILL)
load(Path(sys.argv[1]), [Path(sys.argv[2])], mapping=mapping_of(Path(sys.argv[3]).read_text("utf-8")))
"""


@pytest.mark.skipif(os.name == "nt", reason="kill -9 is not there on Windows")
def test_a_load_with_a_mapping_killed_in_the_middle_changes_nothing_and_goes_through_afterwards(home, tmp_path):
    export = tmp_path / "calls.csv"
    export.write_text("Call,Site,Tech,In\nC1,Old,T,2025-01-01\n")
    before = Store(home).current()
    killed = subprocess.run([sys.executable, "-c", KILLED_LOAD, home, export, home / "body.toml"], capture_output=True)
    assert killed.returncode == -signal.SIGKILL, killed.stderr
    assert Store(home).current() == before
    assert loading.load(home, [export], mapping=mapping_of(TOML)).files[0].n_accepted == 1
    assert read_mapping(version_path(home, mapping_of(TOML))).digest == mapping_of(TOML).digest
