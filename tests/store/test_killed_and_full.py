"""A load that is killed, two at once, a full disk: the last good generation stays in force and the next load works."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import textwrap
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from pipelines.store import Store, StoreError
from pipelines.writer_lock import WriterBusy

pytestmark = pytest.mark.skipif(os.name == "nt", reason="kill -9, tmpfs and RLIMIT_FSIZE are not there on Windows")

# A load that stops dead at a named point, says so, and waits to be killed.
KILLED_LOAD = """
import sys, time
from pathlib import Path
from pipelines import store as module

home, point = Path(sys.argv[1]), sys.argv[2]

def stop(reached):
    if reached == point:
        print("reached", flush=True)
        time.sleep(600)

def half_a_copy(source, target, copy=module.copy_file):
    if point == "copying":
        content = source.read_bytes()
        target.write_bytes(content[: len(content) // 2])
        stop("copying")
    copy(source, target)

steps = []
def replace(source, target, really=module.replace):
    stop("checkpointed" if not steps else "named")
    really(source, target)
    steps.append(target)
    if len(steps) == 2:
        stop("switched")

module.copy_file, module.replace = half_a_copy, replace
with module.Store(home).new_generation() as generation:
    generation.con.execute("CREATE OR REPLACE TABLE answer AS SELECT 2 AS number")
    generation.con.execute("CREATE TABLE more AS SELECT range AS x, hash(range) AS y FROM range(200000)")
    generation.con.execute("BEGIN; INSERT INTO more SELECT range, range FROM range(1000)")
    stop("writing")
    generation.con.execute("COMMIT")
"""
POINTS = {"copying": 1, "writing": 1, "checkpointed": 1, "named": 1, "switched": 2}


def publish(store: Store, number: int) -> None:
    with store.new_generation() as generation:
        generation.con.execute("CREATE OR REPLACE TABLE answer AS SELECT ?::INTEGER AS number", [number])


def answer(store: Store) -> int:
    con = store.open_reader()
    try:
        return con.execute("SELECT number FROM answer").fetchone()[0]
    finally:
        con.close()


def kill_at(home: Path, point: str) -> None:
    child = subprocess.Popen([sys.executable, "-c", KILLED_LOAD, str(home), point], stdout=subprocess.PIPE, text=True)
    try:
        assert child.stdout is not None
        assert child.stdout.readline() == "reached\n"
        with pytest.raises(WriterBusy, match="another load is running"), Store(home, wait_seconds=0).new_generation():
            pass
    finally:
        child.send_signal(signal.SIGKILL)
        child.wait()
        child.stdout.close()
    assert child.returncode == -signal.SIGKILL


@pytest.mark.parametrize(("point", "in_force"), POINTS.items())
def test_killed_load_leaves_the_last_good_generation_in_force(tmp_path, point, in_force):
    store = Store(tmp_path)
    publish(store, 0)
    publish(store, 1)
    held = store.open_reader()
    kill_at(tmp_path, point)
    assert answer(store) == in_force
    assert held.execute("SELECT number FROM answer").fetchone() == (1,)
    before = store.current()
    publish(store, 3)
    assert answer(store) == 3
    left = {path.name for path in tmp_path.iterdir() if not path.name.startswith(".")}
    assert left == {"current", store.current().name, before.name}, "what the dead load left must be gone"


def test_first_load_killed_before_the_pointer_is_there(tmp_path):
    kill_at(tmp_path, "named")
    publish(Store(tmp_path), 3)
    assert answer(Store(tmp_path)) == 3


def test_first_load_killed_while_writing_leaves_nothing_in_force(tmp_path):
    kill_at(tmp_path, "writing")
    assert Store(tmp_path).current() is None
    publish(Store(tmp_path), 3)
    assert answer(Store(tmp_path)) == 3


def test_a_second_writer_waits_and_builds_on_the_first(tmp_path):
    store = Store(tmp_path)
    publish(store, 1)
    is_inside = threading.Event()

    def first() -> None:
        with Store(tmp_path).new_generation() as generation:
            is_inside.set()
            time.sleep(0.3)
            generation.con.execute("UPDATE answer SET number = number + 10")

    thread = threading.Thread(target=first)
    thread.start()
    is_inside.wait(10)
    with store.new_generation() as generation:
        generation.con.execute("UPDATE answer SET number = number * 2")
    thread.join()
    assert answer(store) == 22, "the second must start from what the first published"


def test_a_reader_in_another_process_is_never_broken(tmp_path):
    script = textwrap.dedent("""
        import sys
        from pathlib import Path
        from pipelines.store import Store
        store = Store(Path(sys.argv[1]))
        held = store.open_reader()
        print("open", flush=True)
        last = 0
        while last < 6:
            con = store.open_reader()
            number = con.execute("SELECT number FROM answer").fetchone()[0]
            con.close()
            assert number >= last, (number, last)
            last = number
        print(held.execute("SELECT number FROM answer").fetchone()[0], flush=True)
    """)
    store = Store(tmp_path)
    publish(store, 0)
    child = subprocess.Popen([sys.executable, "-c", script, str(tmp_path)], stdout=subprocess.PIPE, text=True)
    try:
        assert child.stdout is not None
        assert child.stdout.readline() == "open\n"
        for number in range(1, 7):
            publish(store, number)
        out, _ = child.communicate(timeout=60)
    finally:
        child.kill()
        child.wait()
    assert (child.returncode, out) == (0, "0\n")


@pytest.fixture
def small_disk(tmp_path) -> Iterator[Path]:
    folder = tmp_path / "disk"
    folder.mkdir()
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=24m", "tmpfs", str(folder)], capture_output=True, text=True, check=False
    )
    if mounted.returncode:
        pytest.skip(f"no small disk can be mounted here: {mounted.stderr.strip()}")
    try:
        yield folder
    finally:
        subprocess.run(["umount", "-l", str(folder)], check=True)


FILL = "CREATE TABLE filling AS SELECT hash(range) AS a, hash(range + 1) AS b FROM range(?)"


def test_full_disk_changes_nothing_and_frees_what_it_took(small_disk):
    store = Store(small_disk)
    publish(store, 1)
    with pytest.raises(StoreError, match=r"the disk is full.*[Ff]ree some space"), store.new_generation() as generation:
        generation.con.execute(FILL, [20_000_000])
    assert answer(store) == 1
    assert not list(small_disk.glob("*.tmp*"))
    publish(store, 2)
    assert answer(store) == 2


def test_full_disk_is_foreseen_when_the_copy_will_not_fit(small_disk):
    store = Store(small_disk)
    with store.new_generation() as generation:
        generation.con.execute(FILL, [800_000])
    with pytest.raises(StoreError, match=r"disk is full \(0\.01 GB needed, 0\.0\d GB free\)"), store.new_generation():
        pytest.fail("must not begin")
    assert store.open_reader().execute("SELECT count(*) FROM filling").fetchone() == (800_000,)


def test_a_file_that_may_not_grow_is_a_full_disk(tmp_path):
    publish(Store(tmp_path), 1)
    script = textwrap.dedent(f"""
        import sys
        from pathlib import Path
        from pipelines.store import Store, StoreError
        try:
            with Store(Path(sys.argv[1])).new_generation() as generation:
                generation.con.execute({FILL!r}, [20_000_000])
        except StoreError as error:
            print(error)
    """)
    resource = pytest.importorskip("resource")
    limit = 16 * 1024 * 1024
    done = subprocess.run(
        [sys.executable, "-c", script, str(tmp_path)],
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit)),
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )
    assert "the disk is full" in done.stdout, done.stderr[-2000:]
    assert answer(Store(tmp_path)) == 1
    publish(Store(tmp_path), 2)
    assert {path.name for path in tmp_path.glob("*.tmp*")} == set()
