"""Generations: what comes into force, what is kept, what is refused."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import threading
import time

import duckdb
import pytest

from pipelines.contract import ddl
from pipelines.contract.tables import TABLES
from pipelines.store import Store, StoreError


def publish(store: Store, number: int) -> None:
    with store.new_generation() as generation:
        generation.con.execute("CREATE OR REPLACE TABLE answer AS SELECT ?::INTEGER AS number", [number])


def answer(store: Store) -> int:
    con = store.open_reader()
    try:
        return con.execute("SELECT number FROM answer").fetchone()[0]
    finally:
        con.close()


def names(store: Store) -> set[str]:
    return {path.name for path in store.home.iterdir()} - {".writer.lock"}


def test_nothing_loaded_yet_is_said_in_words(tmp_path):
    store = Store(tmp_path / "home")
    assert store.current() is None
    with pytest.raises(StoreError, match="No records in .* goodpull load"):
        store.open_reader()
    assert not store.home.exists(), "looking must not make the folder"


def test_new_generation_starts_from_the_one_in_force_and_keeps_the_last_two(tmp_path):
    store = Store(tmp_path)
    publish(store, 1)
    with store.new_generation() as generation:
        assert generation.con.execute("SELECT number FROM answer").fetchone() == (1,)
        generation.con.execute("UPDATE answer SET number = 2")
        assert answer(store) == 1, "not in force before the block has ended"
    publish(store, 3)
    assert answer(store) == 3
    assert names(store) == {"current", "store-000002.duckdb", "store-000003.duckdb"}
    with store.new_generation(start_from_current=False) as generation:
        assert not generation.con.execute("SELECT 1 FROM duckdb_tables() WHERE table_name = 'answer'").fetchall()


def test_an_error_in_the_block_changes_nothing(tmp_path):
    store = Store(tmp_path)
    publish(store, 1)
    with pytest.raises(ZeroDivisionError), store.new_generation() as generation:
        generation.con.execute("UPDATE answer SET number = 2")
        raise ZeroDivisionError
    assert answer(store) == 1
    assert names(store) == {"current", "store-000001.duckdb"}


def test_views_and_macros_survive_the_renaming(tmp_path):
    store = Store(tmp_path)
    with store.new_generation() as generation:
        generation.con.execute("CREATE TABLE delivered_numbers AS SELECT range AS x FROM range(10)")
        generation.con.execute("CREATE MACRO doubled(x) AS 2 * x")
        generation.con.execute("CREATE VIEW twice AS SELECT doubled(x) AS y FROM delivered_numbers")
    publish(store, 1)
    assert store.open_reader().execute("SELECT sum(y) FROM twice").fetchone() == (90,)


def test_sidecar_goes_with_its_generation(tmp_path):
    store = Store(tmp_path)
    for number in (1, 2, 3):
        publish(store, number)
        folder = store.current().with_suffix(".figures")
        folder.mkdir()
        (folder / "figures.json").write_text("{}")
    publish(store, 4)
    assert {name for name in names(store) if name.endswith(".figures")} == {"store-000003.figures"}


def test_readers_read_only_their_store(tmp_path):
    outside = tmp_path / "outside.csv"
    outside.write_text("a\n1\n")
    store = Store(tmp_path / "home")
    publish(store, 1)
    con = store.open_reader()
    with pytest.raises(duckdb.Error, match="read-only"):
        con.execute("CREATE TABLE more (x INTEGER)")
    with pytest.raises(duckdb.PermissionException):
        con.execute(f"SELECT * FROM read_csv('{outside}')")
    with pytest.raises(duckdb.PermissionException):
        con.execute(f"ATTACH '{tmp_path / 'other.duckdb'}'")


def test_readers_spill_into_the_home_folder(tmp_path):
    store = Store(tmp_path)
    with store.new_generation() as generation:
        generation.con.execute(
            "CREATE TABLE words AS SELECT range AS x, repeat('y', 200) || range AS w FROM range(300000)"
        )
    con = store.open_reader()
    con.execute("SET memory_limit = '40MB'")
    assert con.execute("SELECT count(*) FROM (SELECT w FROM words ORDER BY w DESC OFFSET 1)").fetchone() == (299_999,)
    assert (tmp_path / f".spill-{os.getpid()}").is_dir()


def test_spills_of_dead_processes_are_removed_and_of_living_ones_kept(tmp_path):
    store = Store(tmp_path)
    dead, living = tmp_path / ".spill-999999999", tmp_path / f".spill-{os.getppid()}"
    for folder in (dead, living):
        folder.mkdir()
    publish(store, 1)
    assert not dead.exists()
    assert living.exists()


def test_scratch_of_a_dead_load_is_removed(tmp_path):
    store = Store(tmp_path)
    (tmp_path / ".landing-ab12").mkdir()
    (tmp_path / ".landing-ab12" / "landing.duckdb").write_text("half")
    (tmp_path / "settings.toml").write_text("")
    publish(store, 1)
    assert names(store) == {"current", "settings.toml", "store-000001.duckdb"}


def test_a_home_made_anew_is_seen_anew(tmp_path):
    store = Store(tmp_path / "home")
    publish(store, 1)
    assert answer(store) == 1
    shutil.rmtree(store.home)
    publish(store, 7)
    assert answer(store) == 7


def test_a_store_of_a_newer_version_is_refused_and_left_alone(tmp_path):
    store = Store(tmp_path)
    with store.new_generation() as generation:
        generation.con.execute("UPDATE store_format SET version = ?", [ddl.STORE_VERSION + 1])
    before = store.current().read_bytes()
    wanted = f"store format {ddl.STORE_VERSION + 1}; this program reads up to {ddl.STORE_VERSION}. Update goodpull"
    with pytest.raises(StoreError, match=wanted):
        store.open_reader()
    with pytest.raises(StoreError, match=wanted), store.new_generation():
        pass
    assert store.current().read_bytes() == before


def test_a_file_duckdb_cannot_read_is_told_in_words(tmp_path):
    store = Store(tmp_path)
    publish(store, 1)
    store.current().write_bytes(b"not a database" * 1000)
    with pytest.raises(StoreError, match="store-000001.duckdb: cannot be opened"):
        store.open_reader()


@pytest.mark.parametrize("damage", ["", "store-000099.duckdb\n", "../elsewhere.duckdb\n", "\x00\x01", b"\xff\xfe\xfa"])
def test_a_damaged_pointer_is_told_and_nothing_is_lost(tmp_path, damage):
    store = Store(tmp_path)
    publish(store, 1)
    publish(store, 2)
    pointer = tmp_path / "current"
    pointer.write_bytes(damage if isinstance(damage, bytes) else damage.encode())
    with pytest.raises(StoreError, match=r"store-000001.duckdb, store-000002.duckdb. Delete the file current"):
        store.open_reader()
    with pytest.raises(StoreError, match="Delete the file current"), store.new_generation():
        pass
    pointer.unlink()  # what the message says
    assert answer(store) == 2
    publish(store, 3)
    assert answer(store) == 3


def test_a_column_added_to_the_contract_is_added_to_an_older_store(tmp_path):
    store = Store(tmp_path)
    with store.new_generation() as generation:
        generation.con.execute("INSERT INTO delivered.sites (site_id, load_id, row_no) VALUES ('S-1', 1, 1)")
        generation.con.execute("ALTER TABLE delivered.sites DROP COLUMN region")
    with store.new_generation() as generation:
        rows = generation.con.execute("SELECT * FROM delivered.sites")
        assert [column[0] for column in rows.description] == [name for name, _ in ddl.stored_columns(TABLES[0])]
        assert generation.con.execute("SELECT site_id, region, load_id FROM delivered.sites").fetchall() == [
            ("S-1", None, 1)
        ]


def test_a_column_the_contract_no_longer_has_is_refused_not_dropped(tmp_path):
    store = Store(tmp_path)
    with store.new_generation() as generation:
        generation.con.execute("ALTER TABLE delivered.sites ADD COLUMN colour VARCHAR")
    with pytest.raises(StoreError, match="delivered.sites: the store has colour VARCHAR"), store.new_generation():
        pass
    assert "colour" in str(store.open_reader().execute("DESCRIBE delivered.sites").fetchall())


def test_a_home_that_is_no_folder_is_told_in_words(tmp_path):
    blocked = tmp_path / "file"
    blocked.write_text("not a folder")
    with (
        pytest.raises(StoreError, match="cannot be used as a folder .*--home"),
        Store(blocked / "home").new_generation(),
    ):
        pass


def test_readers_in_threads_are_never_broken_by_loads(tmp_path):
    store = Store(tmp_path)
    publish(store, 0)
    seen: list[int] = []
    failures: list[BaseException] = []
    is_done = threading.Event()

    def read() -> None:
        last = 0
        while not is_done.is_set():
            try:
                number = answer(store)
                assert number >= last, "a reader went back in time"
                last = number
                seen.append(number)
            except BaseException as error:
                failures.append(error)
                return

    held = store.open_reader()
    threads = [threading.Thread(target=read) for _ in range(3)]
    for thread in threads:
        thread.start()
    for number in range(1, 9):
        publish(store, number)
    is_done.set()
    for thread in threads:
        thread.join()
    assert not failures, failures
    assert len(set(seen)) >= 3, "the readers did not read while loads went on"
    assert held.execute("SELECT number FROM answer").fetchone() == (0,), "a held reader keeps what it opened"


@pytest.mark.skipif(os.name == "nt", reason="locks belong to the handle there")
def test_bringing_the_copy_to_the_disk_leaves_the_database_its_lock(tmp_path):
    store = Store(tmp_path)
    publish(store, 1)
    attempt = "import duckdb, sys; duckdb.connect(sys.argv[1]).execute('CREATE TABLE other AS SELECT 1')"
    with store.new_generation() as generation:
        time.sleep(0.3)  # the disk has the copy by now
        other = subprocess.run([sys.executable, "-c", attempt, str(generation.path)], capture_output=True, text=True)
        assert other.returncode != 0 and "lock" in other.stderr, other.stderr
