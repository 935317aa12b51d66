"""A small company in canonical form, and the same records in the habits of companies that never saw the contract."""

from __future__ import annotations

import csv
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from pipelines import loading
from pipelines.mapping.mapping_file import mapping_of
from pipelines.store import Store

sys.path.insert(0, str(Path(__file__).parent))

from company_database import fill
from foreign_company import CANONICAL
from postgres_server import PASSWORD, running


class Desk:
    """A home and a folder; loads through a mapping and shows what was accepted, without the facts."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.home = folder, folder / "home"

    def write(self, name: str, header: list[str], rows: list[list], delimiter: str = ",") -> Path:
        path = self.folder / name
        with path.open("w", newline="", encoding="utf-8") as file:
            csv.writer(file, delimiter=delimiter).writerows([header, *rows])
        return path

    def load(self, toml: str, *paths: Path, **more) -> loading.LoadReport:
        report = loading.load(self.home, list(paths), mapping=mapping_of(toml), **more)
        for file in report.files:
            assert file.n_rows == file.n_accepted + file.n_held_back + file.n_duplicates, file
        return report

    def query(self, query: str) -> list[tuple]:
        con = Store(self.home).open_reader()
        try:
            return con.execute(query).fetchall()
        finally:
            con.close()

    def records(self, *tables: str) -> dict[str, list[tuple]]:
        """The rows in force, without the load they came with."""
        return {
            table: self.query(f"SELECT * EXCLUDE (load_id, row_no) FROM delivered.{table} ORDER BY ALL")
            for table in tables or CANONICAL
        }


@pytest.fixture(autouse=True)
def without_facts(monkeypatch: pytest.MonkeyPatch) -> None:
    """The build has tests of its own and takes longer than a load."""
    monkeypatch.setattr(loading.build, "build", lambda con, settings, *_: loading.build.write_given(con, settings))


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    return Desk(tmp_path)


@pytest.fixture
def canonical(tmp_path: Path) -> Callable[..., dict[str, list[tuple]]]:
    """What the canonical files give."""

    def load(**more) -> dict[str, list[tuple]]:
        desk = Desk(tmp_path / "canonical")
        desk.folder.mkdir()
        for table, lines in CANONICAL.items():
            (desk.folder / f"{table}.csv").write_text("\n".join(lines) + "\n", "utf-8")
        paths = [desk.folder / f"{table}.csv" for table in CANONICAL]
        loading.load(desk.home, paths, **more)
        return desk.records()

    return load


@pytest.fixture(scope="session")
def server() -> Iterator[str]:
    with running() as line:
        yield line


@pytest.fixture
def company(server: str, monkeypatch: pytest.MonkeyPatch) -> str:
    """The records as tables of a company's own schema; the password in the environment."""
    monkeypatch.setenv("PGPASSWORD", PASSWORD)
    fill(server)
    return server
