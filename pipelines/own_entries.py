"""Entering things: each is judged first, then kept durably. What is refused is told with the reason and is not kept."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

import duckdb

from pipelines.contract.reasons import WHAT_NEXT
from pipelines.contract.tables import TABLE_BY_NAME
from pipelines.entry_checks import accepted, correction_problem
from pipelines.identity_decisions import is_technician
from pipelines.intake.ledger import settings_read_with
from pipelines.mended_keys import key_taken
from pipelines.own_work import Entry, OwnWork, OwnWorkError, new_id, now_text
from pipelines.settings import Settings

# Cells of a row that could not be taken apart; it is mended by filling in the columns of its table.
_WHOLE_ROW = ("row", "fields")
# Before the id of a session entered here: the company's own numbering, in its files, never meets it.
SESSION_PREFIX = "entered:"


@dataclass(frozen=True)
class HeldRow:
    """One row held back. cells: as delivered. reasons: column -> the sentence of the refusal.

    read_with: what the ledger knows its file by, with the time zone and unit its cells were read with.
    """

    row_key: str
    table: str
    file_name: str
    line_no: int | None
    cells: dict[str, str]
    reasons: dict[str, str]
    read_with: str = ""

    @property
    def is_apart(self) -> bool:
        """Whether its cells could be told apart."""
        return not set(self.cells) <= set(_WHOLE_ROW)

    @property
    def columns(self) -> list[str]:
        """The columns it can be mended in: those of its file, or of its table where it could not be taken apart."""
        if not self.is_apart:
            return [entry.name for entry in TABLE_BY_NAME[self.table].fields]
        return list(self.cells)

    def mended(self, changes: Mapping[str, str]) -> dict[str, str]:
        """The row with some cells changed."""
        return {column: changes.get(column, self.cells.get(column, "")) for column in self.columns}


def enter_correction(
    con: duckdb.DuckDBPyConnection,
    own: OwnWork,
    settings: Settings,
    visit_id: str,
    field: str,
    value: str,
    reason: str,
    entered_by: str,
    entry_id: str | None = None,
) -> Entry:
    """Keep a correction. con: the generation in force. field: one of the contract's corrected_field.

    value: as the contract says; part_class and bench_result may name a line or a tag: "2:hose", "T-17:good".
    Raises OwnWorkError when it is not allowed or cannot be kept.
    """
    if not value.strip():
        raise OwnWorkError("The value is blank; choose what holds instead. To take a correction back, undo it.")
    key = entry_id or new_id()
    cells = {
        "correction_id": key,
        "visit_id": visit_id,
        "corrected_field": field,
        "new_value": value,
        "reason": reason,
        "corrected_by": entered_by,
        "corrected_at": now_text(),
    }
    stored = _stored(settings, "corrections", cells)
    problem = correction_problem(con, stored)
    if problem:
        raise OwnWorkError(f"{problem} Nothing was entered.")
    return _kept(own, Entry("correction", visit_id, {"stored": stored}, entered_by, reason, key))


def enter_bench_test(
    own: OwnWork, settings: Settings, cells: Mapping[str, str], entered_by: str, entry_id: str
) -> Entry:
    """Keep a bench test. cells: columns of the contract's bench_tests as typed, without bench_test_id and tester_id.

    Raises OwnWorkError when acceptance would hold it back or it cannot be kept.
    """
    whole = {**cells, "bench_test_id": entry_id, "tester_id": entered_by}
    stored = _stored(settings, "bench_tests", whole)
    about = stored["removed_tag"] or stored["visit_id"]
    content = {"stored": stored, "typed": dict(whole)}
    return _kept(own, Entry("bench_test", about, content, entered_by, stored["remark"] or "", entry_id))


def enter_coaching_session(
    con: duckdb.DuckDBPyConnection,
    own: OwnWork,
    settings: Settings,
    cells: Mapping[str, str],
    entered_by: str,
    entry_id: str | None = None,
) -> Entry:
    """Keep a coaching session. con: the generation in force. cells: columns of the contract's coaching_sessions as typed,
    without session_id; a blank coach_id means that who enters it coached.

    Raises OwnWorkError when acceptance would hold it back, nobody on record was coached, its day is still to come, or it
    cannot be kept.
    """
    key = entry_id or new_id()
    coach = cells.get("coach_id", "").strip() or entered_by
    stored = _stored(settings, "coaching_sessions", {**cells, "session_id": session_id_of(key), "coach_id": coach})
    about = stored["technician_id"]
    if not is_technician(con, about):
        raise OwnWorkError(f"technician_id is {about}; no such technician is on record. Nothing was entered.")
    # A file may be a day ahead, since it may come from another time zone; who types is in the company's.
    if date.fromisoformat(stored["held_on"]) > today(settings):
        raise OwnWorkError(f"held_on is {stored['held_on']}, a day still to come. Enter it once it was held.")
    return _kept(own, Entry("coaching_session", about, {"stored": stored}, entered_by, stored["remark"] or "", key))


def session_id_of(entry_id: str) -> str:
    """The id under which the records keep a session that was entered here."""
    return f"{SESSION_PREFIX}{entry_id}"


def today(settings: Settings) -> date:
    """The day it is in the company."""
    return datetime.now(ZoneInfo(settings.time_zone)).date()


def mend_rows(
    con: duckdb.DuckDBPyConnection,
    own: OwnWork,
    settings: Settings,
    rows: Sequence[HeldRow],
    changes: Mapping[str, str],
    reason: str,
    entered_by: str,
) -> int:
    """Keep rows held back with some cells changed, to be loaded; all or none. How many.

    con: the generation in force. changes: column as delivered -> the cell instead. Raises OwnWorkError naming what acceptance
    would still refuse, or whose place a row would take.
    """
    if not rows:
        raise OwnWorkError("No such row is held back. See them with: goodpull held-back rows")
    unknown = sorted({column for column in changes for row in rows if column not in row.columns})
    if unknown:
        raise OwnWorkError(
            f"{', '.join(unknown)}: no column of that row; it has {', '.join(rows[0].columns)}. Nothing was changed."
        )
    entries = []
    waiting = [kept for kept in own.entries("mended_row") if kept.is_in_force]
    shapes = [(tuple(row.columns), settings_read_with(row.read_with, settings)) for row in rows]
    for shape in dict.fromkeys(shapes):
        alike = [row for row, own_shape in zip(rows, shapes, strict=True) if own_shape == shape]
        mended = [row.mended(changes) for row in alike]
        read_with = shape[1]
        all_judged = accepted(read_with, alike[0].table, mended)
        for row, cells, judged in zip(alike, mended, all_judged, strict=True):
            if not judged.is_accepted:
                place = f"{row.file_name} line {row.line_no}: " if row.line_no else f"{row.file_name}: "
                raise OwnWorkError(f"{place}{' '.join(judged.reasons.values())} Nothing was changed.")
            # As its file was read, whatever holds in the company by the time it is loaded.
            read_as = {"time_zone": read_with.time_zone, "default_pressure_unit": read_with.default_pressure_unit}
            content = {"table": row.table, "row": cells, "was": row.cells, "read_as": read_as}
            entries.append(Entry("mended_row", row.row_key, content, entered_by, reason))
        taken = key_taken(con, waiting, alike, changes, all_judged)
        if taken is not None:
            raise OwnWorkError(taken)
    return own.add(entries)


def dismiss_rows(own: OwnWork, rows: Sequence[HeldRow], reason: str, entered_by: str) -> int:
    """Say that rows held back are not wanted, and why; they are kept and can be taken up again. How many."""
    if not rows:
        raise OwnWorkError("No such row is held back. See them with: goodpull held-back rows")
    there = {kept.entry.about for kept in own.entries("dismissed_row") if kept.is_in_force}
    entries = [
        Entry("dismissed_row", row.row_key, {"table": row.table, "was": row.cells}, entered_by, reason)
        for row in rows
        if row.row_key not in there
    ]
    return own.add(entries)


def held_rows(
    con: duckdb.DuckDBPyConnection, condition: str = "true", bound: Sequence[Any] = (), limit: int = 10_000
) -> list[HeldRow]:
    """Rows held back and still open, one each however often it was delivered.

    condition: SQL on held_back_open that some cell of the row must fulfil; bound: its values.
    """
    found = con.execute(
        f"""SELECT row_key, any_value(table_name), min(file_name), min(line_no), CAST(any_value(raw) AS VARCHAR),
                list(DISTINCT [coalesce(column_name, ''), reason] ORDER BY [coalesce(column_name, ''), reason]),
                max_by(file_digest, load_id)
            FROM held_back_open LEFT JOIN (SELECT load_id, file_digest FROM "load") USING (load_id)
            WHERE row_key IN (SELECT row_key FROM held_back_open WHERE {condition})
            GROUP BY row_key ORDER BY min(load_id), min(coalesce(row_no, line_no)) LIMIT {int(limit)}""",
        list(bound),
    ).fetchall()
    return [
        HeldRow(
            key,
            table,
            file_name,
            line_no,
            {column: "" if cell is None else str(cell) for column, cell in json.loads(raw).items()},
            {column: said.removesuffix(WHAT_NEXT).strip() for column, said in reasons},
            read_with or "",
        )
        for key, table, file_name, line_no, raw, reasons, read_with in found
    ]


def _stored(settings: Settings, table: str, cells: Mapping[str, str]) -> dict[str, Any]:
    judged = accepted(settings, table, [cells])[0]
    if judged.stored is None:
        raise OwnWorkError(f"{' '.join(judged.reasons.values())} Nothing was entered.")
    return judged.stored


def _kept(own: OwnWork, entry: Entry) -> Entry:
    """Keep it; sent twice (the same id, the same content but for the time) it is there once, as it was first."""
    for kept in own.entries(entry.kind, about=entry.about):
        if kept.entry.entry_id == entry.entry_id and _timeless(kept.entry) == _timeless(entry):
            return kept.entry
    own.add([entry])
    return entry


def _timeless(entry: Entry) -> dict[str, Any]:
    return {name: value for name, value in entry.content["stored"].items() if name != "corrected_at"}
