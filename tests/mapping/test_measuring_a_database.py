"""The measurement of a database measures what it promises: every row read is a row stored."""

from __future__ import annotations

import sys
from datetime import UTC, datetime
from pathlib import Path

import psycopg
import pytest

ROOT = Path(__file__).parents[2]


@pytest.fixture
def measuring(monkeypatch):
    """The module, which stands in a folder of scripts."""
    monkeypatch.syspath_prepend(str(ROOT / "tests" / "bench"))
    monkeypatch.setenv("PYTHONPATH", str(ROOT))
    for name in ("measure", "measure_mapping"):
        monkeypatch.delitem(sys.modules, name, raising=False)
    import measure_mapping

    yield measure_mapping
    for name in ("measure", "measure_mapping"):
        sys.modules.pop(name, None)


def test_the_last_of_the_rows_it_reads_by_default_lies_in_the_past(measuring, company):
    with psycopg.connect(company) as con:
        last = con.execute(f"SELECT timestamp '2020-01-01' + 5000000 * interval '{measuring.VISIT_EVERY}'").fetchone()[
            0
        ]
    assert last.replace(tzinfo=UTC) < datetime(2025, 1, 1, tzinfo=UTC)
    assert f"interval '{measuring.VISIT_EVERY}'" in measuring.mapping_of_database(company, 5)


def test_it_fails_where_rows_are_held_back(measuring, company, tmp_path, monkeypatch, capsys):
    for name in ("past", "future"):
        (tmp_path / name).mkdir()
    assert measuring.measure(tmp_path / "past", measuring.mapping_of_database(company, 50), [], False)
    assert "50 rows = 50 accepted + 0 held back" in capsys.readouterr().out
    monkeypatch.setattr(measuring, "VISIT_EVERY", "1 year")
    with pytest.raises(RuntimeError, match="n_held_back="):
        measuring.measure(tmp_path / "future", measuring.mapping_of_database(company, 50), [], False)
