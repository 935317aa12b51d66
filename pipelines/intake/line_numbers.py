"""Which line of its file a row begins on, told only where it is certain.

Within the reader a row has its number among the rows read. Rows set aside, and line breaks within cells, move the rows
after them. When the lines of all rows together are the lines of the file, every place is certain; blank lines between
rows cannot be placed, then rows are named by their number instead.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import duckdb
import numpy as np

from pipelines.intake.landing import Landed, SpoiledRow
from pipelines.intake.rules import Rules
from pipelines.intake.sql_text import count, name


@dataclass(frozen=True)
class Lines:
    """What is known about the lines of a file.

    is_certain: whether the line of every row can be told. first: line of the first row. spoiled: the rows set aside, by
    line. moved: for each of them, how many rows' lines stand before it, and how many lines it and those before it take.
    n_between: lines of a text file that begin no row: blank, within a cell, or lost. n_within: those in the cells kept.
    relation: SQL of (row_no, line_no, shown_row) where a mapping made the rows of others.
    """

    is_certain: bool
    first: int
    spoiled: list[SpoiledRow]
    moved: list[tuple[int, int]]
    n_between: int = 0
    n_within: int = 0
    relation: str | None = None


def find_lines(
    con: duckdb.DuckDBPyConnection,
    landed: Landed,
    relation: str,
    rules: Rules,
    load_id: int,
    spoiled: list[SpoiledRow],
    has_breaks: bool,
) -> Lines:
    """Work out the lines, leaving landing.break_row (row_no, n line breaks in its cells) for `number_rows`."""
    first = landed.first_line or 1
    n_rows, n_breaks = _make_breaks(con, relation, rules, load_id, has_breaks)
    within = [row.text.count("\n") for row in spoiled]
    explained = n_rows + len(spoiled) + n_breaks + sum(within) + first - 1
    is_certain = landed.first_line is not None and (
        not has_breaks if landed.n_lines is None else landed.n_lines == explained
    )
    if not landed.is_csv:
        return Lines(is_certain, first, spoiled, [], relation=landed.line_relation)
    # The CSV reader counts a row as one line, however many it takes.
    before = [row.line - j - (first - 1) for j, row in enumerate(spoiled, 1)]
    found = con.execute("SELECT row_no, n FROM landing.break_row ORDER BY row_no").fetchnumpy()
    cumulated = np.concatenate([[0], np.cumsum(np.asarray(found["n"], dtype=np.int64))])
    breaks = cumulated[np.searchsorted(np.asarray(found["row_no"], dtype=np.int64), before, side="right")]
    placed, moved, taken = [], [], 0
    for row, n_before, n_breaks_before, n_within in zip(spoiled, before, breaks, within, strict=True):
        placed.append(replace(row, line=n_before + int(n_breaks_before) + taken + first))
        taken += 1 + n_within
        moved.append((n_before, taken))
    n_between = (landed.n_lines or explained) - explained + n_breaks
    return Lines(is_certain, first, placed if is_certain else spoiled, moved, n_between, n_breaks)


def number_rows(con: duckdb.DuckDBPyConnection, lines: Lines) -> None:
    """landing.row_line: row number -> line and the row to show, for landing.judged; empty where lines cannot be told."""
    if lines.relation is not None:
        con.execute(
            f"""CREATE OR REPLACE TABLE landing.row_line AS SELECT row_no, line_no, shown_row FROM {lines.relation}
                WHERE row_no IN (SELECT rn FROM landing.judged)"""
        )
        return
    moved = ", ".join(f"({before}, {taken})" for before, taken in lines.moved)
    con.execute(
        f"""CREATE OR REPLACE TABLE landing.row_line AS
            WITH cumulated AS (SELECT row_no, sum(n) OVER (ORDER BY row_no) AS n FROM landing.break_row),
            aside AS (SELECT * FROM (VALUES {moved or "(0, 0)"}) AS v(n_before, n)),
            placed AS (
                SELECT j.rn AS row_no, j.rn + {lines.first - 1} + coalesce(c.n, 0) AS line_no
                FROM landing.judged AS j ASOF LEFT JOIN cumulated AS c ON j.rn > c.row_no)
            SELECT p.row_no, CAST(p.line_no + coalesce(a.n, 0) AS BIGINT) AS line_no, p.row_no AS shown_row
            FROM placed AS p ASOF LEFT JOIN aside AS a ON p.row_no > a.n_before
            WHERE {lines.is_certain}"""
    )


def _make_breaks(
    con: duckdb.DuckDBPyConnection, relation: str, rules: Rules, load_id: int, has_breaks: bool
) -> tuple[int, int]:
    """landing.break_row, and how many rows and line breaks there are."""
    cells = [name(entry.name) for entry in rules.present() if entry.kind in ("id", "text")]
    within = [f"coalesce(length({cell}) - length(replace({cell}, chr(10), '')), 0)" for cell in cells]
    marked = (
        "coalesce(list_sum(list_transform(raw, lambda cell: length(cell) - length(replace(cell, chr(10), '')))), 0)"
    )
    # Of a marked row the cells are still to be judged; its text has every break.
    total = f"CASE WHEN raw IS NULL THEN {' + '.join(within)} ELSE {marked} END" if has_breaks else "0"
    con.execute(
        f"""CREATE OR REPLACE TABLE landing.break_row AS SELECT row_no, CAST({total} AS BIGINT) AS n FROM {relation}
            WHERE load_id = {load_id} AND ({total}) > 0"""
    )
    n_rows = count(con, f"SELECT count(*) FROM {relation} WHERE load_id = {load_id}")
    return n_rows, count(con, "SELECT sum(n) FROM landing.break_row")
