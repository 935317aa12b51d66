"""Loading of a few rows at a time, without the facts: they have tests of their own and take longer than the load."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from pipelines import loading
from pipelines.given_relations import write_given
from pipelines.intake.report import FileReport, LoadReport
from pipelines.store import Store

HEADER = "visit_id,site_id,technician_id,arrived_at,visit_kind,notes"


def visit(number: int, notes: str = "fine", kind: str = "no_heat", arrived: str = "2024-01-05T08:00:00") -> str:
    """One row under HEADER."""
    return f"V{number},S1,T1,{arrived},{kind},{notes}"


@dataclass
class Desk:
    """A home and a folder of files to load into it."""

    folder: Path

    @property
    def home(self) -> Path:
        return self.folder / "home"

    def write(self, name: str, body: str | bytes, encoding: str = "utf-8") -> Path:
        path = self.folder / name
        path.write_bytes(body if isinstance(body, bytes) else body.encode(encoding))
        return path

    def load(self, *paths: Path, **more) -> LoadReport:
        report = loading.load(self.home, list(paths), **more)
        for file in report.files:
            assert file.n_rows == file.n_accepted + file.n_held_back + file.n_duplicates, file
        return report

    def load_text(self, name: str, body: str | bytes, encoding: str = "utf-8", **more) -> FileReport:
        (file,) = self.load(self.write(name, body, encoding), **more).files
        return file

    def rows(self, query: str) -> list[tuple]:
        con = Store(self.home).open_reader()
        try:
            return con.execute(query).fetchall()
        finally:
            con.close()

    def reasons(self) -> list[tuple]:
        return self.rows("SELECT line_no, reason_code, reason FROM held_back ORDER BY load_id, line_no, row_no")


@pytest.fixture
def without_facts(monkeypatch: pytest.MonkeyPatch) -> list[tuple]:
    """The build is left out; what it was asked for is kept."""
    asked: list[tuple] = []

    def build(con, settings, changes=None, progress=None):
        write_given(con, settings)
        sites = None
        if changes is not None:
            sites = {row[0] for row in con.execute(f"SELECT site_id FROM {changes.sites}").fetchall()}
        asked.append((changes, sites))

    monkeypatch.setattr(loading.build, "build", build)
    return asked


@pytest.fixture
def desk(tmp_path: Path, without_facts: list[tuple]) -> Desk:
    return Desk(tmp_path)


Lines = Callable[..., str]


@pytest.fixture
def table() -> Lines:
    """Rows under HEADER as the text of a file."""
    return lambda *rows, header=HEADER: "\n".join([header, *rows]) + "\n"


@pytest.fixture
def row() -> Callable[..., str]:
    return visit
