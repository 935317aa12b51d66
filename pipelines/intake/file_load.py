"""One table of text into the delivered records: judged, merged, the rest held back with reasons."""

from __future__ import annotations

import time
from dataclasses import dataclass, field
from datetime import date

import duckdb

from pipelines.contract.fields import Table
from pipelines.contract.reasons import REASONS, WHAT_NEXT
from pipelines.intake.accept import Acceptance, name, text
from pipelines.intake.file_kinds import IntakeError
from pipelines.intake.headers import Columns, sort_columns
from pipelines.intake.landing import Landed
from pipelines.intake.merging import merge
from pipelines.settings import Settings


@dataclass(frozen=True)
class FileReport:
    """What became of one file (or sheet). n_rows = n_accepted + n_held_back + n_duplicates, always.

    n_revised: accepted rows that replaced an older version of the same key. reasons: sentence of a reason -> cells.
    messages: what a person should know. error: why nothing was loaded from it, else None.
    """

    file_name: str
    table_name: str | None = None
    n_rows: int = 0
    n_accepted: int = 0
    n_revised: int = 0
    n_held_back: int = 0
    n_duplicates: int = 0
    dropped_columns: tuple[str, ...] = ()
    unknown_columns: tuple[str, ...] = ()
    delimiter: str | None = None
    encoding: str | None = None
    seconds: float = 0.0
    reasons: dict[str, int] = field(default_factory=dict)
    messages: tuple[str, ...] = ()
    error: str | None = None
    is_already_loaded: bool = False


def load_table(
    con: duckdb.DuckDBPyConnection, landed: Landed, digest: str, load_id: int, settings: Settings, today: date
) -> FileReport:
    """Load one landed table under `load_id`, and write its line in the ledger.

    Raises IntakeError when a required column is missing.
    """
    started = time.perf_counter()
    table = landed.header.table
    columns = sort_columns(table, landed.columns)
    if columns.missing:
        raise IntakeError(_missing(table, columns))
    acceptance = Acceptance(table, columns.known, settings, today)
    n_spoiled = _hold_back_spoiled(con, landed, table, load_id)
    merged = merge(con, acceptance, landed.relation, load_id)
    n_held = landed.n_rows - merged.n_accepted - merged.n_duplicates
    n_judged = n_held - n_spoiled
    if n_judged:
        _hold_back(con, acceptance, landed, load_id)
        _check_arithmetic(con, load_id, n_held)
    reasons = dict(
        con.execute(
            """SELECT column_name || ': ' || reason_code, count(*) FROM held_back WHERE load_id = ?
               GROUP BY ALL ORDER BY ALL""",
            [load_id],
        ).fetchall()
    )
    report = FileReport(
        landed.name,
        table.name,
        landed.n_rows,
        merged.n_accepted,
        merged.n_revised,
        n_held,
        merged.n_duplicates,
        tuple(columns.personal),
        tuple(columns.unknown),
        landed.delimiter,
        landed.encoding,
        time.perf_counter() - started,
        reasons,
        tuple(_messages(con, landed, table, columns, load_id)),
    )
    con.execute(
        'INSERT INTO "load" VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)',
        [
            load_id,
            _now(con),
            landed.name,
            digest,
            table.name,
            report.n_rows,
            report.n_accepted,
            report.n_revised,
            report.n_held_back,
            report.n_duplicates,
            list(columns.personal),
            list(columns.unknown),
            landed.delimiter,
            landed.encoding,
            report.seconds,
        ],
    )
    return report


def _now(con: duckdb.DuckDBPyConnection) -> object:
    row = con.execute("SELECT timezone('UTC', now())").fetchone()
    return row[0] if row else None


def _missing(table: Table, columns: Columns) -> str:
    lacking = ", ".join(columns.missing)
    hints = [f"{column!r} looks like {near}" for column, near in columns.unknown.items() if near in columns.missing]
    hint = f" ({'; '.join(hints)}: rename it)" if hints else ""
    there = ", ".join(columns.known.values()) or "none that is known"
    return (
        f"lacks the required column {lacking} of the table {table.name}{hint}. It has: {there}. Add or rename the column "
        "and load the file again; nothing was loaded from it."
    )


def _line(landed: Landed) -> str:
    """SQL of the line a row begins on, from its row number `rn`; rows over several lines shift those after them."""
    return f"rn + {landed.line_of_first - 1}"


def _place(landed: Landed) -> str:
    word = "row" if landed.has_line_breaks else "line"
    return f"{text(landed.name + ' ' + word + ' ')} || ({_line(landed)})"


def _hold_back(con: duckdb.DuckDBPyConnection, acceptance: Acceptance, landed: Landed, load_id: int) -> None:
    table = acceptance.table
    con.execute(
        f"""CREATE OR REPLACE TEMP TABLE bad AS SELECT v.*, to_json(raw) AS raw_row
            FROM ({acceptance.values_sql(landed.relation)}) AS v JOIN {landed.relation} AS raw ON raw.rowid = v.rn - 1
            WHERE {acceptance.is_bad_sql()}"""
    )
    for column, code, cell in acceptance.findings():
        found = con.execute(f"SELECT DISTINCT {code} FROM bad WHERE {code} IS NOT NULL ORDER BY 1").fetchall()
        for (reason_code,) in found:
            sentence = acceptance.sentence(column, reason_code, cell, _place(landed))
            con.execute(
                f"""INSERT INTO held_back SELECT ?, ?, ?, rn, {_line(landed)}, ?, {cell}, ?, {sentence}, raw_row
                    FROM bad WHERE {code} = ?""",
                [load_id, table.name, landed.name, column, reason_code, reason_code],
            )
    con.execute("DROP TABLE bad")


def _hold_back_spoiled(con: duckdb.DuckDBPyConnection, landed: Landed, table: Table, load_id: int) -> int:
    for row in landed.spoiled:
        said = REASONS[row.reason_code].format(
            got=row.got, allowed=f"{len(landed.columns)} fields", column=row.column or "the row"
        )
        con.execute(
            "INSERT INTO held_back VALUES (?, ?, ?, NULL, ?, ?, ?, ?, ?, to_json({'row': ?::VARCHAR}))",
            [
                load_id,
                table.name,
                landed.name,
                row.line,
                row.column,
                row.got,
                row.reason_code,
                f"{landed.name} line {row.line}: {said}. {WHAT_NEXT}",
                row.text,
            ],
        )
    return len(landed.spoiled)


def _check_arithmetic(con: duckdb.DuckDBPyConnection, load_id: int, n_held: int) -> None:
    row = con.execute(
        "SELECT count(DISTINCT coalesce(row_no, -line_no)) FROM held_back WHERE load_id = ?", [load_id]
    ).fetchone()
    if not row or row[0] != n_held:
        raise IntakeError(
            f"the rows do not add up ({n_held} not accepted, {row[0] if row else 0} with a reason). Nothing was loaded "
            "from it. This is a fault of the program; please report it."
        )


def _messages(
    con: duckdb.DuckDBPyConnection, landed: Landed, table: Table, columns: Columns, load_id: int
) -> list[str]:
    messages = []
    if landed.n_rows == 0:
        messages.append("has a header and no rows.")
    if landed.encoding not in (None, "utf-8"):
        messages.append(f"read as {landed.encoding}.")
    if columns.personal:
        messages.append(f"personal columns dropped: {', '.join(columns.personal)}.")
    for column, near in columns.unknown.items():
        hint = f"; did you mean {near}?" if near else "."
        messages.append(f"column {column!r} is not in the contract and was left out{hint}")
    for entry in table.fields:
        if entry.kind != "pressure" or entry.name not in columns.known:
            continue
        messages += _unknown_unit(con, landed, table, columns, entry.name, entry.stored_name, load_id)
    if table.name == "readings":
        row = con.execute(
            """SELECT count(*) FROM delivered.readings WHERE load_id = ? AND value_pa IS NULL
               AND quantity IN ('draft_at_switch', 'draft_at_port', 'manifold_pressure')""",
            [load_id],
        ).fetchone()
        if row and row[0]:
            messages.append(
                f"{row[0]:,} pressures have no unit and stay unknown (set default_pressure_unit if it is known)."
            )
    return messages


def _unknown_unit(
    con: duckdb.DuckDBPyConnection,
    landed: Landed,
    table: Table,
    columns: Columns,
    column: str,
    stored: str,
    load_id: int,
) -> list[str]:
    row = con.execute(
        f"""SELECT count(*) FROM delivered.{name(table.name)} AS d JOIN {landed.relation} AS raw
                ON raw.rowid = d.row_no - 1
            WHERE d.load_id = ? AND d.{name(stored)} IS NULL AND cell(raw.{name(columns.known[column])}) IS NOT NULL""",
        [load_id],
    ).fetchone()
    if not row or not row[0]:
        return []
    return [f"{row[0]:,} values of {column} have no unit and stay unknown (set default_pressure_unit if it is known)."]
