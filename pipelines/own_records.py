"""The company's own work into a generation: what is in force of it, beside the delivered records.

Corrections, bench tests, coaching sessions and identities in force stand in `entered`; rows that were mended are loaded by the same acceptance as any
file, as a load of their own in the ledger; rows dismissed, mended, or replaced by a later version of themselves are named
in `held_back_settled`. Taken in at every load, so that figures include it, however often the records are loaded anew.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import duckdb

from pipelines.contract.ddl import ENTERED_TABLES, entered_columns
from pipelines.contract.tables import TABLE_BY_NAME
from pipelines.held_back_keys import settle_replaced
from pipelines.identity_decisions import exchange_same, standing
from pipelines.intake.report import FileReport
from pipelines.intake.sql_text import count, name
from pipelines.mended_rows import load_mended, take_back_mended
from pipelines.own_work import Kept, OwnWork
from pipelines.settings import Settings

# Kinds of entry that a figure, or a count beside the figures, rests on.
KINDS_TAKEN_IN = ("correction", "bench_test", "coaching_session", "mended_row", "dismissed_row", "identity")
TABLE_OF_KIND = {"correction": "corrections", "bench_test": "bench_tests", "coaching_session": "coaching_sessions"}
# Temporary tables that say which visits and tags the change is about: see pipelines.changes.
CORRECTED, TESTED = "own_corrected", "own_tested"


@dataclass(frozen=True)
class Taken:
    """What taking in the own work changed. load_ids: of mended rows. reports: of the same, one a file.

    is_taken_back: whether rows left the records, so that everything has to be built anew.
    """

    is_changed: bool
    load_ids: tuple[int, ...] = ()
    reports: tuple[FileReport, ...] = ()
    is_taken_back: bool = False


def take_in(
    con: duckdb.DuckDBPyConnection, own: OwnWork, settings: Settings, scratch: Path, first_load_id: int | None = None
) -> Taken:
    """Bring what is in force of the own work into the generation behind `con`; running it twice changes nothing.

    scratch: a folder for files in between. first_load_id: the first load of this generation, whose rows may replace rows
    held back; None = there is none. Raises OwnWorkError when the own work cannot be read: figures without it
    would be wrong.
    """
    every = own.entries()
    con.execute(f"CREATE OR REPLACE TEMP TABLE {CORRECTED} (visit_id VARCHAR)")
    con.execute(f"CREATE OR REPLACE TEMP TABLE {TESTED} (visit_id VARCHAR, removed_tag VARCHAR)")
    in_force = [kept for kept in every if kept.is_in_force]
    n_exchanged = sum(
        _exchange(con, TABLE_OF_KIND[kind], [kept for kept in in_force if kept.entry.kind == kind])
        for kind in TABLE_OF_KIND
    ) + exchange_same(con, in_force)
    n_taken_back = take_back_mended(con, every)
    # What was mended until now may have been replaced meanwhile.
    first = 1 if n_taken_back else first_load_id
    n_settled = settle_replaced(con, settings, first) if first is not None else 0
    load_ids, reports = load_mended(con, in_force, settings, scratch)
    n_settled += _settle_dismissed(con, in_force)
    last = max((kept.entry_no for kept in every), default=0)
    con.execute("DELETE FROM own_work_state")
    con.execute("INSERT INTO own_work_state VALUES (?)", [last])
    is_changed = bool(n_exchanged or load_ids or n_settled or n_taken_back)
    return Taken(is_changed, tuple(load_ids), tuple(reports), bool(n_taken_back))


def n_waiting(con: duckdb.DuckDBPyConnection, own: OwnWork) -> int:
    """How many entries the generation behind `con` does not include yet."""
    row = con.execute("SELECT coalesce(max(last_entry_no), 0) FROM own_work_state").fetchone()
    last = int(row[0]) if row else 0
    if own.last_no(*KINDS_TAKEN_IN) <= last:
        return 0
    entries = own.entries(*KINDS_TAKEN_IN)
    return sum(_waits(kept, last) for kept in entries) or int(_is_merged_otherwise(entries, last))


def _waits(kept: Kept, last: int) -> bool:
    """Whether a generation that includes the entries up to `last` lacks this one, or its undo. "Not the same" merges
    nothing, so that no figure waits for it by itself: see _is_merged_otherwise."""
    if kept.entry.content.get("decision") == "different":
        return False
    return kept.is_in_force if kept.entry_no > last else kept.undone_no is not None and kept.undone_no > last


def _is_merged_otherwise(entries: Sequence[Kept], last: int) -> bool:
    """Whether a "not the same" that came with a copy, or was taken back, parts or joins what others had said."""
    before = [
        replace(kept, undone_by=None) if kept.undone_no is not None and kept.undone_no > last else kept
        for kept in entries
        if kept.entry_no <= last
    ]
    return standing(before).merged() != standing(entries).merged()


def _exchange(con: duckdb.DuckDBPyConnection, table_name: str, wanted: Sequence[Kept]) -> int:
    """Make entered.<table> hold exactly these entries; how many rows differ. The visits and tags they name are noted."""
    assert table_name in ENTERED_TABLES
    columns = entered_columns(TABLE_BY_NAME[table_name])
    typed = ", ".join(f"CAST(row ->> '{column}' AS {kind}) AS {name(column)}" for column, kind in columns)
    con.execute("CREATE OR REPLACE TEMP TABLE own_row (row JSON)")
    if wanted:
        con.executemany(
            "INSERT INTO own_row VALUES (?)", [[json.dumps(kept.entry.content["stored"])] for kept in wanted]
        )
    con.execute(f"CREATE OR REPLACE TEMP TABLE own_wanted AS SELECT {typed} FROM own_row")
    entered = f"entered.{name(table_name)}"
    con.execute(
        f"""CREATE OR REPLACE TEMP TABLE own_differing AS
            (FROM own_wanted EXCEPT FROM {entered}) UNION ALL (FROM {entered} EXCEPT FROM own_wanted)"""
    )
    n_differing = count(con, "SELECT count(*) FROM own_differing")
    if n_differing:
        con.execute(f"DELETE FROM {entered}")
        con.execute(f"INSERT INTO {entered} BY NAME FROM own_wanted")
        if table_name == "corrections":
            con.execute(f"INSERT INTO {CORRECTED} SELECT DISTINCT visit_id FROM own_differing")
        elif table_name == "bench_tests":
            con.execute(f"INSERT INTO {TESTED} SELECT DISTINCT visit_id, removed_tag FROM own_differing")
    for made in ("own_row", "own_wanted", "own_differing"):
        con.execute(f"DROP TABLE {made}")
    return n_differing


def _settle_dismissed(con: duckdb.DuckDBPyConnection, in_force: Iterable[Kept]) -> int:
    """Name the rows that are dismissed; how many differ from before."""
    wanted = {(kept.entry.about, kept.entry.entry_id) for kept in in_force if kept.entry.kind == "dismissed_row"}
    before = set(con.execute("SELECT row_key, entry_id FROM held_back_settled WHERE outcome = 'dismissed'").fetchall())
    if wanted == before:
        return 0
    con.execute("DELETE FROM held_back_settled WHERE outcome = 'dismissed'")
    if wanted:
        con.executemany(
            "INSERT INTO held_back_settled (row_key, outcome, entry_id) VALUES (?, 'dismissed', ?)",
            [list(one) for one in sorted(wanted)],
        )
    return len(wanted ^ before)
