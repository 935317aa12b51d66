"""A database that fails, goes silent or changed: the load ends, nothing is changed, and what to do is told."""

from __future__ import annotations

import resource
import shutil
import socket
import tempfile
import threading
import time

import psycopg
import pytest
from company_database import toml
from foreign_company import VISITS
from postgres_server import PASSWORD
from stalling_proxy import stalling_after

from pipelines.errors import GoodpullError
from pipelines.intake import mapped_files
from pipelines.intake.file_kinds import IntakeError
from pipelines.mapping import database
from pipelines.mapping.declared import MappingError
from pipelines.mapping.mapping_file import mapping_of
from pipelines.mapping.silence import SilenceWatch
from pipelines.store import Store

MANY = "SELECT g AS visit_id, repeat('x', 60) AS notes FROM generate_series(1, 200000) g"
NOTHING_ELSE = "left out, since another part of the export does not fit the mapping or cannot be read"


def told_within(seconds: float, load) -> str:
    """What a load that must fail says; fails when it has not ended within the time, instead of waiting for good."""
    told: list[str] = []

    def run() -> None:
        try:
            load()
        except GoodpullError as error:
            told.append(str(error))

    running = threading.Thread(target=run, daemon=True)
    running.start()
    running.join(seconds)
    assert not running.is_alive(), f"still waiting after {seconds} seconds"
    assert told, "loaded, or failed without words"
    return told[0]


def assert_nothing_loaded(desk, report) -> None:
    assert not report.is_changed and report.generation is None
    assert not (desk.home / "current").exists() and not list(desk.home.glob("mappings/*"))


@pytest.mark.parametrize("n_bytes", [3_000_000, 1500], ids=["amid the rows", "before the first row"])
def test_a_database_that_goes_silent_midway_ends_the_load_within_the_limit(desk, company, n_bytes):
    desk.load(toml(company))
    before, records = Store(desk.home).current(), desk.records()
    with stalling_after(n_bytes, company) as line:
        told = told_within(30, lambda: desk.load(toml(line, MANY, timeout=1)))
    assert "'service database' went silent" in told and "timeout_seconds (1)" in told and PASSWORD not in told
    assert "nothing was changed" in told and "try again" in told
    assert Store(desk.home).current() == before and desk.records() == records


def test_a_database_that_never_answers_is_given_up(desk, company, monkeypatch):
    monkeypatch.setattr(database, "CONNECT_SECONDS", 2)
    with stalling_after(0, company) as line:
        assert "cannot be reached" in told_within(30, lambda: desk.load(toml(line)))


def test_a_disk_that_takes_its_time_is_no_silence_of_the_database(company, monkeypatch):
    monkeypatch.setattr(database, "GRACE_SECONDS", -9)
    monkeypatch.setattr(database, "_STEP_BYTES", 1 << 23)
    mapping = mapping_of(toml(company, MANY, timeout=10).partition('[[source]]\nname = "part_lines"')[0])
    with database.fetched(mapping, lambda *_: time.sleep(1.5)) as files:
        assert [error for _, error in files] == [None]


def test_a_connection_is_asked_to_find_out_whether_the_other_side_lives(company):
    with database._connected(mapping_of(toml(company))) as connection:
        assert connection.info.get_parameters().items() >= {
            "keepalives": "1", "keepalives_idle": "30", "keepalives_interval": "10", "keepalives_count": "3",
            "tcp_user_timeout": "60000",
        }.items()  # fmt: skip


def test_the_watch_leaves_other_connections_alone(company):
    """The number of a closed connection may be given to another one before the watch looks again."""
    connection = psycopg.connect(company)
    with SilenceWatch(connection, 0.1) as watch:
        number = connection.fileno()
        connection.close()
        with psycopg.connect(company) as other:
            assert other.fileno() == number
            time.sleep(0.6)
            assert watch.is_ended and other.execute("SELECT 1").fetchone() == (1,)


def test_a_slow_query_ends_the_load_and_is_named(desk, company):
    report = desk.load(toml(company, "SELECT *, pg_sleep(30) FROM svc.visits", timeout=1))
    slow, *others = report.files
    assert slow.file_name == "visits (query).csv"
    assert "longer than timeout_seconds (1)" in slow.error and "statement timeout" in slow.error
    assert len(others) == 2 and all(NOTHING_ELSE in file.error for file in others)
    assert_nothing_loaded(desk, report)


def test_every_query_that_fails_is_named_with_its_reason(desk, company):
    with psycopg.connect(company, autocommit=True) as con:
        con.execute("ALTER TABLE svc.part_lines RENAME TO lines")
        con.execute("REVOKE ALL ON svc.readings FROM PUBLIC")
    report = desk.load(toml(company, "SELECT 1 / 0 AS visit_id"))
    visits, lines, readings = report.files
    assert "is no query the database can run (division by zero)" in visits.error
    assert "'svc.part_lines'" in lines.error and NOTHING_ELSE in readings.error
    assert_nothing_loaded(desk, report)


def test_files_named_beside_a_query_that_fails_are_left_out_too(desk, company):
    of_files = """
[[source]]
file = "more*.csv"
[[source.table]]
table = "part_lines"
[source.table.columns]
visit_id = "Call"
line_no = "Line"
quantity = "Qty"
"""
    path = desk.write("more.csv", ["Call", "Line", "Qty"], [["V1", "9", "1"]])
    report = desk.load(toml(company, "SELECT 1 / 0 AS visit_id") + of_files, path)
    assert [NOTHING_ELSE in file.error for file in report.files] == [True, False, True, True]
    assert_nothing_loaded(desk, report)


def test_what_a_query_gave_and_that_cannot_be_read_ends_the_load(desk, company, monkeypatch):
    land = mapped_files.land_text

    def torn(path, *more):
        if path.name.startswith("part_lines"):
            raise IntakeError("is torn.")
        return land(path, *more)

    monkeypatch.setattr(mapped_files, "land_text", torn)
    report = desk.load(toml(company))
    assert report.files[1].error == "is torn." and NOTHING_ELSE in report.files[0].error
    assert_nothing_loaded(desk, report)


def test_a_table_without_rows_is_no_failure(desk, company):
    with psycopg.connect(company, autocommit=True) as con:
        con.execute("DELETE FROM svc.part_lines")
    report = desk.load(toml(company))
    assert report.is_changed and [file.error for file in report.files] == [None] * 3
    assert len(desk.records()["visits"]) == 4 and not desk.records()["part_lines"]


def test_a_column_that_was_renamed_gives_a_drift_report(desk, company):
    with psycopg.connect(company, autocommit=True) as con:
        con.execute("ALTER TABLE svc.visits RENAME cause_code TO cause_codes")
    report = desk.load(toml(company, f"SELECT {', '.join('v.' + c for c in VISITS[0].split(','))} FROM svc.visits v"))
    told = report.files[0].error
    assert "has changed shape since the mapping 'service database' was made" in told
    assert "The query asks for and the database lacks the column 'cause_code' (perhaps 'cause_codes' now)." in told
    assert "The database has in svc.visits: 'visit_id', 'site_id'," in told and "svc.readings" not in told
    assert "column v.cause_code does not exist" in told and "Put the query of the mapping right" in told
    assert_nothing_loaded(desk, report)


@pytest.mark.parametrize(
    ("change", "query", "said"),
    [
        ("", "SELECT * FROM svc.nothing", "the table 'svc.nothing'. The database has in svc: 'part_lines', 'readings', 'visits'."),
        ("ALTER TABLE svc.visits RENAME TO visit", 'SELECT * FROM "svc" . visits', "'svc.visits' (perhaps 'visit' now)"),
        ("CREATE SCHEMA IF NOT EXISTS old; ALTER TABLE svc.visits SET SCHEMA old", "SELECT * FROM svc.visits",
         "'svc.visits' (perhaps 'old.visits' now)"),
        ("", "SELECT * FROM gone.visits", "'gone.visits' (perhaps 'svc.visits' now). The database has in gone: nothing that"),
        ("", "SELECT * FROM visits", "the table 'visits' (perhaps 'svc.visits' now). The database has: 'svc.part_lines'"),
        ("ALTER TABLE svc.visits RENAME notes TO \"Notes\"", "SELECT notes FROM svc.visits", "'notes' (perhaps 'Notes' now)"),
    ],
)  # fmt: skip
def test_what_is_gone_is_told_beside_what_is_near_it(desk, company, change, query, said):
    with psycopg.connect(company, autocommit=True) as con:
        con.execute("DROP SCHEMA IF EXISTS old CASCADE")
        if change:
            con.execute(change)
    report = desk.load(toml(company, query))
    assert "has changed shape since" in report.files[0].error and said in report.files[0].error
    assert_nothing_loaded(desk, report)


@pytest.mark.parametrize("query", ["SELECT z.notes FROM svc.visits v", "SELECT z.* FROM svc.visits v"])
def test_a_query_that_was_never_right_is_no_drift(desk, company, query):
    (told, *_) = [file.error for file in desk.load(toml(company, query)).files]
    assert 'is no query the database can run (missing FROM-clause entry for table "z"' in told


def test_a_column_more_in_the_result_gives_the_drift_report(desk, company):
    columns = ", ".join(f'"{column}"' for column in VISITS[0].split(","))
    known = toml(company).replace('name = "visits"\n', f'name = "visits"\ncolumns = [{columns}]\n')
    assert desk.load(known).is_changed
    before = Store(desk.home).current()
    with psycopg.connect(company, autocommit=True) as con:
        con.execute("ALTER TABLE svc.visits ADD COLUMN truck text DEFAULT 'truck 4'")
        con.execute("UPDATE svc.part_lines SET quantity = '7'")
    report = desk.load(known)
    assert "has changed shape since" in report.files[0].error
    assert "The file has and the mapping does not know: 'truck'." in report.files[0].error
    assert all(NOTHING_ELSE in file.error for file in report.files[1:])
    assert not report.is_changed and Store(desk.home).current() == before


def test_a_disk_that_is_full_is_told_with_its_folder(desk, company):
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (1_000_000, hard))
    try:
        told = told_within(60, lambda: desk.load(toml(company, MANY)))
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert "the rows of the query 'visits' cannot be written (File too large)" in told
    assert "goodpull-database-" in told and "Nothing was changed. Free some space" in told and "TMPDIR" in told
    assert not (desk.home / "current").exists()


def test_a_folder_that_is_gone_is_told(desk, company, monkeypatch):
    monkeypatch.setattr(tempfile, "tempdir", str(desk.folder))

    def step(sentence, share):
        if sentence == "Fetching part_lines":
            for folder in desk.folder.glob("goodpull-database-*"):
                shutil.rmtree(folder)

    with pytest.raises(GoodpullError, match="part_lines.*cannot be written .No such file.*Nothing was changed"):
        desk.load(toml(company), progress=step)
    monkeypatch.setattr(tempfile, "tempdir", str(desk.folder / "gone"))
    with pytest.raises(GoodpullError, match="gone/goodpull-database-.*cannot be written .No such file"):
        desk.load(toml(company))


def test_a_database_that_is_down_or_refuses_is_told_without_the_password(desk, company, monkeypatch):
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    for line in (f"host=127.0.0.1 port={port} dbname=x", company.replace("user=owner", "user=nobody")):
        with pytest.raises(MappingError, match="cannot be reached") as refused:
            desk.load(toml(line))
        assert PASSWORD not in str(refused.value) and not (desk.home / "current").exists()


def test_a_connection_dropped_midway_loads_nothing(desk, company):
    def drop():
        time.sleep(0.7)
        with psycopg.connect(company, autocommit=True) as con:
            con.execute("SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE application_name = 'goodpull'")

    dropping = threading.Thread(target=drop)
    dropping.start()
    endless = "SELECT v.* FROM svc.visits v, generate_series(1, 400) g WHERE pg_sleep(0.01) IS NOT NULL"
    with pytest.raises(GoodpullError, match="ended the connection during the query 'visits'"):
        desk.load(toml(company, endless))
    dropping.join()
    assert not (desk.home / "current").exists()


@pytest.mark.parametrize(
    ("visits", "said"),
    [
        ("SELECT v.* FROM svc.visits v WHERE pg_terminate_backend(pg_backend_pid())", "ended the connection"),
        ("DELETE FROM svc.visits", "must be one SELECT"),
        ("SELECT * FROM svc.visits; DROP TABLE svc.visits", "more than one statement"),
    ],
    ids=["dropped", "writes", "two statements"],
)
def test_what_was_in_force_stays_when_the_database_fails_and_a_later_load_goes_through(desk, company, visits, said):
    desk.load(toml(company))
    before, records = Store(desk.home).current(), desk.records()
    with psycopg.connect(company, autocommit=True) as con:
        con.execute("UPDATE svc.visits SET notes = 'said later' WHERE visit_id = 'V1'")
    try:
        (file, *_) = desk.load(toml(company, visits)).files
        told = file.error or ""
    except GoodpullError as refused:
        told = str(refused)
    assert said in told and PASSWORD not in told
    assert desk.records() == records and Store(desk.home).current() == before
    desk.load(toml(company))
    assert desk.query("SELECT notes FROM delivered.visits WHERE visit_id = 'V1'") == [("said later",)]
    assert desk.query("SELECT count(*) FROM delivered.visits") == [(len(records["visits"]),)]
