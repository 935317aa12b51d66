"""What a load says of the cells it refused: how many for each reason, the first of them, and unknown words with counts."""

from __future__ import annotations

from dataclasses import dataclass

import duckdb

# The words of a column that came from a list of the company's own: each is put right once, by a rule of the mapping.
REASONS_OF_WORDS = ("not_a_code", "not_a_flag", "not_a_unit", "not_a_currency")
WORDS_SHOWN = 8
_KEY = "coalesce(column_name || ': ', '') || reason_code"


@dataclass(frozen=True)
class ToldReasons:
    """counts, examples: "column: reason code" -> cells, and the sentence of the first such cell, with its place.

    unknown_words: the same keys -> the words that stood there, the most frequent first, in one sentence; only for
    REASONS_OF_WORDS, and only where there is more than one word.
    """

    counts: dict[str, int]
    examples: dict[str, str]
    unknown_words: dict[str, str]


def _plain(column: str, length: int) -> str:
    """SQL of a cell as one line: control characters would change what a terminal shows. NULL where nothing is left."""
    return f"nullif(left(trim(regexp_replace({column}, '[[:cntrl:]]+', ' ', 'g')), {length}), '')"


def told_reasons(con: duckdb.DuckDBPyConnection, load_id: int) -> ToldReasons:
    """Of the rows held back from one load. con: a store being made, with its table held_back."""
    rows = con.execute(
        f"""SELECT {_KEY}, count(*), min_by(reason, coalesce(row_no, line_no, 0))
            FROM held_back WHERE load_id = ? GROUP BY ALL ORDER BY ALL""",
        [load_id],
    ).fetchall()
    words = con.execute(
        f"""WITH word AS (
                SELECT {_KEY} AS key, {_plain("got", 40)} AS got, count(*) AS n FROM held_back
                WHERE load_id = ? AND reason_code IN {REASONS_OF_WORDS} AND nullif(trim(got), '') IS NOT NULL GROUP BY ALL)
            SELECT key, {most_frequent_sql("got", "n")} FROM word GROUP BY key HAVING count(*) > 1""",
        [load_id],
    ).fetchall()
    return ToldReasons(
        {key: n for key, n, _ in rows}, {key: sentence for key, _, sentence in rows}, {key: told for key, told in words}
    )


def most_frequent_sql(word: str, number: str) -> str:
    """SQL of an aggregate: 'NH' 12 times, 'NoHeet' once and 3 other words. word, number: columns, one row a word."""
    times = f"CASE {number} WHEN 1 THEN 'once' ELSE format('{{:,}} times', {number}) END"
    told = f"list('''' || {word} || ''' ' || {times} ORDER BY {number} DESC, {word})"
    rest = f"count(*) - {WORDS_SHOWN}"
    return (
        f"array_to_string({told}[:{WORDS_SHOWN}], ', ') || CASE WHEN {rest} = 1 THEN ' and 1 other word' "
        f"WHEN {rest} > 1 THEN format(' and {{:,}} other words', {rest}) ELSE '' END"
    )


# Rows still held back, one row for a table, column (missing: the row as a whole) and reason: reason (the sentence of one of
# them), n_rows, example (one refused cell; of REASONS_OF_WORDS the words met most often, with their counts).
OPEN_BY_REASON = f"""
    WITH cell AS (
        SELECT table_name, column_name, reason_code, reason, {_plain("got", 60)} AS got,
            (load_id, coalesce(row_no, -line_no)) AS place,
            CASE WHEN reason_code IN {REASONS_OF_WORDS} THEN {_plain("got", 40)} END AS word FROM held_back_open),
    counted AS (
        SELECT table_name, column_name, reason_code, any_value(reason) AS reason, count(DISTINCT place) AS n_rows,
            min(got) AS one FROM cell GROUP BY table_name, column_name, reason_code),
    word AS (
        SELECT table_name, column_name, reason_code, word, count(*) AS n FROM cell WHERE word IS NOT NULL GROUP BY ALL),
    told AS (
        SELECT table_name, column_name, reason_code, {most_frequent_sql("word", "n")} AS words FROM word
        GROUP BY table_name, column_name, reason_code)
    SELECT c.table_name, c.column_name, c.reason_code, c.reason, c.n_rows, coalesce(t.words, '''' || c.one || '''') AS example
    FROM counted AS c LEFT JOIN told AS t
      ON t.table_name = c.table_name AND t.reason_code = c.reason_code AND t.column_name IS NOT DISTINCT FROM c.column_name
    ORDER BY c.n_rows DESC, c.table_name, c.column_name, c.reason_code"""
