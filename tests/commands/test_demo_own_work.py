"""Making the demo fleet anew takes nothing with it that people entered."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

from pipelines.own_work import FILE_NAME, Entry, OwnWork
from pipelines.own_work_copies import Restored, restore_copy


def demo_anew(home: Path) -> subprocess.CompletedProcess[str]:
    code = "import sys; from dashboard.commands import main; sys.argv[0] = 'goodpull'; main()"
    return subprocess.run(
        [sys.executable, "-c", code, "demo", "--home", str(home), "--visits", "1000", "--fresh", "--no-open"],
        capture_output=True,
        text=True,
        timeout=300,
    )


def test_what_was_entered_in_the_demo_is_copied_beside_it_and_told(tmp_path):
    home = tmp_path / "demo"
    entered = Entry("correction", "V1", {"new_value": "fan_worn"}, "chief", "seen", "a")
    OwnWork(home).add([entered])
    (home / "demo.json").write_text(json.dumps({"seed": 1, "visits": 1000}))
    done = demo_anew(home)
    assert done.returncode == 0, done.stderr
    (copy,) = tmp_path.glob("demo-own-work-*.jsonl")
    assert copy.name in done.stderr.replace("\n", "")
    assert OwnWork(home).entries() == []
    assert restore_copy(OwnWork(tmp_path / "other"), copy) == Restored(1, 1, 0, 0)
    assert [kept.entry for kept in OwnWork(tmp_path / "other").entries()] == [entered]


def test_a_demo_whose_own_work_cannot_be_read_is_left_as_it_is(tmp_path):
    (tmp_path / "demo.json").write_text(json.dumps({"seed": 1, "visits": 1000}))
    (tmp_path / FILE_NAME).write_bytes(b"no database" * 100)
    done = demo_anew(tmp_path)
    assert done.returncode == 1 and "is damaged" in done.stderr and "Traceback" not in done.stderr
    assert (tmp_path / FILE_NAME).read_bytes() == b"no database" * 100


def test_own_work_in_a_folder_that_is_no_demo_is_never_touched(tmp_path):
    OwnWork(tmp_path).add([Entry("correction", "V1", {"new_value": "fan_worn"}, "chief", "seen", "a")])
    done = demo_anew(tmp_path)
    assert done.returncode == 1 and "not a demo" in done.stderr
    assert len(OwnWork(tmp_path).entries()) == 1
