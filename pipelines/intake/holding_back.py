"""Rows that are not accepted, kept whole with a reason a cell and the line they stand on."""

from __future__ import annotations

import duckdb

from pipelines.contract.fields import Table
from pipelines.contract.reasons import REASONS, WHAT_NEXT, sentence_template
from pipelines.intake.judging import findings
from pipelines.intake.landing import Landed, SpoiledRow
from pipelines.intake.rules import Rules
from pipelines.intake.sql_text import name, text

# Longer cells are shown cut in a sentence; `got` and `raw` keep them whole.
_SHOWN = 60


def hold_back_bad(
    con: duckdb.DuckDBPyConnection,
    landed: Landed,
    relation: str,
    rules: Rules,
    kept: list[str],
    load_id: int,
    is_good: str,
    spoiled: list[SpoiledRow],
    has_breaks: bool,
) -> None:
    """Put the rows of landing.judged that are not good into held_back, one line a cell."""
    _number_lines(con, landed, relation, rules, load_id, spoiled, has_breaks)
    pairs = ", ".join(f"{text(column)}, raw[{i}]" for i, column in enumerate(kept, 1))
    con.execute(
        f"""CREATE OR REPLACE TABLE landing.bad AS SELECT j.* EXCLUDE (raw), json_object({pairs}) AS raw_row, l.line_no,
                {text(landed.shown)} || CASE WHEN l.line_no IS NULL THEN ' row ' || rn ELSE ' line ' || l.line_no END AS place
            FROM landing.judged AS j LEFT JOIN landing.row_line AS l ON l.row_no = j.rn WHERE NOT ({is_good})"""
    )
    for column, code, got in findings(rules):
        found = con.execute(f"SELECT DISTINCT {code} FROM landing.bad WHERE {code} IS NOT NULL ORDER BY 1").fetchall()
        for (reason_code,) in found:
            con.execute(
                f"""INSERT INTO held_back SELECT ?, ?, ?, rn, line_no, ?, {got}, ?,
                        {_sentence(rules.table, column, reason_code, got)}, raw_row
                    FROM landing.bad WHERE {code} = ? ORDER BY rn""",
                [load_id, rules.table.name, landed.shown, column, reason_code, reason_code],
            )
    con.execute("DROP TABLE landing.bad")
    con.execute("DROP TABLE landing.row_line")


def hold_back_spoiled(
    con: duckdb.DuckDBPyConnection, landed: Landed, table: Table, load_id: int, spoiled: list[SpoiledRow]
) -> None:
    """Put rows that are no rows of the table into held_back, with their text as delivered."""
    if not spoiled:
        return
    import pyarrow as pa

    reasons = [
        REASONS[row.reason_code].format(got=row.got, allowed=f"{len(landed.columns)} fields", column="the row")
        for row in spoiled
    ]
    con.register(
        "spoiled_rows",
        pa.table(
            {
                "line": pa.array([row.line for row in spoiled], pa.int64()),
                "got": [row.got for row in spoiled],
                "code": [row.reason_code for row in spoiled],
                "reason": [
                    f"{landed.shown} line {row.line}: {said}. {WHAT_NEXT}"
                    for row, said in zip(spoiled, reasons, strict=True)
                ],
                "text": [row.text for row in spoiled],
            }
        ),
    )
    con.execute(
        """INSERT INTO held_back SELECT ?, ?, ?, NULL, line, NULL, got, code, reason, json_object('row', "text")
           FROM spoiled_rows ORDER BY line""",
        [load_id, table.name, landed.shown],
    )
    con.unregister("spoiled_rows")


def _sentence(table: Table, column: str, code: str, got: str) -> str:
    """SQL of the sentence for a cell: where, column, what was got, what is allowed, what next."""
    entry = table.by_name.get(column)
    template = sentence_template(table, entry, code) if entry else f"{column} {REASONS[code]}"
    before, has_got, after = template.partition("{got}")
    shown = f"CASE WHEN length({got}) > {_SHOWN} THEN left({got}, {_SHOWN}) || '…' ELSE {got} END"
    if code == "too_long":
        shown = f"format('{{:,}}', length({got}))"
    middle = f" || coalesce({shown}, '')" if has_got else ""
    return f"place || {text(': ' + before)}{middle} || {text(f'{after}. {WHAT_NEXT}')}"


def _number_lines(
    con: duckdb.DuckDBPyConnection,
    landed: Landed,
    relation: str,
    rules: Rules,
    load_id: int,
    spoiled: list[SpoiledRow],
    has_breaks: bool,
) -> None:
    """landing.row_line: row number -> line it begins on. NULL where that cannot be told for certain.

    Rows set aside and line breaks within cells move the rows after them; blank lines cannot be placed.
    """
    if landed.first_line is None or not _make_breaks(con, landed, relation, rules, load_id, spoiled, has_breaks):
        con.execute(
            "CREATE OR REPLACE TABLE landing.row_line AS SELECT 0::BIGINT AS row_no, 0::BIGINT AS line_no LIMIT 0"
        )
        return
    # The j-th row set aside stands before a row when fewer other lines come before it than before that row.
    moved = ", ".join(f"({row.line - j}, {j})" for j, row in enumerate(sorted(spoiled, key=lambda row: row.line), 1))
    con.execute(
        f"""CREATE OR REPLACE TABLE landing.row_line AS
            WITH cumulated AS (SELECT row_no, sum(n) OVER (ORDER BY row_no) AS n FROM landing.break_row),
            placed AS (
                SELECT j.rn AS row_no, j.rn + {landed.first_line - 1} + coalesce(c.n, 0) AS line_no
                FROM landing.judged AS j ASOF LEFT JOIN cumulated AS c ON j.rn > c.row_no),
            aside AS (SELECT * FROM (VALUES {moved or "(0, 0)"}) AS v(place, n))
            SELECT p.row_no, p.line_no + coalesce(a.n, 0) AS line_no
            FROM placed AS p ASOF LEFT JOIN aside AS a ON p.line_no > a.place"""
    )
    con.execute("DROP TABLE landing.break_row")


def _make_breaks(
    con: duckdb.DuckDBPyConnection,
    landed: Landed,
    relation: str,
    rules: Rules,
    load_id: int,
    spoiled: list[SpoiledRow],
    has_breaks: bool,
) -> bool:
    """landing.break_row: line breaks within the cells of a row. Returns whether all lines of the file are explained."""
    cells = [name(entry.name) for entry in rules.present() if entry.kind in ("id", "text")] if has_breaks else []
    within = [f"coalesce(length({cell}) - length(replace({cell}, chr(10), '')), 0)" for cell in cells]
    within.append(
        "coalesce(list_sum(list_transform(raw, lambda cell: length(cell) - length(replace(cell, chr(10), '')))), 0)"
    )
    total = " + ".join(within) if has_breaks else "0"
    con.execute(
        f"""CREATE OR REPLACE TABLE landing.break_row AS SELECT row_no, CAST({total} AS BIGINT) AS n FROM {relation}
            WHERE load_id = {load_id} AND ({total}) > 0"""
    )
    if landed.n_lines is None:
        return not has_breaks
    counted = con.execute(
        f"""SELECT (SELECT count(*) FROM {relation} WHERE load_id = {load_id}),
            (SELECT coalesce(sum(n), 0) FROM landing.break_row)"""
    ).fetchone()
    n_rows, n_breaks = counted if counted else (0, 0)
    explained = n_rows + len(spoiled) + n_breaks + (landed.first_line or 1) - 1
    return landed.n_lines in (explained, explained - 1)
