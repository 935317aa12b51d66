"""Rows that are not accepted, kept whole with a reason a cell and the line they stand on."""

from __future__ import annotations

import json

import duckdb

from pipelines.contract.fields import Field, Table
from pipelines.contract.reasons import REASONS, WHAT_NEXT, sentence_template
from pipelines.intake.headers import Columns
from pipelines.intake.judging import findings
from pipelines.intake.landing import Landed, SpoiledRow, cells_of
from pipelines.intake.line_numbers import Lines, number_rows
from pipelines.intake.rules import Rules
from pipelines.intake.sql_text import text

# Longer cells are shown cut in a sentence; `got` and `raw` keep them whole.
_SHOWN = 60
# Jaro-Winkler likeness from which a code is proposed.
_ALIKE = 0.8


def hold_back_bad(
    con: duckdb.DuckDBPyConnection,
    landed: Landed,
    rules: Rules,
    kept: list[str],
    load_id: int,
    is_good: str,
    lines: Lines,
) -> None:
    """Put the rows of landing.judged that are not good into held_back, one line a cell."""
    number_rows(con, lines)
    pairs = ", ".join(f"{text(column)}, raw[{i}]" for i, column in enumerate(kept, 1))
    con.execute(
        f"""CREATE OR REPLACE TABLE landing.bad AS SELECT j.* EXCLUDE (raw), json_object({pairs}) AS raw_row, l.line_no,
                {text(landed.shown)} || CASE WHEN l.line_no IS NULL THEN ' row ' || coalesce(l.shown_row, rn) ELSE ' line ' || l.line_no END AS place
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
    con: duckdb.DuckDBPyConnection, landed: Landed, table: Table, columns: Columns, load_id: int, lines: Lines
) -> None:
    """Put rows that are no rows of the table into held_back, with their text as delivered.

    Which of their fields are personal cannot be told, so of a file with personal columns the text is not kept.
    """
    if not lines.spoiled:
        return
    import pyarrow as pa

    spoiled = lines.spoiled
    # Lines of text without an object count as they stand; rows of a text file may be near the line only.
    word = "line" if lines.is_certain or not landed.is_csv else "near line"

    reasons = [
        REASONS[row.reason_code].format(
            got=row.got, allowed=f"{landed.n_fields or len(landed.columns)} fields", column="the row"
        )
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
                    f"{landed.shown} {word} {row.line}: {said}. {WHAT_NEXT}"
                    for row, said in zip(spoiled, reasons, strict=True)
                ],
                "raw": [json.dumps(_kept(row, landed, columns), ensure_ascii=False) for row in spoiled],
            }
        ),
    )
    con.execute(
        """INSERT INTO held_back SELECT ?, ?, ?, NULL, line, NULL, got, code, reason, raw
           FROM spoiled_rows ORDER BY line""",
        [load_id, table.name, landed.shown],
    )
    con.unregister("spoiled_rows")


def _kept(row: SpoiledRow, landed: Landed, columns: Columns) -> dict[str, str | int]:
    if not columns.personal:
        return {"row": row.text}
    said: dict[str, str | int] = {"row": "not kept: the file has personal columns"}
    return said | ({"fields": len(cells_of(row.text, landed.delimiter))} if landed.delimiter else {})


def _sentence(table: Table, column: str, code: str, got: str) -> str:
    """SQL of the sentence for a cell: where, column, what was got, what is allowed, what next."""
    entry = table.by_name.get(column)
    template = sentence_template(table, entry, code) if entry else f"{column} {REASONS[code]}"
    before, has_got, after = template.partition("{got}")
    shown = f"CASE WHEN length({got}) > {_SHOWN} THEN left({got}, {_SHOWN}) || '…' ELSE {got} END"
    if code == "too_long":
        shown = f"format('{{:,}}', length({got}))"
    middle = f" || coalesce({shown}, '')" if has_got else ""
    if code == "not_a_code" and entry is not None:
        after_it = f"{text(after)} || {_meant(entry, got)} || {text(WHAT_NEXT)}"
        return f"place || {text(': ' + before)}{middle} || {after_it}"
    return f"place || {text(': ' + before)}{middle} || {text(f'{after}. {WHAT_NEXT}')}"


def _meant(entry: Field, got: str) -> str:
    """SQL of '; did you mean X?' for the code that is spelled most alike, or the full stop where none is near."""
    codes = "[" + ", ".join(text(code) for code in (entry.code_list.values() if entry.code_list else ())) + "]"
    likeness = f"lambda code: {{'likeness': jaro_winkler_similarity(folded({got}), code), 'code': code}}"
    nearest = f"list_max(list_transform({codes}, {likeness}))"
    return f"""(SELECT CASE WHEN n.likeness >= {_ALIKE} THEN '; did you mean ' || n.code || '? ' ELSE '. ' END FROM (SELECT {nearest} AS n))"""
