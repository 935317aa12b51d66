"""A PostgreSQL database, read only, against a real server started here."""

from __future__ import annotations

import psycopg
import pytest
from company_database import toml
from foreign_company import CANONICAL, LINES
from postgres_server import PASSWORD

from pipelines.mapping import database
from pipelines.mapping.declared import MappingError
from pipelines.mapping.mapping_file import mapping_of


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
        assert report.files[0].error and not report.is_changed
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
