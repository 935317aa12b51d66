"""Rows of a text file that are no rows of the table: too few or too many fields, quotation marks that do not pair up."""

from __future__ import annotations

import re

import duckdb

from pipelines.intake.file_kinds import IntakeError
from pipelines.intake.landing import Landed, SpoiledRow
from pipelines.intake.line_numbers import Lines
from pipelines.intake.rules import Rules
from pipelines.intake.sql_text import first_row, name, text

# Fewer columns than this and a line within a note may look like a row by chance.
_FEWEST_COLUMNS = 4


def spoiled_rows(con: duckdb.DuckDBPyConnection, n_above: int) -> list[SpoiledRow]:
    """The rows the CSV reader set aside, by its own count of lines. n_above: lines above the header, which it was not given."""
    found = con.execute(
        """SELECT line, arg_max(error_type, coalesce(column_idx, 0)), max(column_idx), any_value(csv_line) FROM reject_errors
           GROUP BY line ORDER BY line"""
    ).fetchall()
    return [_spoiled(n_above + line, kind, at, (row or "").strip("\r\n")) for line, kind, at, row in found]


def refuse_open_quotes(landed: Landed, lines: Lines) -> None:
    """Refuse a file in which a row that was set aside swallowed the rows after it."""
    shape = re.compile(_row_shape(landed, "\\n"))
    for row in lines.spoiled:
        if ("\n" in row.text and row.reason_code == "unreadable") or shape.search(row.text):
            raise IntakeError(_swallowed(f"line {row.line}", row.text))


def refuse_swallowed(con: duckdb.DuckDBPyConnection, landed: Landed, relation: str, rules: Rules, load_id: int) -> None:
    """Refuse a file in which a cell holds lines shaped like rows: a stray quotation mark swallowed them."""
    if len(landed.columns) < _FEWEST_COLUMNS:
        return
    shape = text(_row_shape(landed, "\\n"))
    cells = [name(entry.name) for entry in rules.present() if entry.kind in ("id", "text")]
    conditions = [f"(contains({cell}, chr(10)) AND regexp_matches({cell}, {shape}))" for cell in cells]
    conditions.append(
        f"len(list_filter(raw, lambda cell: contains(cell, chr(10)) AND regexp_matches(cell, {shape}))) > 0"
    )
    row = first_row(
        con,
        f"""SELECT row_no, coalesce(list_filter([{", ".join(cells)}], lambda cell: contains(cell, chr(10)))[1],
                list_filter(raw, lambda cell: contains(cell, chr(10)))[1])
            FROM {relation} WHERE load_id = {load_id} AND ({" OR ".join(conditions)}) ORDER BY row_no LIMIT 1""",
    )
    if row:
        raise IntakeError(_swallowed(f"row {row[0]}", row[1] or ""))


def _row_shape(landed: Landed, line_end: str) -> str:
    """A line within a cell with nearly as many fields as a row; in prose a space stands behind each mark."""
    mark = re.escape(landed.delimiter or ",")
    fields = max(len(landed.columns) - 2, 2)
    return f"{line_end}([^\\s{mark}][^\\n{mark}]*{mark}|{mark}){{{fields},}}"


def _spoiled(line: int, kind: str, column: int | None, row: str) -> SpoiledRow:
    if kind in ("MISSING COLUMNS", "TOO MANY COLUMNS"):
        got = "fewer fields" if kind == "MISSING COLUMNS" else "more fields"
        return SpoiledRow(line, "ragged_row", got, row)
    said = {
        "UNQUOTED VALUE": f"the quotation marks of field {column} do not pair up",
        "LINE SIZE OVER MAXIMUM": "it is longer than 2 million characters",
        "INVALID ENCODING": "it holds bytes that are no text",
    }
    return SpoiledRow(line, "unreadable", said.get(kind, kind.lower()), row)


def _swallowed(place: str, row: str) -> str:
    return (
        f"{place}: a quotation mark that is opened there and not closed swallows the rows after it "
        f"(it begins {row[:60]!r}). Close or double the mark and load the file again; nothing was loaded from it."
    )
