"""A PostgreSQL database, read only, against a real server started here."""

from __future__ import annotations

import socket
import threading
import time

import psycopg
import pytest
from foreign_company import CANONICAL, LINES, READINGS, VISITS
from postgres_server import PASSWORD, running

from pipelines.errors import GoodpullError
from pipelines.mapping import database
from pipelines.mapping.declared import MappingError
from pipelines.mapping.mapping_file import mapping_of
from pipelines.store import Store


@pytest.fixture(scope="module")
def server():
    with running() as line:
        yield line


@pytest.fixture
def company(server, monkeypatch):
    """The records as tables of a company's own schema; the password in the environment."""
    monkeypatch.setenv("PGPASSWORD", PASSWORD)
    with psycopg.connect(server, autocommit=True) as con:
        con.execute("DROP SCHEMA IF EXISTS svc CASCADE")
        con.execute("CREATE SCHEMA svc")
        for table, lines in CANONICAL.items():
            spelled = ", ".join(f"{column} text" for column in lines[0].split(","))
            con.execute(f"CREATE TABLE svc.{table} ({spelled})")
            with con.cursor().copy(f"COPY svc.{table} FROM STDIN (FORMAT csv, HEADER)") as copy:
                copy.write("\n".join(lines) + "\n")
        con.execute("ALTER TABLE svc.visits ALTER arrived_at TYPE timestamptz USING (arrived_at || 'Z')::timestamptz")
    return server


def _columns(lines) -> str:
    return "\n".join(f'{column} = "{column}"' for column in lines[0].split(","))


def toml(connection: str, visits: str = "SELECT * FROM svc.visits ORDER BY visit_id", timeout: int = 60) -> str:
    blocks = [f'name = "service database"\nconfirmed = true\n[database]\nconnection = "{connection}"',
              f"timeout_seconds = {timeout}"]  # fmt: skip
    queries = {
        "visits": visits,
        "part_lines": "SELECT * FROM svc.part_lines",
        "readings": "SELECT * FROM svc.readings;",
    }
    for (table, query), lines in zip(queries.items(), (VISITS, LINES, READINGS), strict=True):
        blocks.append(
            f'[[source]]\nname = "{table}"\nquery = """{query}"""\n[[source.table]]\ntable = "{table}"\n'
            f"[source.table.columns]\n{_columns(lines)}"
        )
    return "\n".join(blocks)


def test_queries_give_the_records_of_the_canonical_files_and_again_nothing_new(desk, company, canonical, capfd):
    report = desk.load(toml(company))
    assert [(file.table_name, file.error) for file in report.files] == [(table, None) for table in CANONICAL]
    assert desk.records() == canonical()
    assert all(file.is_already_loaded for file in desk.load(toml(company)).files)
    held = [str(row) for row in desk.query('SELECT * FROM "load"')]
    kept = [path.read_bytes() for path in desk.home.rglob("*") if path.is_file()]
    assert PASSWORD not in "".join(held) + "".join(capfd.readouterr()) + repr(report)
    assert not any(PASSWORD.encode() in body for body in kept)


READS = (
    "(SELECT * FROM svc.visits WHERE visit_id < 'V3') UNION (SELECT * FROM svc.visits WHERE visit_id >= 'V3')",
    "WITH early AS (SELECT * FROM svc.visits) SELECT * FROM early",
    "(WITH v AS MATERIALIZED (TABLE svc.visits) TABLE v) ORDER BY visit_id;",
    "SELECT * FROM svc.visits ; -- as they are; all of them",
    "/* all; */ SELECT * FROM svc.visits -- the end;",
    "SELECT v.* FROM svc.visits v WHERE 'DELETE FROM x;' <> $$ ; $$ ;;",
)


@pytest.mark.parametrize("query", READS)
@pytest.mark.parametrize("most_rows", [None, 2], ids=["all rows", "some rows"])
def test_reads_in_any_dress_give_their_rows(company, query, most_rows):
    with database.fetched(mapping_of(toml(company, query)), lambda *_: None, most_rows) as ((path, error), *_):
        assert error is None
        assert path.read_text("utf-8").startswith("visit_id,site_id,")
        assert path.read_text("utf-8").count("\n") == 1 + (most_rows or 4)


@pytest.mark.parametrize("is_judged", [True, False], ids=["by its text", "by the database alone"])
@pytest.mark.parametrize(
    "query",
    [
        "DELETE FROM svc.visits",
        "/* SELECT */ DROP TABLE svc.visits",
        "WITH gone AS (DELETE FROM svc.visits RETURNING *) SELECT * FROM gone",
        "SELECT * FROM svc.visits) TO STDOUT; DROP TABLE svc.visits; COPY (SELECT 1",
        "SELECT * FROM svc.visits; COMMIT; DROP TABLE svc.visits",
        "SELECT * FROM svc.visits) TO STDOUT; COMMIT; BEGIN READ WRITE; DROP TABLE svc.visits; COMMIT; COPY (SELECT 1",
        "SELECT * FROM svc.visits) TO STDOUT; SELECT set_config('transaction_read_only', 'off', false); COPY (SELECT 1",
        "SELECT setval('svc.counter', 7)",
        "SELECT setval('svc.counter', 7), set_config('transaction_read_only', 'off', false)",
        "SELECT * INTO svc.copy FROM svc.visits",
        "SELECT * FROM svc.visits FOR UPDATE",
        "WITH more AS (INSERT INTO svc.visits SELECT * FROM svc.visits RETURNING *) SELECT * FROM more",
    ],
)
def test_a_query_that_writes_is_refused_and_nothing_is_written(desk, company, monkeypatch, query, is_judged):
    if not is_judged:
        monkeypatch.setattr(database, "one_read", lambda name, text: text)
    with psycopg.connect(company, autocommit=True) as con:
        con.execute("CREATE SEQUENCE svc.counter")
    try:
        report = desk.load(toml(company, query))
        assert report.files[0].error
    except MappingError as refused:
        assert "must be one SELECT" in str(refused) or "writes" in str(refused)
    with psycopg.connect(company) as con:
        assert con.execute("SELECT count(*) FROM svc.visits").fetchone() == (4,)
        assert con.execute("SELECT last_value, is_called FROM svc.counter").fetchone() == (1, False)
        assert con.execute("SELECT to_regclass('svc.copy')").fetchone() == (None,)


def test_all_queries_see_the_same_state_whatever_is_written_between_them(company):
    mapping = mapping_of(toml(company))
    fetch, seen = database._fetch, []

    def fetch_and_write(connection, source, *more):
        found = fetch(connection, source, *more)
        with psycopg.connect(company, autocommit=True) as con:
            con.execute("DELETE FROM svc.part_lines")
        seen.append(source.name)
        return found

    with pytest.MonkeyPatch.context() as patched:
        # The later table is emptied once the first was read; it must still be seen as it was.
        patched.setattr(database, "_fetch", fetch_and_write)
        with database.fetched(mapping, lambda *_: None) as files:
            n_lines = {path.name: path.read_text("utf-8").count("\n") for path, _ in files}
    assert seen == ["visits", "part_lines", "readings"]
    assert n_lines["part_lines (query).csv"] == len(LINES)


def test_a_slow_query_is_given_up_and_the_others_load(desk, company):
    report = desk.load(toml(company, "SELECT *, pg_sleep(30) FROM svc.visits", timeout=1))
    assert "longer than timeout_seconds" in report.files[0].error
    assert report.files[1].n_accepted == 4


def test_a_query_that_is_none_is_told_in_the_databases_words(desk, company):
    assert (
        'relation "svc.nothing" does not exist' in desk.load(toml(company, "SELECT * FROM svc.nothing")).files[0].error
    )


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
    with pytest.raises(Exception, match="ended the connection"):
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


def test_rows_are_streamed_piece_by_piece(company):
    """A million rows pass without ever being held: the process grows by less than a quarter of what passes."""
    psutil = pytest.importorskip("psutil")
    query = "SELECT g AS visit_id, repeat('x', 60) AS notes FROM generate_series(1, 1000000) g"
    mapping = mapping_of(toml(company, query).partition('[[source]]\nname = "part_lines"')[0])
    before, most = psutil.Process().memory_info().rss, 0

    def step(*_):
        nonlocal most
        most = max(most, psutil.Process().memory_info().rss)

    with database.fetched(mapping, step) as ((path, error),):
        assert error is None
        size = path.stat().st_size
    assert size > 60_000_000 and most > 0
    assert most - before < size / 4
