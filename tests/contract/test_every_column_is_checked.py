"""Every column of the contract, with a good cell and with each violating cell, through a real load.

The rows come from the declaration, so a column added to the contract is covered here without further work.
"""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest

from pipelines.contract.examples import either_of_rows, example_row, full_row, good_value, violations
from pipelines.contract.tables import TABLES
from pipelines.loading import load
from pipelines.store import Store

TABLE_PARAMETERS = [pytest.param(table, id=table.name) for table in TABLES]


def good_rows(table):
    """One full row, and for each column one row with that column filled."""
    rows = [full_row(table, 1)]
    for number, entry in enumerate(table.fields, start=2):
        rows.append(example_row(table, entry.name, good_value(entry, number), number))
    return rows


def bad_rows(table):
    """(column, reason, row) for each violating cell; for a group of which one must be filled, its columns."""
    cases = []
    for entry in table.fields:
        spaces = [("   ", "missing_required")] if entry.is_required and entry.name not in table.key else []
        for text, reason in violations(entry) + spaces:
            cases.append((entry.name, reason, example_row(table, entry.name, text, 1000 + len(cases))))
    for group, row in zip(table.either_of, either_of_rows(table, 9000), strict=True):
        cases.append((group, "either_of_missing", row))
    return cases


def write(folder: Path, table, rows) -> None:
    with (folder / f"{table.name}.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, [entry.name for entry in table.fields])
        writer.writeheader()
        writer.writerows(rows)


def loaded(folder: Path, rows_of):
    records = folder / "records"
    records.mkdir()
    for table in TABLES:
        write(records, table, rows_of(table))
    report = load(folder / "home", [records])
    assert not [file.error for file in report.files if file.error]
    return Store(folder / "home").open_reader(), {file.table_name: file for file in report.files}


@pytest.fixture(scope="module")
def good(tmp_path_factory):
    return loaded(tmp_path_factory.mktemp("good"), good_rows)


@pytest.fixture(scope="module")
def bad(tmp_path_factory):
    return loaded(tmp_path_factory.mktemp("bad"), lambda table: [row for _, _, row in bad_rows(table)])


@pytest.mark.parametrize("table", TABLE_PARAMETERS)
def test_good_cells_are_accepted_and_stored(good, table):
    con, files = good
    held = con.execute(
        "SELECT column_name, got, reason_code FROM held_back WHERE table_name = ?", [table.name]
    ).fetchall()
    assert held == []
    assert files[table.name].n_accepted == files[table.name].n_rows == len(table.fields) + 1
    for entry in table.fields:
        filled = con.execute(f'SELECT count("{entry.stored_name}") FROM delivered.{table.name}').fetchone()[0]
        needed = sum(bool(row[entry.name]) for row in good_rows(table))
        assert filled == needed, f"{entry.name}: {needed} cells were delivered, {filled} are in the store"


@pytest.mark.parametrize("table", TABLE_PARAMETERS)
def test_violating_cells_hold_their_row_back_with_the_reason(bad, table):
    con, files = bad
    cases = bad_rows(table)
    report = files[table.name]
    assert (report.n_rows, report.n_accepted, report.n_duplicates) == (len(cases), 0, 0)
    assert report.n_held_back == len(cases), "a bad cell holds back its row"
    found: dict[int, set[tuple[str, str]]] = {}
    for row_no, column, reason in con.execute(
        "SELECT row_no, column_name, reason_code FROM held_back WHERE table_name = ? ORDER BY row_no", [table.name]
    ).fetchall():
        found.setdefault(row_no, set()).add((column, reason))
    assert len(found) == len(cases)
    wrong = []
    for (column, reason, row), reasons in zip(cases, found.values(), strict=True):
        if isinstance(column, tuple):
            is_right = {code for _, code in reasons} == {reason}
        else:
            is_right = reasons == {(column, reason)}
        if not is_right:
            cell = row.get(column, "") if isinstance(column, str) else ""
            wrong.append(f"{column} = {cell[:30]!r}: wanted {reason}, got {sorted(map(str, reasons))}")
    assert not wrong, "\n".join(wrong)


@pytest.mark.parametrize("table", TABLE_PARAMETERS)
def test_what_was_held_back_is_kept_whole(bad, table):
    con, _ = bad
    wanted = [row for _, _, row in bad_rows(table)]
    kept = con.execute(
        "SELECT DISTINCT ON (row_no) row_no, raw, reason FROM held_back WHERE table_name = ? ORDER BY row_no",
        [table.name],
    ).fetchall()
    for (_, raw, reason), row in zip(kept, wanted, strict=True):
        assert reason
        assert {name: text or "" for name, text in json.loads(raw).items()} == row
