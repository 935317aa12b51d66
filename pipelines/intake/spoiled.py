"""Rows of a text file that are no rows of the table: too few or too many fields, quotation marks that do not pair up."""

from __future__ import annotations

import re

import duckdb

from pipelines.intake.file_kinds import IntakeError
from pipelines.intake.headers import Columns
from pipelines.intake.landing import Landed, SpoiledRow
from pipelines.intake.line_numbers import Lines
from pipelines.intake.rules import Rules, is_prose
from pipelines.intake.sql_text import count, first_row, name, text
from pipelines.intake.text_facts import blank_lines

# More rows than this may only be spoiled where yet more are good.
_MOST_SPOILED = 10_000


def spoiled_rows(con: duckdb.DuckDBPyConnection, landed: Landed, n_read: int) -> list[SpoiledRow]:
    """The rows the CSV reader set aside, by its own count of lines. n_read: rows it read.

    Raises IntakeError where most rows of a long file are spoiled.
    """
    n_spoiled = count(con, "SELECT count(DISTINCT line) FROM reject_errors")
    if n_spoiled > max(n_read, _MOST_SPOILED):
        raise IntakeError(
            f"{n_spoiled:,} of {n_spoiled + n_read:,} rows are no rows under its header, which has {len(landed.columns)} "
            "fields. Export it again, with the same fields in every row; nothing was loaded from it."
        )
    found = con.execute(
        """SELECT line, arg_max(error_type, coalesce(column_idx, 0)), max(column_idx), any_value(csv_line)
           FROM reject_errors GROUP BY line ORDER BY line"""
    ).fetchall()
    # The reader was given the text from the header on.
    n_above = (landed.first_line or 2) - 2
    return [_spoiled(n_above + line, kind, at, (row or "").strip("\r\n")) for line, kind, at, row in found]


def refuse_when_none_fits(landed: Landed, columns: Columns, n_read: int, spoiled: list[SpoiledRow]) -> None:
    """Refuse a file whose rows are all ragged: they have another delimiter than the header."""
    ragged = [row for row in spoiled if row.reason_code == "ragged_row"]
    if n_read or len(ragged) < 2 or not landed.is_csv:
        return
    raise IntakeError(
        f"line {ragged[0].line}: none of the {len(spoiled):,} rows has as many fields as the header, which has "
        f"{len(landed.columns)} when {landed.delimiter!r} is the delimiter{_beginning(columns, ragged[0].text)}. Use one "
        "delimiter throughout and load the file again; nothing was loaded from it."
    )


def refuse_open_quotes(landed: Landed, columns: Columns, lines: Lines) -> None:
    """Refuse a file in which a row that was set aside swallowed the rows after it."""
    shape = re.compile(_row_shape(landed))
    for row in lines.spoiled:
        if ("\n" in row.text and row.reason_code == "unreadable") or shape.search(row.text):
            raise IntakeError(_swallowed(f"line {row.line}", _beginning(columns, row.text)))


def refuse_swallowed(
    con: duckdb.DuckDBPyConnection, landed: Landed, relation: str, rules: Rules, columns: Columns, load_id: int
) -> None:
    """Refuse a file in which a cell that is kept holds lines shaped like rows: a stray quotation mark swallowed them."""
    fields = [entry for entry in rules.present() if entry.kind in ("id", "text")]
    checks = {name(entry.name): _holds_rows(landed, name(entry.name), is_prose(entry)) for entry in fields}
    of_column = {column: rules.table.by_name[field] for field, column in columns.known.items()}
    kept = [column for column in landed.columns if column not in columns.personal]
    for i, column in enumerate(kept, 1):
        may_have_lines = column not in of_column or is_prose(of_column[column])
        checks[f"raw[{i}]"] = _holds_rows(landed, f"raw[{i}]", may_have_lines)
    cases = " ".join(f"WHEN {check} THEN {cell}" for cell, check in checks.items())
    row = first_row(
        con,
        f"""SELECT row_no, CASE {cases} END FROM {relation}
            WHERE load_id = {load_id} AND ({" OR ".join(checks.values())}) ORDER BY row_no LIMIT 1""",
    )
    if row:
        raise IntakeError(_swallowed(f"row {row[0]}", _beginning(columns, row[1])))


def refuse_lost_lines(con: duckdb.DuckDBPyConnection, landed: Landed, columns: Columns, lines: Lines) -> None:
    """Refuse a file some lines of which are in no row. What begins no row is blank or within a cell, else it is lost.

    Seen to be lost: rows behind an open quotation mark that the reader's pieces of a large file begin or end in, and
    lines longer than such a piece.
    """
    if landed.readable is None or lines.n_between <= lines.n_within:
        return
    n_within, n_blank_within, rows = _within_cells(con, landed) if landed.may_break else (0, 0, None)
    if rows is not None:
        raise IntakeError(_swallowed("a column that is left out", _beginning(columns, rows)))
    n_lost = lines.n_between - n_within - (blank_lines(landed.readable) - n_blank_within)
    if n_lost > 0:
        raise IntakeError(
            f"{n_lost:,} of its {landed.n_lines:,} lines are in no row that can be read: a quotation mark that is opened "
            "and not closed swallows them, or a line has millions of characters. Mend it and load the file again; "
            "nothing was loaded from it."
        )


def _within_cells(con: duckdb.DuckDBPyConnection, landed: Landed) -> tuple[int, int, str | None]:
    """Line breaks in all cells of the file, blank lines among them, and a cell that holds lines shaped like rows."""
    cells = [f"c{i}" for i in range(len(landed.columns))]
    n_breaks = " + ".join(f"coalesce({_breaks(cell)}, 0)" for cell in cells)
    blank = "string_split(replace({}, chr(13), ''), chr(10))[2:-2]"
    n_blank = " + ".join(
        f"coalesce(len(list_filter({blank.format(cell)}, lambda line: line = '')), 0)" for cell in cells
    )
    rows = " ".join(f"WHEN {_holds_rows(landed, cell, True)} THEN {cell}" for cell in cells)
    found = first_row(
        con,
        f"""SELECT sum({n_breaks}), sum({n_blank}), any_value(CASE {rows} END) FROM {landed.relation}
            WHERE {" OR ".join(f"contains({cell}, chr(10))" for cell in cells)}""",
    )
    n_within, n_blank_within, sample = found or (0, 0, None)
    return int(n_within or 0), int(n_blank_within or 0), sample


def _breaks(cell: str) -> str:
    return f"length({cell}) - length(replace({cell}, chr(10), ''))"


def _holds_rows(landed: Landed, cell: str, may_have_lines: bool) -> str:
    """SQL of whether a cell holds rows. Between two marks of one column stand as many fields as the lines there have."""
    mark, n_columns = text(landed.delimiter or ","), len(landed.columns)
    signs = [f"regexp_matches({cell}, {text(_row_shape(landed))})"] if n_columns > 2 else []
    if n_columns == 2 or not may_have_lines:
        n_marks = f"length({cell}) - length(replace({cell}, {mark}, ''))"
        is_prose_too = f" AND NOT contains({cell}, {mark} || ' ')" if may_have_lines else ""
        signs.append(f"({n_marks} >= ({_breaks(cell)}) * {max(n_columns - 1, 1)}{is_prose_too})")
    return f"(contains({cell}, chr(10)) AND ({' OR '.join(signs)}))"


def _row_shape(landed: Landed) -> str:
    """A line within a cell with nearly as many fields as a row; in prose a space stands behind each mark."""
    mark = re.escape(landed.delimiter or ",")
    fields = max(len(landed.columns) - 2, 2)
    return f"\\n([^\\s{mark}][^\\n{mark}]*{mark}|{mark}){{{fields},}}"


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


def _beginning(columns: Columns, row: str) -> str:
    """The first words of a row, for a sentence; nothing of a row that may name a person."""
    return "" if columns.personal else f" (it begins {row[:60]!r})"


def _swallowed(place: str, beginning: str) -> str:
    return (
        f"{place}: a quotation mark that is opened there and not closed swallows the rows after it{beginning}. "
        f"Close or double the mark and load the file again; nothing was loaded from it."
    )
