"""Files into relations of text: every cell as it stands, nothing interpreted."""

from __future__ import annotations

import csv
import re
import shutil
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path

import duckdb

from pipelines.intake.file_kinds import IntakeError
from pipelines.intake.headers import HeaderFound, best_header, no_header
from pipelines.intake.sql_text import name, text
from pipelines.intake.text_facts import CHUNK, TextFacts, to_utf8

# Characters in which the header is looked for, and of each line; the csv module takes no fields of 131,072 and more.
_SAMPLE = 1 << 20
_LONGEST_SAMPLED = 1 << 16
# Longer lines of JSON are held back.
_LONGEST_JSON_BYTES = 1 << 24
_LINE_END = r"\r\n|\n|\r"
# Looked for in any case; other marks are tried when they stand in the first lines.
DELIMITERS = ",;\t|"
# From the name of a file or sheet and its first rows: the header, and its place.
Find = Callable[[str, list[list[str]]], tuple[HeaderFound, int] | None]


@dataclass(frozen=True)
class SpoiledRow:
    """A row that is no row of the table: its line, the reason code, what was got, its text as delivered."""

    line: int
    reason_code: str
    got: str
    text: str


@dataclass(frozen=True)
class Landed:
    """One table of text, still to be read.

    relation: SQL that gives the cells of each row as columns c0, c1, ... in the order of `columns` (names as delivered).
    is_csv: whether DuckDB's CSV reader reads it, which sets spoiled rows aside in `reject_errors`.
    spoiled: rows known to be none before reading. first_line: line of the first row, None where lines mean nothing.
    readable: the text that is read, from the header on. n_lines: lines of the whole file. is_plain: as in TextFacts.
    Where a mapping made the table: line_relation: SQL of (row_no, line_no, shown_row); n_fields: fields of the source;
    personal: its personal columns, which were dropped; messages: what a person should know.
    """

    relation: str
    shown: str
    columns: list[str]
    header: HeaderFound
    is_csv: bool = False
    spoiled: tuple[SpoiledRow, ...] = field(default=())
    delimiter: str | None = None
    encoding: str | None = None
    first_line: int | None = 2
    readable: Path | None = None
    n_lines: int | None = None
    is_plain: bool = False
    may_break: bool = True
    line_relation: str | None = None
    n_fields: int | None = None
    personal: tuple[str, ...] = ()
    messages: tuple[str, ...] = ()


def land_text(
    path: Path, facts: TextFacts, scratch: Path, is_rewritten: bool = False, find: Find = best_header
) -> Landed:
    """A delimited text file. is_rewritten: write it again with one kind of line end first. find: the header row.

    Raises IntakeError when it is not text or no header is found.
    """
    if facts.encoding is None:
        raise IntakeError("is not text in UTF-8, UTF-16 or Windows-1252. Export it again as UTF-8.")
    readable, n_lines = path, facts.n_lines
    if facts.encoding != "utf-8" or facts.is_old or is_rewritten:
        readable = scratch / "rewritten.csv"
        n_lines = to_utf8(path, "utf-8-sig" if facts.encoding == "utf-8" else facts.encoding, readable)
    with readable.open(encoding="utf-8-sig", newline="", errors="replace") as file:
        lines = [line[:_LONGEST_SAMPLED] for line in re.split(_LINE_END, file.read(_SAMPLE))[:40]]
    header, delimiter, skipped = _text_header(path, lines, find)
    if skipped:
        # The CSV reader would skip rows, not lines: a quotation mark above the header would take the header with it.
        readable = _from_line(readable, skipped, scratch / "from_header.csv")
    columns = unique(header.delivered)
    spelled = ", ".join(f"'c{i}': 'VARCHAR'" for i in range(len(columns)))
    relation = f"""read_csv({text(str(readable))}, columns = {{{spelled}}}, auto_detect = false,
        delim = {text(delimiter)}, quote = '"', escape = '"', header = true, store_rejects = true)"""
    return Landed(
        relation,
        path.name,
        columns,
        header,
        is_csv=True,
        delimiter=delimiter,
        encoding=facts.encoding,
        first_line=skipped + 2,
        readable=readable,
        n_lines=n_lines,
        is_plain=facts.is_plain and delimiter != "\t",
        may_break=facts.n_quotes > 0 or facts.encoding.startswith("utf-16"),
    )


def land_parquet(con: duckdb.DuckDBPyConnection, path: Path, find: Find = best_header) -> Landed:
    """A Parquet file, every column as text."""
    try:
        columns = [row[0] for row in con.execute("DESCRIBE FROM read_parquet(?)", [str(path)]).fetchall()]
    except duckdb.Error as error:
        raise IntakeError(f"is damaged ({str(error).splitlines()[0][:200]}). Export it again.") from error
    cells = ", ".join(f"CAST({name(column)} AS VARCHAR) AS c{i}" for i, column in enumerate(columns))
    return _with_header(f"(SELECT {cells} FROM read_parquet({text(str(path))}))", path, columns, find)


def land_json_lines(
    con: duckdb.DuckDBPyConnection, path: Path, facts: TextFacts, scratch: Path, find: Find = best_header
) -> Landed:
    """One JSON object a line, every value as text; lines that are no objects are spoiled."""
    readable = path
    if facts.encoding is None:
        raise IntakeError("is not text in UTF-8, UTF-16 or Windows-1252. Export it again as UTF-8.")
    if facts.encoding != "utf-8":
        readable = scratch / "rewritten.jsonl"
        to_utf8(path, facts.encoding, readable)
    too_long = _read_json_lines(con, readable)
    keys = [
        row[0]
        for row in con.execute(
            """SELECT key FROM (SELECT unnest(json_keys(line)) AS key, n FROM landing.json_line WHERE is_object)
               GROUP BY key ORDER BY min(n), key"""
        ).fetchall()
    ]
    if not keys:
        raise IntakeError("holds no JSON object. Write one object a line, its keys named like the columns.")
    picked = ", ".join(f"line ->> {text('$.' + _json_key(key))} AS c{i}" for i, key in enumerate(keys))
    spoiled = con.execute(
        "SELECT n, line FROM landing.json_line WHERE NOT is_object AND trim(line) <> '' ORDER BY n"
    ).fetchall()
    relation = f"(SELECT {picked} FROM landing.json_line WHERE is_object ORDER BY n)"
    rows = [SpoiledRow(_line_of(n, too_long), "unreadable", "text that is no JSON object", line) for n, line in spoiled]
    said = f"a line longer than {_LONGEST_JSON_BYTES >> 20} MB"
    rows += [SpoiledRow(line, "unreadable", said, text) for line, text in too_long.items()]
    return _with_header(relation, path, keys, find, tuple(sorted(rows, key=lambda row: row.line)))


def _read_json_lines(con: duckdb.DuckDBPyConnection, path: Path) -> dict[int, str]:
    """landing.json_line (line, n, is_object), n being its place; the beginnings of lines too long to be read, by line."""
    con.execute("DROP TABLE IF EXISTS reject_scans")
    con.execute("DROP TABLE IF EXISTS reject_errors")
    con.execute("SET preserve_insertion_order = true")
    try:
        con.execute(
            """CREATE OR REPLACE TABLE landing.json_line AS SELECT line, row_number() OVER () AS n,
                   CASE WHEN json_valid(line) THEN json_type(line) = 'OBJECT' ELSE false END AS is_object
               FROM read_csv(?, columns = {'line': 'VARCHAR'}, auto_detect = false, delim = e'\\x01', quote = '', escape = '',
                   header = false, max_line_size = ?, store_rejects = true)""",
            [str(path), _LONGEST_JSON_BYTES],
        )
    finally:
        con.execute("SET preserve_insertion_order = false")
    return dict(
        con.execute("SELECT line, any_value(csv_line) FROM reject_errors GROUP BY line ORDER BY line").fetchall()
    )


def _line_of(n: int, left_out: Iterable[int]) -> int:
    """The line of the n-th line that was read. left_out: rising lines that were not."""
    for line in left_out:
        n += line <= n
    return n


def land_rows(
    con: duckdb.DuckDBPyConnection, stem: str, shown: str, rows: list[list[str | None]], find: Find = best_header
) -> Landed:
    """A sheet's rows of text, its header found among the first rows."""
    import pyarrow as pa

    found = find(stem, [[cell or "" for cell in row] for row in rows[:20]])
    if found is None:
        raise IntakeError(no_header([cell or "" for cell in rows[0]] if rows else []))
    header, at = found
    columns = unique(header.delivered)
    body = [
        (n, row)
        for n, row in enumerate(rows[at + 1 :], at + 2)
        if any(cell is not None and cell.strip() for cell in row)
    ]
    cells = {
        f"c{i}": pa.array([row[i] if i < len(row) else None for _, row in body], pa.string())
        for i in range(len(columns))
    }
    con.register("sheet_rows", pa.table(cells))
    con.execute("CREATE OR REPLACE TABLE landing.sheet AS SELECT * FROM sheet_rows")
    con.unregister("sheet_rows")
    is_by_line = not body or body[-1][0] - body[0][0] + 1 == len(body)
    return Landed("landing.sheet", shown, columns, header, first_line=body[0][0] if body and is_by_line else None)


def unique(cells: list[str]) -> list[str]:
    """Column names as delivered, made different where a name is blank or stands twice."""
    seen: dict[str, int] = {}
    names = []
    for position, cell in enumerate(cells, 1):
        base = cell.replace("\ufeff", "").strip() or f"column {position}"
        folded = base.casefold()
        seen[folded] = seen.get(folded, 0) + 1
        names.append(base if seen[folded] == 1 else f"{base} ({seen[folded]})")
    return names


def _with_header(
    relation: str, path: Path, columns: list[str], find: Find, spoiled: tuple[SpoiledRow, ...] = ()
) -> Landed:
    found = find(path.stem, [columns])
    if found is None:
        raise IntakeError(no_header(columns))
    return Landed(relation, path.name, columns, found[0], spoiled=spoiled, first_line=None)


def _text_header(path: Path, lines: list[str], find: Find) -> tuple[HeaderFound, str, int]:
    """The header, the delimiter that makes most of it, and how many lines stand before it."""
    others = {
        mark
        for line in lines[:5]
        for mark in set(line)
        if "!" <= mark <= "~" and not mark.isalnum() and mark not in "_-.\"'"
    }
    best: tuple[HeaderFound, str, int] | None = None
    for delimiter in (*DELIMITERS, *sorted(others - set(DELIMITERS))):
        rows = [cells_of(line, delimiter) for line in lines[:20]]
        found = find(path.stem, rows)
        if found is not None and (best is None or found[0].n_known > best[0].n_known):
            best = found[0], delimiter, found[1]
    if best is None:
        raise IntakeError(no_header(lines[0].split(",") if lines else []))
    return best


def cells_of(row: str, delimiter: str) -> list[str]:
    """The cells of one row of text; none where it cannot be read as one."""
    try:
        return next(csv.reader([row], delimiter=delimiter), [])
    except csv.Error:
        return []


def _from_line(path: Path, n_before: int, target: Path) -> Path:
    """Write a UTF-8 file again without its first lines, which lie within the sample."""
    with path.open("rb") as source, target.open("wb") as out:
        ends = re.finditer(_LINE_END.encode(), source.read(4 * _SAMPLE))
        source.seek(next(islice(ends, n_before - 1, None)).end())
        shutil.copyfileobj(source, out, CHUNK)
    return target


def _json_key(key: str) -> str:
    return '"' + key.replace("\\", "\\\\").replace('"', '\\"') + '"'
