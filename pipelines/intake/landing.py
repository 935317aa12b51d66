"""Files into text tables: every cell as it stands, one row a row, nothing interpreted."""

from __future__ import annotations

import csv
from dataclasses import dataclass, field
from pathlib import Path

import duckdb

from pipelines.intake.file_kinds import IntakeError, TextFacts, to_utf8
from pipelines.intake.headers import HeaderFound, find_header

DELIMITERS = ",;\t|"
_SAMPLE = 1 << 20


@dataclass(frozen=True)
class SpoiledRow:
    """A row that is no row of the table: its line, the reason code, the column or None, what was got, its text."""

    line: int
    reason_code: str
    column: str | None
    got: str
    text: str


@dataclass(frozen=True)
class Landed:
    """One table of text. relation: where it stands; columns: names as delivered, in order.

    spoiled: rows that are none, counted in n_rows but not in the relation.
    line_of_first: line of the first row in the file; is_by_line: whether every row takes one line.
    """

    relation: str
    name: str
    columns: list[str]
    n_rows: int
    header: HeaderFound
    spoiled: list[SpoiledRow] = field(default_factory=list)
    delimiter: str | None = None
    encoding: str | None = None
    line_of_first: int = 2
    has_line_breaks: bool = False


def land_csv(con: duckdb.DuckDBPyConnection, path: Path, facts: TextFacts, relation: str, scratch: Path) -> Landed:
    """Read a delimited text file into `relation`. Raises IntakeError when it is not a table."""
    if facts.encoding is None:
        raise IntakeError("is not text in UTF-8, UTF-16 or Windows-1252. Export it again as UTF-8.")
    readable = path
    if facts.encoding != "utf-8":
        readable = scratch / "text.csv"
        to_utf8(path, facts.encoding, readable)
    with readable.open(encoding="utf-8-sig", newline="", errors="replace") as file:
        sample = file.read(_SAMPLE)
    lines = sample.splitlines()[:40]
    header, delimiter, skipped = _best_header(path, lines)
    columns = _unique(header.delivered)
    if facts.encoding.startswith("utf-16") or facts.n_quotes % 2:
        _refuse_open_quote(readable, facts)
    spelled = ", ".join(f"{_text(column)}: 'VARCHAR'" for column in columns)
    con.execute("DROP TABLE IF EXISTS reject_scans")
    con.execute("DROP TABLE IF EXISTS reject_errors")
    try:
        con.execute(
            f"""CREATE TABLE {relation} AS SELECT * FROM read_csv(?, columns = {{{spelled}}}, auto_detect = false,
                delim = {_text(delimiter)}, quote = '"', escape = '"', header = true, skip = {skipped},
                store_rejects = true, max_line_size = 4000000)""",
            [str(readable)],
        )
    except duckdb.InvalidInputException as error:
        raise IntakeError(f"cannot be read as a table ({str(error).splitlines()[0][:200]}).") from error
    spoiled = _ragged_rows(con)
    n_landed = _count(con, relation)
    has_line_breaks = facts.n_newlines > n_landed + len(spoiled) + skipped + 1
    if has_line_breaks:
        spoiled += _take_out_swallowed(con, relation, columns, delimiter, skipped + 1)
    n_rows = _count(con, relation) + len(spoiled)
    return Landed(
        relation, path.name, columns, n_rows, header, spoiled, delimiter, facts.encoding, skipped + 2, has_line_breaks
    )


def land_parquet(con: duckdb.DuckDBPyConnection, path: Path, relation: str) -> Landed:
    """Read a Parquet file into `relation`, every column as text."""
    try:
        con.execute(f"CREATE TABLE {relation} AS SELECT CAST(COLUMNS(*) AS VARCHAR) FROM read_parquet(?)", [str(path)])
    except duckdb.Error as error:
        raise IntakeError(f"is damaged ({str(error).splitlines()[0][:200]}). Export it again.") from error
    return _landed(con, path.name, relation, 1)


def land_json_lines(
    con: duckdb.DuckDBPyConnection, path: Path, facts: TextFacts, relation: str, scratch: Path
) -> Landed:
    """Read one JSON object a line into `relation`, every value as text; lines that are no objects are spoiled."""
    readable = path
    if facts.encoding not in ("utf-8", None):
        readable = scratch / "text.jsonl"
        to_utf8(path, facts.encoding, readable)
    con.execute(
        """CREATE OR REPLACE TEMP TABLE json_line AS SELECT line FROM read_csv(?, columns = {'line': 'VARCHAR'},
           auto_detect = false, delim = e'\\x01', quote = '', escape = '', header = false, max_line_size = 4000000)
           WHERE trim(line) <> ''""",
        [str(readable)],
    )
    is_object = "json_valid(line) AND json_type(line) = 'OBJECT'"
    keys = con.execute(
        f"""SELECT key, min(n) FROM (SELECT unnest(json_keys(line)) AS key, rowid AS n FROM json_line
            WHERE {is_object}) GROUP BY key ORDER BY 2, 1"""
    ).fetchall()
    if not keys:
        raise IntakeError("holds no JSON object. Write one object a line, its keys named like the columns.")
    picked = ", ".join(f"line ->> {_text('$.' + _json_key(key))} AS {_name(key)}" for key, _ in keys)
    con.execute(f"CREATE TABLE {relation} AS SELECT {picked} FROM json_line WHERE {is_object} ORDER BY rowid")
    spoiled = [
        SpoiledRow(line + 1, "unreadable", None, "text that is no JSON object", text)
        for line, text in con.execute(f"SELECT rowid, line FROM json_line WHERE NOT ({is_object})").fetchall()
    ]
    landed = _landed(con, path.name, relation, 1, spoiled)
    return landed


def land_rows(con: duckdb.DuckDBPyConnection, name: str, rows: list[list[str | None]], relation: str) -> Landed:
    """Land a sheet's rows of text, its header found among the first rows."""
    import pyarrow as pa

    header, at = _best_row(name, rows)
    columns = _unique(header.delivered)
    body = [row for row in rows[at + 1 :] if any(cell is not None and cell.strip() for cell in row)]
    table = pa.table(
        {
            column: pa.array([row[i] if i < len(row) else None for row in body], pa.string())
            for i, column in enumerate(columns)
        }
    )
    con.register("sheet_rows", table)
    con.execute(f"CREATE TABLE {relation} AS SELECT * FROM sheet_rows")
    con.unregister("sheet_rows")
    return Landed(relation, name, columns, len(body), header, [], None, None, at + 2)


def _landed(
    con: duckdb.DuckDBPyConnection, name: str, relation: str, first: int, spoiled: list[SpoiledRow] | None = None
) -> Landed:
    columns = [row[0] for row in con.execute(f"DESCRIBE {relation}").fetchall()]
    header = find_header([columns])
    if header is None:
        raise IntakeError(_no_header(columns))
    (count,) = con.execute(f"SELECT count(*) FROM {relation}").fetchone() or (0,)
    spoiled = spoiled or []
    return Landed(relation, name, columns, count + len(spoiled), header, spoiled, None, "utf-8", first)


def _best_header(path: Path, lines: list[str]) -> tuple[HeaderFound, str, int]:
    best: tuple[HeaderFound, str, int] | None = None
    for delimiter in DELIMITERS:
        for at, line in enumerate(lines[:20]):
            cells = next(csv.reader([line], delimiter=delimiter), [])
            header = find_header([cells], path.stem)
            if header is not None and (best is None or header.n_known > best[0].n_known):
                best = header, delimiter, at
    if best is None:
        raise IntakeError(_no_header(lines[0].split(",") if lines else []))
    return best


def _best_row(name: str, rows: list[list[str | None]]) -> tuple[HeaderFound, int]:
    best: tuple[HeaderFound, int] | None = None
    for at, row in enumerate(rows[:20]):
        header = find_header([[cell or "" for cell in row]], name)
        if header is not None and (best is None or header.n_known > best[0].n_known):
            best = header, at
    if best is None:
        raise IntakeError(_no_header([cell or "" for cell in rows[0]] if rows else []))
    return best


def _no_header(cells: list[str]) -> str:
    shown = ", ".join(cell[:30] for cell in cells[:8])
    return (
        f"no row among the first 20 names the columns of a table (first row: {shown!r}; delimiters tried: comma, "
        "semicolon, tab, bar). See the column names with: goodpull contract"
    )


def _unique(cells: list[str]) -> list[str]:
    """Column names as delivered, made different where a name is blank or stands twice."""
    seen: dict[str, int] = {}
    unique = []
    for position, cell in enumerate(cells, 1):
        base = cell.strip() or f"column {position}"
        folded = base.casefold()
        seen[folded] = seen.get(folded, 0) + 1
        unique.append(base if seen[folded] == 1 else f"{base} ({seen[folded]})")
    return unique


def _count(con: duckdb.DuckDBPyConnection, relation: str) -> int:
    row = con.execute(f"SELECT count(*) FROM {relation}").fetchone()
    return int(row[0]) if row else 0


def _ragged_rows(con: duckdb.DuckDBPyConnection) -> list[SpoiledRow]:
    rows = con.execute(
        "SELECT line, min(error_type), min(csv_line) FROM reject_errors GROUP BY line ORDER BY line"
    ).fetchall()
    return [SpoiledRow(line, "ragged_row", None, _fields_in(kind), text or "") for line, kind, text in rows]


def _fields_in(kind: str) -> str:
    return {"TOO MANY COLUMNS": "more fields", "MISSING COLUMNS": "fewer fields"}.get(kind, kind.lower())


def _take_out_swallowed(
    con: duckdb.DuckDBPyConnection, relation: str, columns: list[str], delimiter: str, lines_before: int
) -> list[SpoiledRow]:
    """Rows in which a stray quotation mark swallowed whole rows: a cell holding a line shaped like a row."""
    if len(columns) < 3:
        return []
    mark = {"\t": "\\t", "|": "\\|"}.get(delimiter, delimiter)
    shape = f"\\n([^\\n{mark}]*{mark}){{{len(columns) - 2},}}"
    spoiled = []
    for column in columns:
        cell = f"raw.{_name(column)}"
        swallowed = f"contains({cell}, chr(10)) AND regexp_matches({cell}, {_text(shape)})"
        found = con.execute(
            f"SELECT raw.rowid + 1, left({cell}, 60), CAST(to_json(raw) AS VARCHAR) FROM {relation} AS raw WHERE {swallowed}"
        ).fetchall()
        if found:
            con.execute(f"DELETE FROM {relation} AS raw WHERE {swallowed}")
        spoiled += [SpoiledRow(rn + lines_before, "swallowed_rows", column, got, text) for rn, got, text in found]
    return spoiled


def _refuse_open_quote(path: Path, facts: TextFacts) -> None:
    """Refuse a file whose last quotation mark is never closed, naming the line where rows begin to be swallowed."""
    opened_at, is_open = 0, False
    with path.open(encoding="utf-8-sig", newline="") as file:
        for number, line in enumerate(file, 1):
            if line.count('"') % 2:
                is_open = not is_open
                if is_open:
                    opened_at = number
    if is_open:
        raise IntakeError(
            f"line {opened_at}: a quotation mark is opened and never closed, so the rows after it cannot be told apart. "
            "Close or double it, and load the file again; nothing was loaded from it."
        )


def _json_key(key: str) -> str:
    return '"' + key.replace('"', '\\"') + '"'


def _text(value: str) -> str:
    return "'" + value.replace("'", "''") + "'"


def _name(value: str) -> str:
    return '"' + value.replace('"', '""') + '"'
