"""Lists of what was refused or corrected say of how many they are the first, and their files hold all."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from pathlib import Path

import pytest
from page_texts import assert_drawn, opened, said

from dashboard import page, record_lookups, roles
from pipelines.contract.tables import TABLES
from pipelines.loading import load

N_CORRECTIONS = 12


@pytest.fixture(scope="module")
def refused_home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A row in each table of which no cell can be read, and corrections that came with the files."""
    home = tmp_path_factory.mktemp("refused")
    for table in TABLES:
        if not table.is_entered_here:
            names = [column.name for column in table.fields]
            (home / f"{table.name}.csv").write_text(f"{','.join(names)}\n{','.join('?' for _ in names)}\n", "utf-8")
    visits = "visit_id,site_id,technician_id,arrived_at,visit_kind\nV1,S1,T1,2026-01-05,no_heat\n"
    (home / "visits.csv").write_text(visits + ",,,x,y\n", "utf-8")
    rows = ["correction_id,visit_id,corrected_field,new_value,corrected_by,corrected_at,reason"]
    rows += [
        f"C{number},V1,cause_code,hose_water,Kim,2026-02-{1 + number:02d}T10:00:00Z,seen"
        for number in range(N_CORRECTIONS)
    ]
    (home / "corrections.csv").write_text("\n".join(rows) + "\n", "utf-8")
    load(home, sorted(home.glob("*.csv")))
    return home


@pytest.fixture
def files(files: dict[str, Callable[[], bytes]], monkeypatch: pytest.MonkeyPatch) -> dict[str, Callable[[], bytes]]:
    """With every folded section open."""
    monkeypatch.setattr(page, "lazily", lambda title, key, content: content())
    return files


def n_lines(made: bytes) -> int:
    return len(list(csv.DictReader(io.StringIO(made.decode("utf-8-sig")))))


pytestmark = pytest.mark.parametrize("served_home", ["refused_home"], indirect=True)


def test_held_back_rows_and_reasons_are_counted_and_exported_whole(
    served_home: Path, files: dict[str, Callable[[], bytes]], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(record_lookups, "ROWS_LISTED", 5)
    test = opened("records")
    assert_drawn(test)
    with roles.whoever_has_the_files():
        n_reasons, n_cells = len(record_lookups.held_back_reasons()), record_lookups.n_held_back_cells()
        assert len(record_lookups.held_back_rows(7)) == 7 and len(record_lookups.held_back_rows()) == n_cells
    assert n_reasons > 25 and n_cells > 25
    text = said(test)
    assert f"Lines 1 to 25 of {n_reasons}, the most frequent first." in text
    assert f"The first 5 of {n_cells} rows; the export holds them all." in text
    assert n_lines(files["export_held_back_reasons"]()) == n_reasons
    assert n_lines(files["export_held_back"]()) == n_cells


def test_corrections_that_came_with_files_are_counted_and_exported_whole(
    served_home: Path, files: dict[str, Callable[[], bytes]], monkeypatch: pytest.MonkeyPatch
) -> None:
    test = opened("corrections")
    assert_drawn(test)
    assert "The first" not in said(test)
    monkeypatch.setattr(record_lookups, "ROWS_LISTED", 5)
    test = opened("corrections")
    assert_drawn(test)
    assert f"The first 5 of {N_CORRECTIONS} rows; the export holds them all." in said(test)
    assert n_lines(files["export_delivered_corrections"]()) == N_CORRECTIONS
