"""What is typed in, judged before it is kept: by the acceptance of files, and by the very SQL that the facts are made with.

Nothing here says what is allowed; it asks those who do.
"""

from __future__ import annotations

import csv
import json
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import duckdb

from pipelines.contract.ddl import create_delivered, entered_columns
from pipelines.contract.reasons import WHAT_NEXT
from pipelines.contract.tables import TABLE_BY_NAME
from pipelines.intake.session import LoadSession
from pipelines.intake.sql_text import name
from pipelines.relations import SQL_FOLDER, Relation, narrowed, parse, read_relation
from pipelines.settings import Settings

_RESULT = SQL_FOLDER / "facts" / "bench_result.sql"
_MATCH = SQL_FOLDER / "facts" / "bench_match.sql"
WITHOUT_SWAP = SQL_FOLDER / "checks" / "bench_test_without_swap.sql"
_CORRECTION = SQL_FOLDER / "records" / "correction_entered.sql"


@dataclass(frozen=True)
class Accepted:
    """One row as acceptance sees it. stored: its columns as the store keeps them; None where it would be held back, and
    for a row that a later one of the same key replaces.

    reasons: column -> why it would be ("" for the row as a whole).
    """

    stored: dict[str, Any] | None
    reasons: dict[str, str]

    @property
    def is_accepted(self) -> bool:
        return not self.reasons


def accepted(settings: Settings, table_name: str, rows: Sequence[Mapping[str, str]]) -> list[Accepted]:
    """Judge rows of text cells as a file of them would be judged; nothing is kept. The rows have the same columns."""
    table = TABLE_BY_NAME[table_name]
    columns = list(rows[0])
    with tempfile.TemporaryDirectory(prefix="goodpull-entry-") as folder, duckdb.connect() as con:
        create_delivered(con)
        path = Path(folder) / f"{table_name}_entered.csv"
        with path.open("w", encoding="utf-8", newline="") as file:
            # The number of a row stands in a column that is not read, so that every row can be told from the others.
            writer = csv.writer(file, quoting=csv.QUOTE_ALL)
            writer.writerow([*columns, "row_as_typed"])
            writer.writerows([*(row[column] for column in columns), str(number)] for number, row in enumerate(rows))
        session = LoadSession(con, settings, Path(folder), datetime.now(UTC).date())
        session.read([(path, None)], lambda sentence, share: None)
        session.finish()
        error = session.reports[0].error
        if error:
            return [Accepted(None, {"": error}) for _ in rows]
        kept = ", ".join(name(column) for column, _ in entered_columns(table))
        good = con.execute(
            f"SELECT row_no, to_json(c) FROM (SELECT row_no, {kept} FROM delivered.{name(table_name)}) AS c"
        )
        stored = {row_no: json.loads(row) for row_no, row in good.fetchall()}
        bad = con.execute("SELECT row_no, coalesce(column_name, ''), reason FROM held_back").fetchall()
    reasons: dict[int, dict[str, str]] = {}
    for row_no, column, reason in bad:
        reasons.setdefault(row_no, {})[column] = _said(reason)
    for row in stored.values():
        del row["row_no"]
    return [Accepted(stored.get(number), reasons.get(number, {})) for number in range(1, len(rows) + 1)]


def _said(reason: str) -> str:
    """A reason without the place in a file that nobody sees, and without what happens to a row of a file."""
    return reason.split(": ", 1)[-1].removesuffix(WHAT_NEXT).strip()


def correction_problem(con: duckdb.DuckDBPyConnection, stored: Mapping[str, Any]) -> str | None:
    """Why the records do not allow a correction; None where they do.

    con: the generation in force. stored: the correction as `accepted` gives it.
    """
    if not con.execute("SELECT 1 FROM visit WHERE visit_id = ?", [stored["visit_id"]]).fetchone():
        return f"visit_id is {stored['visit_id']}; no such visit is on record."
    _put(con, "corrections", [stored])
    select = _on_typed(con, _CORRECTION, {"delivered.corrections": "no_correction", "entered.corrections": "typed"})
    columns = ", ".join(f"{name(column)}" for column, _ in entered_columns(TABLE_BY_NAME["corrections"]))
    con.execute(
        f"CREATE OR REPLACE TEMP TABLE no_correction AS "
        f"SELECT {columns}, NULL::INTEGER AS load_id, NULL::BIGINT AS row_no FROM typed WHERE false"
    )
    row = con.execute(f"SELECT is_allowed, target FROM ({select})").fetchone()
    field = stored["corrected_field"]
    if row and row[0]:
        # A blank value takes the correction before it back.
        is_result = field == "bench_result" and bool((stored["new_value"] or "").rpartition(":")[2].strip())
        return _untested(con, stored["visit_id"], row[1]) if is_result else None
    if field == "link":
        return "A link must name another visit to the same site, or be: none."
    if field == "owner":
        return f"{stored['new_value']!r} is no technician on record."
    allowed = con.execute(
        "SELECT string_agg(new_value, ', ' ORDER BY new_value) FROM allowed_correction WHERE corrected_field = ?",
        [field],
    ).fetchone()
    return f"{field} is {stored['new_value']!r}; must be one of {allowed[0] if allowed else ''}."


def _untested(con: duckdb.DuckDBPyConnection, visit_id: str, tag: str | None) -> str | None:
    """Why a bench result cannot be corrected where none is: it would hold against the test that is made later."""
    found = con.execute(
        """SELECT 1 FROM bench_result AS b JOIN swap AS w USING (swap_id)
           WHERE w.visit_id = ? AND (?::VARCHAR IS NULL OR b.removed_tag = ?)""",
        [visit_id, tag, tag],
    ).fetchone()
    if found:
        return None
    which = f"the tag {tag}" if tag else "a switch"
    return f"No bench test of {which} from visit {visit_id} is on record, so there is no result to correct. Enter the test first (Bench)."


def checks_against(con: duckdb.DuckDBPyConnection, visit_id: str, cause_code: str) -> list[str]:
    """Checks marked sound on the visit that look where this cause lies; none where one that points to it was at fault.

    con: the generation in force. Not the draft at the switch: where it is sound, the fault lies in the switch all the more.
    """
    found = con.execute(
        """SELECT list(DISTINCT c.check_code ORDER BY c.check_code) FILTER (c.outcome = 'sound'), bool_or(c.outcome = 'fault')
           FROM cause_sign AS s JOIN visit_check AS c ON list_contains(s.check_codes, c.check_code)
           WHERE s.cause_code = ? AND c.visit_id = ? AND c.check_code <> 'draft_at_switch'""",
        [cause_code, visit_id],
    ).fetchone()
    return list(found[0] or []) if found and not found[1] else []


def bench_verdict(con: duckdb.DuckDBPyConnection, stored: Mapping[str, Any]) -> dict[str, Any] | None:
    """What the facts would say of one bench test: the row of bench_result, or None where no swap fits its tag or visit.

    con: the generation in force. stored: the test as `accepted` gives it. The relations' own SELECTs are run, on this
    test alone.
    """
    return bench_verdicts(con, [stored]).get(stored["bench_test_id"])


def bench_verdicts(con: duckdb.DuckDBPyConnection, stored: Sequence[Mapping[str, Any]]) -> dict[str, dict[str, Any]]:
    """The same of several tests: bench_test_id -> row. Those that no swap fits are not in it.

    The verdict is of each test by itself; how many tests a switch has, and how it was picked, is told over all of these.
    """
    found: dict[str, dict[str, Any]] = {}
    left = list(stored)
    # A row of bench_result is of a swap's last test: of several of one switch, one is judged in each turn.
    while left:
        cursor = con.execute(_on_typed(con, _RESULT, _matched(con, left)))
        names = [column[0] for column in cursor.description or ()]
        judged = {
            row["bench_test_id"]: row for row in (dict(zip(names, one, strict=True)) for one in cursor.fetchall())
        }
        if not judged:
            break
        found |= judged
        left = [test for test in left if test["bench_test_id"] not in judged]
    return found


def why_without_swap(con: duckdb.DuckDBPyConnection, stored: Sequence[Mapping[str, Any]]) -> dict[str, str]:
    """Which of these tests no swap fits, and why: bench_test_id -> a sentence, as the health check says of tests on record.

    con: the generation in force. stored: tests as `accepted` gives them; they need not be on record.
    """
    if not stored:
        return {}
    text = WITHOUT_SWAP.read_text("utf-8")
    check = Relation(WITHOUT_SWAP.stem, "", "view", text, parse(con, text, WITHOUT_SWAP), frozenset(), frozenset())
    found = con.execute(f"SELECT bench_test_id, why FROM ({narrowed(con, check, _matched(con, stored), 'temp')})")
    return dict(found.fetchall())


def _matched(con: duckdb.DuckDBPyConnection, stored: Sequence[Mapping[str, Any]]) -> dict[str, str]:
    """Put the tests and the swaps they fit beside the records; which relation is read from which table then."""
    _put(con, "bench_tests", stored)
    typed = {"bench_test": "typed", "bench_match": "typed_match"}
    con.execute(f"CREATE OR REPLACE TEMP TABLE typed_match AS {_on_typed(con, _MATCH, typed)}")
    return typed


def _put(con: duckdb.DuckDBPyConnection, table_name: str, rows: Sequence[Mapping[str, Any]]) -> None:
    """The rows as the temporary table `typed`, with the columns of entered.<table>."""
    columns = entered_columns(TABLE_BY_NAME[table_name])
    typed = ", ".join(f"CAST(row ->> '{column}' AS {kind}) AS {name(column)}" for column, kind in columns)
    values = [json.dumps(dict(row)) for row in rows]
    con.execute(
        f"CREATE OR REPLACE TEMP TABLE typed AS SELECT {typed} FROM (SELECT unnest(?::JSON[]) AS row)", [values]
    )


def _on_typed(con: duckdb.DuckDBPyConnection, path: Path, replacements: Mapping[str, str]) -> str:
    return narrowed(con, read_relation(con, path), replacements, "temp")
