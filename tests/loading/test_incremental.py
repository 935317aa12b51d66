"""Records brought in week by week give the same store as all of them at once."""

from __future__ import annotations

from pathlib import Path

import duckdb
import pytest

from pipelines import loading
from pipelines.contract.ddl import stored_columns
from pipelines.contract.tables import TABLES
from pipelines.loading import load
from pipelines.store import Store
from synthetic_data.generate import generate


@pytest.fixture(scope="module")
def fleet(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("fleet")
    generate(folder, seed=3, visits=2000)
    return folder / "records"


def split(records: Path, folder: Path) -> list[Path]:
    """The records in two deliveries: the last visits and what belongs to them come second."""
    parts = [folder / "first", folder / "second"]
    for part in parts:
        part.mkdir()
    con = duckdb.connect()
    read = "read_csv(?, all_varchar = true, header = true, delim = ',', quote = '\"', escape = '\"', auto_detect = false, columns = {})"
    for path in sorted(records.glob("*.csv")):
        header = path.open(encoding="utf-8").readline().strip().split(",")
        source = read.format("{" + ", ".join(f"'{column}': 'VARCHAR'" for column in header) + "}")
        for part, is_late in zip(parts, ("NOT", ""), strict=True):
            if "visit_id" not in header:
                if part == parts[0]:
                    (part / path.name).write_bytes(path.read_bytes())
                continue
            late = f"{is_late} coalesce(hash(visit_id) % 60 = 0, false)"
            con.execute(f"COPY (SELECT * FROM {source} WHERE {late}) TO '{part / path.name}' (HEADER)", [str(path)])
    return parts


def contents(home: Path, relation: str, columns: str) -> list[tuple]:
    con = Store(home).open_reader()
    try:
        return con.execute(f"SELECT {columns} FROM {relation} ORDER BY ALL").fetchall()
    finally:
        con.close()


def test_two_deliveries_give_the_records_and_facts_of_one(fleet, tmp_path, monkeypatch):
    builds = []
    whole = loading.build.build
    monkeypatch.setattr(loading.build, "build", lambda *given: builds.append(whole(*given)))
    once, twice = tmp_path / "once", tmp_path / "twice"
    load(once, [fleet])
    for part in split(fleet, tmp_path):
        for file in load(twice, [part]).files:
            assert file.error is None
            assert file.n_rows == file.n_accepted + file.n_held_back + file.n_duplicates
    assert [build.is_incremental for build in builds] == [False, False, True], "the second delivery remakes few sites"
    for table in TABLES:
        columns = ", ".join(f'"{column}"' for column, _ in stored_columns(table) if column not in ("load_id", "row_no"))
        for schema in ("delivered", "delivered_history"):
            relation = f"{schema}.{table.name}"
            assert contents(twice, relation, columns) == contents(once, relation, columns), relation
    for fact in ("visit", "swap", "draft_fault", "callback", "swap_case", "week_summary"):
        assert contents(twice, fact, "*") == contents(once, fact, "*"), fact


def test_loading_a_fleet_in_pieces_in_any_order_keeps_every_row(fleet, tmp_path):
    parts = split(fleet, tmp_path)
    home = tmp_path / "home"
    reports = [load(home, [part]) for part in reversed(parts)]
    n_rows = sum(file.n_rows for report in reports for file in report.files)
    con = Store(home).open_reader()
    counted = con.execute('SELECT sum(n_rows), sum(n_accepted + n_held_back + n_duplicates) FROM "load"').fetchone()
    con.close()
    assert counted == (n_rows, n_rows)
