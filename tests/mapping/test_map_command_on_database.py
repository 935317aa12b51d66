"""`goodpull map --database` as typed, in a process of its own, against a real server started here."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import psycopg
import pytest
from postgres_server import PASSWORD, running

from pipelines.mapping.mapping_file import read_mapping
from pipelines.store import Store

QUERIES = ("calls: SELECT * FROM svc.service_call ORDER BY call_no", "items: SELECT * FROM svc.call_item")


@pytest.fixture(scope="module")
def server():
    with running() as line:
        with psycopg.connect(line, password=PASSWORD, autocommit=True) as con:
            con.execute("CREATE SCHEMA svc")
            con.execute(
                """CREATE TABLE svc.service_call AS SELECT 'C' || n AS call_no, 'L' || n % 3 AS location_id,
                'Ortiz' AS tech_no, timestamp '2025-01-05 08:00' + n * interval '1 day' AS arrival,
                'No Heat' AS call_type FROM generate_series(1, 30) n"""
            )
            con.execute(
                """CREATE TABLE svc.call_item AS SELECT 'C' || n AS call_no, 1 AS item_no, 'PS-1' AS part_no,
                'draft_switch' AS part_type, 1 AS qty FROM generate_series(1, 30) n"""
            )
        yield line


@pytest.fixture
def goodpull(tmp_path: Path):
    """Run the command in a folder of its own; how it ended, and all that it said. password: how libpq is told it."""

    def run(*words: object, password: str = "environment") -> tuple[int, str]:
        told = {key: value for key, value in os.environ.items() if not key.startswith("PG")}
        if password == "environment":
            told["PGPASSWORD"] = PASSWORD
        elif password == "file":
            file = tmp_path / "passwords"
            file.write_text(f"*:*:*:*:{PASSWORD}\n")
            file.chmod(0o600)
            told["PGPASSFILE"] = str(file)
        else:
            told |= {"PGPASSWORD": password}
        root = str(Path(__file__).parents[2])
        done = subprocess.run(
            [sys.executable, "-c", "from dashboard.commands import main; main()", *map(str, words)],
            capture_output=True, text=True, timeout=300, cwd=tmp_path, env=told | {"COLUMNS": "200", "PYTHONPATH": root},
        )  # fmt: skip
        said = " ".join((done.stdout + done.stderr).split())
        assert "Traceback" not in said
        return done.returncode, said

    return run


def asked(line: str, *queries: str) -> list[str]:
    return ["--database", line, *(word for query in queries for word in ("--query", query))]


def assert_kept_secret(folder: Path, said: str) -> None:
    assert PASSWORD not in said
    kept = [path for path in folder.rglob("*") if path.is_file() and path.name != "passwords"]
    assert kept and not [path for path in kept if PASSWORD.encode() in path.read_bytes()]


@pytest.mark.parametrize("password", ["environment", "file"])
def test_propose_confirm_load(goodpull, server, tmp_path, password):
    home, toml = tmp_path / "home", tmp_path / "database.mapping.toml"
    code, said = goodpull("map", *asked(server, *QUERIES), "--home", home, password=password)
    assert code == 0, said
    proposed = read_mapping(toml)
    assert proposed.connection == server and not proposed.is_confirmed
    assert {source.name: [table.table_name for table in source.tables] for source in proposed.sources} == {
        "calls": ["visits"], "items": ["part_lines"],
    }  # fmt: skip
    assert [source.query for source in proposed.sources] == [query.partition(": ")[2] for query in QUERIES]
    assert "30 rows = 30 accepted" in said and "--map database.mapping.toml --confirm" in said
    assert not (home / "current").exists()
    code, more = goodpull("map", "--map", toml, "--confirm", "--home", home, password=password)
    assert code == 0 and "is confirmed" in more
    code, loaded = goodpull("load", "--map", toml, "--home", home, password=password)
    assert code == 0, loaded
    con = Store(home).open_reader()
    try:
        assert con.execute("SELECT count(*) FROM delivered.visits").fetchone() == (30,)
        assert con.execute("SELECT count(*) FROM delivered.part_lines").fetchone() == (30,)
    finally:
        con.close()
    assert_kept_secret(tmp_path, said + more + loaded)


@pytest.mark.parametrize(
    "secret", [f"password={PASSWORD}", f"postgresql://owner:{PASSWORD}@db/service", f"host=db passwd={PASSWORD}"]
)
def test_a_password_in_the_line_is_refused_and_not_repeated(goodpull, tmp_path, secret):
    code, said = goodpull("map", *asked(secret, *QUERIES))
    assert code == 1 and "holds a password" in said and PASSWORD not in said
    assert not (tmp_path / "database.mapping.toml").exists()


def test_a_wrong_password_is_told_without_it(goodpull, server, tmp_path):
    code, said = goodpull("map", *asked(server, *QUERIES), password="wrong-word")
    assert code == 1 and "cannot be reached" in said and "wrong-word" not in said
    assert not (tmp_path / "database.mapping.toml").exists()


def test_a_query_that_fails_is_named_and_the_others_are_proposed(goodpull, server, tmp_path):
    code, said = goodpull(
        "map", *asked(server, *QUERIES, "more: SELECT * FROM svc.nothing"), "--home", tmp_path / "home"
    )
    assert code == 0 and 'more (query): cannot be run (relation "svc.nothing" does not exist)' in said
    assert "The database has in svc: 'call_item', 'service_call'. Put the query right." in said
    assert [source.name for source in read_mapping(tmp_path / "database.mapping.toml").sources] == ["calls", "items"]


def test_a_query_that_writes_is_refused(goodpull, server):
    code, said = goodpull("map", *asked(server, "calls: DELETE FROM svc.service_call"))
    assert code == 1 and "must be one SELECT" in said
    with psycopg.connect(server, password=PASSWORD) as con:
        assert con.execute("SELECT count(*) FROM svc.service_call").fetchone() == (30,)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ((), "Name the files of the export"),
        (("jobs.csv", "--database", "dbname=x", "--query", "v: SELECT 1"), "or a database"),
        (("--database", "dbname=x"), "No query is named"),
        (("--query", "v: SELECT 1"), "No connection is named"),
        (("--database", "dbname=x", "--query", "SELECT 1"), "belongs to no query"),
        (("--map", "mine.toml", "--database", "dbname=x"), "names its own database"),
    ],
)
def test_what_does_not_go_together_says_what_to_name(goodpull, words, told):
    code, said = goodpull("map", *words)
    assert code == 1 and told in said
