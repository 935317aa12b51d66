"""The tables a mapping makes of a file, sheet or query: landed as text, in the shape of any other table of a load."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import partial

import duckdb

from pipelines.intake.headers import Columns, HeaderFound, is_personal
from pipelines.intake.landing import Find, Landed, SpoiledRow
from pipelines.intake.line_numbers import Lines
from pipelines.intake.numbered import numbered
from pipelines.intake.spoiled import refuse_lost_lines, refuse_open_quotes, refuse_when_none_fits, spoiled_rows
from pipelines.intake.sql_text import count, first_row, name
from pipelines.mapping.canonical import canonical_sql, conditions_sql, told_sql
from pipelines.mapping.declared import Mapping, Source, TableMap, folded_text
from pipelines.mapping.drift import check_shape

# Told of every table once it is landed, with its columns and their filled cells; previews look at it there.
Watch = Callable[..., None]


@dataclass(frozen=True)
class SourceLanded:
    """A source in landing.source (n, c0, c1, ...). columns: as delivered. first_line: of row 1, None = not to be told.

    personal: its columns that are named like personal data and that the mapping does not read. known_as: the file, and the sheet
    of any workbook, however many others it has.
    """

    shown: str
    columns: list[str]
    n_rows: int
    spoiled: tuple[SpoiledRow, ...]
    first_line: int | None
    landed: Landed
    personal: tuple[str, ...]
    known_as: str = ""


def header_finder(source: Source) -> Find:
    """How the header row of a source is found: the row, among the first, with most of the columns the mapping reads."""
    wanted = {folded_text(column) for column in (*source.wanted(), *source.columns)}

    def find(stem: str, rows: list[list[str]]) -> tuple[HeaderFound, int] | None:
        best: tuple[HeaderFound, int] | None = None
        for at, row in enumerate(rows):
            n_known = len(wanted & {folded_text(cell) for cell in row if cell})
            # Where no name is known any more, the fullest row stands for the header, and the drift is told.
            n_known = 1000 * n_known + len({cell for cell in row if cell and cell.strip()})
            if n_known and (best is None or n_known > best[0].n_known):
                best = HeaderFound(list(row), source.tables[0].table, n_known, True), at
        return best

    return find


def land_source(
    con: duckdb.DuckDBPyConnection, mapping: Mapping, source: Source, land: Callable[[Find], Landed]
) -> SourceLanded:
    """Read a source into landing.source. Raises IntakeError when it has another shape than the mapping knows."""
    landed = land(header_finder(source))
    check_shape(mapping, source, landed.shown, landed.columns)
    cells = ", ".join(f"c{i}" for i in range(len(landed.columns)))
    con.execute("DROP TABLE IF EXISTS reject_scans")
    con.execute("DROP TABLE IF EXISTS reject_errors")
    # Row n is the n-th of the file only while its order is kept.
    con.execute("SET preserve_insertion_order = true")
    try:
        n_rows = count(
            con,
            f"CREATE OR REPLACE TABLE landing.source AS SELECT row_number() OVER () AS n, {cells} FROM {landed.relation}",
        )
    finally:
        con.execute("SET preserve_insertion_order = false")
    spoiled = (*landed.spoiled, *(spoiled_rows(con, landed, n_rows) if landed.is_csv else ()))
    wanted = {folded_text(column) for column in source.wanted()}
    personal = [column for column in landed.columns if is_personal(column) and folded_text(column) not in wanted]
    _refuse_swallowed(con, landed, personal, n_rows, list(spoiled))
    # Lines are told where nothing moves them: no row set aside, no line break within a cell.
    is_certain = landed.first_line is not None and not spoiled
    if is_certain and landed.is_csv and landed.n_lines is not None:
        is_certain = landed.n_lines == n_rows + (landed.first_line or 1) - 1
    return SourceLanded(
        landed.shown,
        landed.columns,
        n_rows,
        spoiled,
        landed.first_line if is_certain else None,
        landed,
        tuple(personal),
    )


def _refuse_swallowed(
    con: duckdb.DuckDBPyConnection, landed: Landed, personal: list[str], n_rows: int, spoiled: list[SpoiledRow]
) -> None:
    """Refuse a text file with rows lost behind a stray quotation mark, as every other text file is refused."""
    if not landed.is_csv:
        return
    columns = Columns({}, personal, {}, [])
    refuse_when_none_fits(landed, columns, n_rows, spoiled)
    taken = n_rows + len(spoiled) + sum(row.text.count("\n") for row in spoiled) + (landed.first_line or 1) - 1
    lines = Lines(False, landed.first_line or 1, spoiled, [], (landed.n_lines or taken) - taken)
    refuse_open_quotes(landed, columns, lines)
    refuse_lost_lines(con, replace(landed, relation="landing.source"), columns, lines)


def mapped_tables(
    con: duckdb.DuckDBPyConnection, mapping: Mapping, source: Source, landed: SourceLanded, watch: Watch | None = None
) -> Iterator[tuple[str, Callable[[], Landed]]]:
    """Every table made of a landed source: the name shown for it, and how it is landed."""
    for n, table in enumerate(source.tables, 1):
        yield landed.shown, partial(_land_watched, con, mapping, source, table, landed, n == 1, watch)


def _land_watched(
    con: duckdb.DuckDBPyConnection,
    mapping: Mapping,
    source: Source,
    table: TableMap,
    landed: SourceLanded,
    is_first: bool,
    watch: Watch | None,
) -> Landed:
    made = _land_table(con, mapping, table, landed, is_first)
    if watch is not None:
        watch(con, source, landed, table.table_name, made.columns, n_filled(con, len(made.columns)))
    return made


def _land_table(
    con: duckdb.DuckDBPyConnection, mapping: Mapping, table: TableMap, landed: SourceLanded, is_first: bool
) -> Landed:
    """landing.mapped: n and the canonical text; its rows stand in the order of the source."""
    places = places_of(landed.columns)
    read = {column: places[folded_text(column)] for column in table.sources()}
    query = canonical_sql(mapping, table, read, "landing.source", landed.known_as or landed.shown)
    columns = [column for column, _ in table.columns]
    cells = ", ".join(f"{name(column)} AS c{i}" for i, column in enumerate(columns))
    con.execute("SET preserve_insertion_order = true")
    try:
        n_rows = count(con, f"CREATE OR REPLACE TABLE landing.mapped AS SELECT n, {cells} FROM ({query})")
    finally:
        con.execute("SET preserve_insertion_order = false")
    messages = [] if n_rows == landed.n_rows else [_fewer(con, mapping, table, read, n_rows, landed.n_rows)]
    messages += [
        f"{column} is the file's name and the number of the row; a later file of the same name replaces these rows."
        for column, rule in table.columns
        if rule.is_row_number and table.table.by_name[column].kind == "id"
    ]
    folded = [folded_text(column) for column in landed.landed.header.delivered]
    messages += [
        f"the file has {folded.count(folded_text(column))} columns {column!r}; the first is read."
        for column in table.sources()
        if folded.count(folded_text(column)) > 1
    ]
    said, counts = told_sql(mapping, table, read, "landing.source")
    numbers = first_row(con, counts) or () if said else ()
    messages += [f"{n:,} {one if n == 1 else many}" for (one, many), n in zip(said, numbers, strict=True) if n]
    line = "NULL::BIGINT" if landed.first_line is None else f"n + {landed.first_line - 1}"
    return Landed(
        "landing.mapped",
        landed.shown,
        columns,
        HeaderFound(columns, table.table, len(columns), True),
        spoiled=landed.spoiled if is_first else (),
        delimiter=landed.landed.delimiter,
        encoding=landed.landed.encoding,
        first_line=None,
        line_relation=f"(SELECT rowid + 1 AS row_no, {line} AS line_no, n AS shown_row FROM landing.mapped)",
        n_fields=len(landed.columns),
        personal=landed.personal if is_first else (),
        messages=tuple(messages),
    )


def _fewer(
    con: duckdb.DuckDBPyConnection, mapping: Mapping, table: TableMap, read: dict[str, int], n_made: int, n_source: int
) -> str:
    """What became of the rows of a source that no row of the table was made of."""
    where = conditions_sql(mapping, table, read)
    (n_meeting,) = first_row(con, f"SELECT count_if({where}) FROM landing.source") or (0,)
    said = [f"{numbered(n_made, '[row|rows]')} of {table.table_name} made from {numbered(n_source, '[row|rows]')}"]
    if n_meeting < n_source:
        said.append(f"{n_source - n_meeting:,} left out by the mapping's conditions")
    if n_made < n_meeting:
        said.append(numbered(n_meeting - n_made, "[equals another and counts|equal others and count] once"))
    return "; ".join(said) + "."


def places_of(columns: list[str]) -> dict[str, int]:
    """Folded name of a source column -> its place; the first where two are alike."""
    places: dict[str, int] = {}
    for i, column in enumerate(columns):
        places.setdefault(folded_text(column), i)
    return places


def landed_rows(con: duckdb.DuckDBPyConnection, relation: str, n: int) -> list[tuple]:
    """The first rows of landing.source or landing.mapped, by n."""
    return con.execute(f"FROM {relation} ORDER BY n LIMIT {int(n)}").fetchall()


def n_filled(con: duckdb.DuckDBPyConnection, n_columns: int) -> list[int]:
    """Filled cells of each column of landing.mapped."""
    found = first_row(con, f"SELECT {', '.join(f'count(c{i})' for i in range(n_columns))} FROM landing.mapped")
    return [int(number) for number in found or ()]
