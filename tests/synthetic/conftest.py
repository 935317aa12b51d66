"""One small fleet and one of the default size, made once for all tests here."""

from __future__ import annotations

import json
from pathlib import Path
from types import SimpleNamespace

import duckdb
import pytest

from synthetic_data.generate import generate


def opened(folder: Path, kind: str = "csv") -> SimpleNamespace:
    """A connection with every table of the fleet as text views, its truth as truth_<name>, and its summary."""
    con = duckdb.connect()
    for path in sorted((folder / "records").glob(f"*.{kind}")):
        con.execute(f"CREATE VIEW \"{path.stem}\" AS SELECT * FROM read_csv('{path}', all_varchar = true)")
    for path in sorted((folder / "truth").glob("*.parquet")):
        con.execute(f"CREATE VIEW truth_{path.stem} AS SELECT * FROM '{path}'")
    summary = json.loads((folder / "truth" / "summary.json").read_text("utf-8"))
    return SimpleNamespace(con=con, summary=summary, folder=folder)


@pytest.fixture(scope="session")
def small(tmp_path_factory) -> SimpleNamespace:
    folder = tmp_path_factory.mktemp("small")
    generate(folder, seed=3, visits=20_000)
    return opened(folder)


@pytest.fixture(scope="session")
def fleet(tmp_path_factory) -> SimpleNamespace:
    folder = tmp_path_factory.mktemp("fleet")
    generate(folder, seed=1)
    return opened(folder)
