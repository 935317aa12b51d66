"""Mended rows into a generation, as a load of their own; and out of it again where the mending was taken back."""

from __future__ import annotations

import csv
import tempfile
from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import duckdb

from pipelines.contract.ddl import stored_columns
from pipelines.contract.tables import TABLE_BY_NAME
from pipelines.held_back_keys import KEYED
from pipelines.intake.report import FileReport
from pipelines.intake.session import LoadSession
from pipelines.intake.settling import TAKEN_BACK
from pipelines.intake.sql_text import count, name
from pipelines.own_work import Kept
from pipelines.settings import Settings


def load_mended(
    con: duckdb.DuckDBPyConnection, in_force: Iterable[Kept], settings: Settings, scratch: Path
) -> tuple[list[int], list[FileReport]]:
    """Load the mended rows whose originals are held back here and that were not loaded before.

    One whose original was replaced by a later version stays out: it would take the place of what is newer. Rows of a file
    that is refused are tried again with the next load.
    """
    latest = {kept.entry.about: kept for kept in in_force if kept.entry.kind == "mended_row"}
    if not latest:
        return [], []
    known = {key for (key,) in con.execute(f"SELECT DISTINCT row_key FROM ({KEYED})").fetchall()}
    settled = con.execute("SELECT row_key, outcome, entry_id FROM held_back_settled").fetchall()
    known -= {key for key, outcome, _ in settled if outcome == "replaced"}
    done = {entry for _, _, entry in settled}
    due = [kept for key, kept in latest.items() if key in known and kept.entry.entry_id not in done]
    if not due:
        return [], []
    read_as = [replace(settings, **kept.entry.content.get("read_as", {})) for kept in due]
    load_ids: list[int] = []
    reports: list[FileReport] = []
    for own_settings in dict.fromkeys(read_as):
        alike = [kept for kept, other in zip(due, read_as, strict=True) if other == own_settings]
        more_ids, more = _load_alike(con, alike, own_settings, scratch)
        load_ids += more_ids
        reports += more
    return load_ids, reports


def _load_alike(
    con: duckdb.DuckDBPyConnection, due: Sequence[Kept], settings: Settings, scratch: Path
) -> tuple[list[int], list[FileReport]]:
    """Load mended rows whose cells are read with the same settings."""
    with tempfile.TemporaryDirectory(prefix=".landing-", dir=scratch) as folder:
        # Mended as once before, with that taken back since, the file is the same and must come in again.
        today = datetime.now(UTC).date()
        session = LoadSession(con, settings, Path(folder), today, is_every_file_new=True)
        files = _files(due, Path(folder))
        session.read([(path, None) for path, _ in files], lambda sentence, share: None)
        load_ids = session.finish()
    of_loads = iter(load_ids)
    for report, (_, rows) in zip(session.reports, files, strict=True):
        if report.error is None:
            load_id = next(of_loads)
            con.executemany(
                "INSERT INTO held_back_settled VALUES (?, 'mended', ?, ?, ?)",
                [[kept.entry.about, kept.entry.entry_id, load_id, row_no] for row_no, kept in enumerate(rows, 1)],
            )
    return load_ids, session.reports


def _files(due: Sequence[Kept], folder: Path) -> list[tuple[Path, list[Kept]]]:
    """The mended rows as files, one a table and set of columns, each with the entries in it."""
    groups: dict[tuple[str, tuple[str, ...]], list[Kept]] = {}
    for kept in due:
        groups.setdefault((kept.entry.content["table"], tuple(kept.entry.content["row"])), []).append(kept)
    files = []
    for number, ((table, columns), entries) in enumerate(groups.items(), 1):
        rows = [kept.entry.content["row"] for kept in entries]
        path = folder / f"{table}_mended_{number}.csv"
        with path.open("w", encoding="utf-8", newline="") as file:
            writer = csv.writer(file, quoting=csv.QUOTE_ALL)
            writer.writerow(columns)
            writer.writerows([[row[column] for column in columns] for row in rows])
        files.append((path, entries))
    return files


def take_back_mended(con: duckdb.DuckDBPyConnection, every: Iterable[Kept]) -> int:
    """Take rows whose mending was undone out of force, and what they replaced back into it; how many.

    They go to the history as TAKEN_BACK, and are held back again. The newest go first: what one of them replaced may be
    another.
    """
    undone = {kept.entry.entry_id: kept for kept in every if kept.entry.kind == "mended_row" and not kept.is_in_force}
    found = con.execute(
        "SELECT entry_id, load_id, row_no FROM held_back_settled WHERE outcome = 'mended' AND load_id IS NOT NULL "
        "ORDER BY load_id DESC, row_no DESC"
    ).fetchall()
    due = [(entry_id, load_id, row_no) for entry_id, load_id, row_no in found if entry_id in undone]
    for entry_id, load_id, row_no in due:
        _take_back(con, undone[entry_id].entry.content["table"], load_id, row_no)
        con.execute("DELETE FROM held_back_settled WHERE entry_id = ?", [entry_id])
    return len(due)


def _take_back(con: duckdb.DuckDBPyConnection, table_name: str, load_id: int, row_no: int) -> None:
    """One row out of force, or out of the versions that were: what it replaced takes its place."""
    table = TABLE_BY_NAME[table_name]
    delivered, history = f"delivered.{name(table_name)}", f"delivered_history.{name(table_name)}"
    columns = ", ".join(name(column) for column, _ in stored_columns(table))
    keys = [name(table.by_name[column].stored_name) for column in table.key]
    is_it = f"load_id = {int(load_id)} AND row_no = {int(row_no)}"
    con.execute(
        f"""CREATE OR REPLACE TEMP TABLE taken_back AS
            SELECT {columns}, NULL::INTEGER AS replaced_by_load_id FROM {delivered} WHERE {is_it}
            UNION ALL SELECT {columns}, replaced_by_load_id FROM {history} WHERE {is_it}"""
    )
    same = " AND ".join(f"h.{key} = r.{key}" for key in keys)
    con.execute(
        f"""CREATE OR REPLACE TEMP TABLE replaced_by_it AS
            SELECT h.rowid AS place FROM {history} AS h, taken_back AS r
            WHERE {same} AND h.replaced_by_load_id = {int(load_id)} ORDER BY h.load_id DESC, h.row_no DESC LIMIT 1"""
    )
    earlier = "rowid IN (SELECT place FROM replaced_by_it)"
    if count(con, f"SELECT count(*) FROM {delivered} WHERE {is_it}"):
        con.execute(f"DELETE FROM {delivered} WHERE {is_it}")
        con.execute(f"INSERT INTO {delivered} ({columns}) SELECT {columns} FROM {history} WHERE {earlier}")
        con.execute(f"DELETE FROM {history} WHERE {earlier}")
    else:
        # Replaced since: what it replaced was replaced by the same.
        con.execute(
            f"UPDATE {history} SET replaced_by_load_id = (SELECT replaced_by_load_id FROM taken_back LIMIT 1) WHERE {earlier}"
        )
        con.execute(f"DELETE FROM {history} WHERE {is_it}")
    con.execute(
        f"INSERT INTO {history} ({columns}, replaced_by_load_id) SELECT {columns}, {TAKEN_BACK} FROM taken_back"
    )
    for made in ("taken_back", "replaced_by_it"):
        con.execute(f"DROP TABLE {made}")
