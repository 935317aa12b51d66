"""One table of text into its target: quickly judged rows go in, marked ones are looked at again, the rest is held back.

A target has the columns of the delivered table and `raw`, which holds the text of the rows that are still marked. The
order of the file is kept while it is read, so that a row's place in the target gives its number in the file.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date

import duckdb

from pipelines.contract.codes import PRESSURE_QUANTITIES
from pipelines.contract.ddl import stored_columns
from pipelines.contract.fields import Table
from pipelines.intake.clock_changes import clock_changes
from pipelines.intake.file_kinds import IntakeError
from pipelines.intake.headers import Columns, sort_columns
from pipelines.intake.holding_back import hold_back_bad, hold_back_spoiled
from pipelines.intake.judging import findings, thorough_sql
from pipelines.intake.landing import Landed
from pipelines.intake.line_numbers import Lines, find_lines
from pipelines.intake.quick import quick_sql
from pipelines.intake.rules import Rules, raw, stored, stored_list
from pipelines.intake.spoiled import (
    refuse_lost_lines,
    refuse_open_quotes,
    refuse_swallowed,
    refuse_when_none_fits,
    spoiled_rows,
)
from pipelines.intake.sql_text import count, name, texts
from pipelines.intake.suspicions import suspicions
from pipelines.settings import Settings


class UnreadableText(Exception):
    """DuckDB's reader gave up on a text file; it may still read it written again with one kind of line end."""


@dataclass(frozen=True)
class Target:
    """Where the rows of a table go. is_direct: whether that is the delivered table itself, empty before the load."""

    table: Table
    relation: str
    is_direct: bool


@dataclass(frozen=True)
class Read:
    """What was read of one file. n_good: rows now in the target, n_spoiled: rows that are no rows of the table."""

    n_rows: int
    n_good: int
    columns: Columns
    messages: tuple[str, ...]


def read_table(
    con: duckdb.DuckDBPyConnection, landed: Landed, target: Target, load_id: int, settings: Settings, today: date
) -> Read:
    """Read a landed table into the target under `load_id`; rows not accepted go to held_back with their reasons.

    Raises IntakeError when a required column is missing or rows cannot be told apart, UnreadableText when the CSV reader
    gives up; the caller then removes what came in under `load_id`.
    """
    table = target.table
    columns = sort_columns(table, landed.columns)
    columns = replace(columns, personal=[*columns.personal, *landed.personal])
    if columns.missing:
        raise IntakeError(_missing(table, columns))
    rules = Rules(table, frozenset(columns.known), settings, today, landed.is_plain, landed.may_break)
    kept = [column for column in landed.columns if column not in columns.personal]
    n_read = _insert_quickly(con, landed, target, rules, columns, kept, load_id)
    spoiled = [*landed.spoiled, *(spoiled_rows(con, landed, n_read) if landed.is_csv else [])]
    refuse_when_none_fits(landed, columns, n_read, spoiled)
    n_rows = n_read + len(spoiled)
    n_plain = n_rows + (landed.first_line or 1) - 1
    has_breaks = landed.is_csv and landed.may_break and (landed.n_lines is None or landed.n_lines > n_plain)
    lines = find_lines(con, landed, target.relation, rules, load_id, spoiled, has_breaks)
    if landed.is_csv:
        refuse_open_quotes(landed, columns, lines)
    if has_breaks:
        refuse_swallowed(con, landed, target.relation, rules, columns, load_id)
    refuse_lost_lines(con, landed, columns, lines)
    hold_back_spoiled(con, landed, table, columns, load_id, lines)
    n_bad = _judge_marked(con, landed, target, rules, columns, kept, load_id, lines)
    con.execute("DROP TABLE landing.break_row")
    return Read(n_rows, n_read - n_bad, columns, tuple(_messages(con, landed, target, rules, columns, n_rows, load_id)))


def take_back(con: duckdb.DuckDBPyConnection, target: Target, load_id: int) -> None:
    """Remove everything that came in under a load that is refused after all."""
    con.execute(f"DELETE FROM {target.relation} WHERE load_id = {load_id}")
    con.execute(f"DELETE FROM held_back WHERE load_id = {load_id}")


def _insert_quickly(
    con: duckdb.DuckDBPyConnection,
    landed: Landed,
    target: Target,
    rules: Rules,
    columns: Columns,
    kept: list[str],
    load_id: int,
) -> int:
    place = {column: i for i, column in enumerate(landed.columns)}
    known = {column: field for field, column in columns.known.items()}
    cells = [f"c{place[column]}" + (f" AS {name('r_' + known[column])}" if column in known else "") for column in kept]
    texts = [name("r_" + known[column]) if column in known else f"c{place[column]}" for column in kept]
    query = quick_sql(rules, f"SELECT {', '.join(cells)} FROM {landed.relation}")
    con.execute("DROP TABLE IF EXISTS reject_scans")
    con.execute("DROP TABLE IF EXISTS reject_errors")
    # A row's number is its place in the file only while the order of the file is kept.
    con.execute("SET preserve_insertion_order = true")
    try:
        n_read = count(
            con,
            f"""INSERT INTO {target.relation} SELECT {", ".join(stored_list(rules))}, {load_id}, NULL,
                CASE WHEN is_suspect THEN [{", ".join(texts)}] END FROM ({query})""",
        )
    except (duckdb.InvalidInputException, duckdb.NotImplementedException) as error:
        raise UnreadableText(str(error).splitlines()[0][:200]) from error
    finally:
        con.execute("SET preserve_insertion_order = false")
    con.execute(
        f"""UPDATE {target.relation} SET row_no = rowid + 1 -
            (SELECT min(rowid) FROM {target.relation} WHERE load_id = {load_id}) WHERE load_id = {load_id}"""
    )
    return n_read


def _judge_marked(
    con: duckdb.DuckDBPyConnection,
    landed: Landed,
    target: Target,
    rules: Rules,
    columns: Columns,
    kept: list[str],
    load_id: int,
    lines: Lines,
) -> int:
    """Look at the marked rows again; good ones take their place, the others are held back. Returns how many those are."""
    marked = f"FROM {target.relation} WHERE load_id = {load_id} AND raw IS NOT NULL"
    if not count(con, f"SELECT count(*) {marked}"):
        return 0
    cells = [f"raw[{kept.index(column) + 1}] AS {name('r_' + field)}" for field, column in columns.known.items()]
    query = thorough_sql(rules, f"SELECT row_no AS rn, raw, {', '.join(cells)} {marked}")
    con.execute(f"CREATE OR REPLACE TABLE landing.judged AS {query}")
    is_good = " AND ".join(f"{code} IS NULL" for _, code, _ in findings(rules))
    n_bad = count(con, f"SELECT count(*) FROM landing.judged WHERE NOT ({is_good})")
    if n_bad:
        hold_back_bad(con, landed, rules, kept, load_id, is_good, lines)
    con.execute(f"DELETE {marked}")
    con.execute(
        f"INSERT INTO {target.relation} SELECT {', '.join(stored_list(rules))}, {load_id}, rn, NULL "
        f"FROM landing.judged WHERE {is_good}"
    )
    con.execute("DROP TABLE landing.judged")
    return n_bad


def _missing(table: Table, columns: Columns) -> str:
    lacking = ", ".join(columns.missing)
    hints = [f"{column!r} looks like {near}" for column, near in columns.unknown.items() if near in columns.missing]
    hint = f" ({'; '.join(hints)}: rename it)" if hints else ""
    there = ", ".join(columns.known.values()) or "none that is known"
    return (
        f"lacks the required column {lacking} of the table {table.name}{hint}. It has: {there}. Add or rename the "
        "column and load the file again; nothing was loaded from it."
    )


def _messages(
    con: duckdb.DuckDBPyConnection,
    landed: Landed,
    target: Target,
    rules: Rules,
    columns: Columns,
    n_rows: int,
    load_id: int,
) -> list[str]:
    messages = list(landed.messages)
    if n_rows == 0:
        messages.append("has a header and no rows.")
    if not landed.header.is_named:
        messages.append(f"read as {target.table.name}, the table whose columns it fits best.")
    if landed.encoding not in (None, "utf-8"):
        messages.append(f"read as {landed.encoding}.")
    if columns.personal:
        messages.append(f"personal columns dropped: {', '.join(columns.personal)}.")
    for column, near in columns.unknown.items():
        hint = f"; did you mean {near}?" if near else "."
        messages.append(f"column {column!r} is not in the contract and was left out{hint}")
    n_unknown = _n_without_unit(con, landed, target, rules, load_id)
    if n_unknown:
        messages.append(
            f"{n_unknown:,} {'row has' if n_unknown == 1 else 'rows have'} pressures without a unit; they stay unknown "
            "(where it is known, set default_pressure_unit and load the file again)."
        )
    messages += suspicions(con, target.table, target.relation, load_id)
    if target.table.name == "visits":
        messages += clock_changes(con, landed, target.relation, load_id, rules.settings)
    return messages


def _n_without_unit(con: duckdb.DuckDBPyConnection, landed: Landed, target: Target, rules: Rules, load_id: int) -> int:
    """Accepted rows with a pressure that stays unknown for want of a unit."""
    served = [entry for unit in rules.units() for entry in rules.served_by(unit)]
    if not served:
        return 0
    (unit,) = rules.units()
    without = f"FROM {target.relation} WHERE load_id = {load_id} AND {name(unit.name)} IS NULL"
    if any(entry.kind == "quantity" for entry in served):
        return count(con, f"SELECT count(*) {without} AND quantity IN ({texts(PRESSURE_QUANTITIES)})")
    if not count(con, f"SELECT count(*) {without}"):
        return 0
    # A pressure without a unit is not stored, so the file is asked whether there was one.
    place = {
        field: landed.columns.index(column) for field, column in sort_columns(rules.table, landed.columns).known.items()
    }
    cells = ", ".join(f"c{place[entry.name]} AS {name('r_' + entry.name)}" for entry in rules.present())
    query = quick_sql(rules, f"SELECT {cells} FROM {landed.relation}")
    filled = " OR ".join(f"{raw(entry)} IS NOT NULL" for entry in served)
    return count(con, f"SELECT count(*) FROM ({query}) WHERE NOT is_suspect AND {stored(unit)} IS NULL AND ({filled})")


def create_target(con: duckdb.DuckDBPyConnection, table: Table) -> Target:
    """Where this load's rows of a table go: into the delivered table while it is empty, else beside it first."""
    delivered = f"delivered.{name(table.name)}"
    is_direct = not count(con, f"SELECT count(*) FROM (FROM {delivered} LIMIT 1)")
    if is_direct:
        con.execute(f"ALTER TABLE {delivered} ADD COLUMN raw VARCHAR[]")
        return Target(table, delivered, True)
    spelled = ", ".join(f"{name(column)} {kind}" for column, kind in (*stored_columns(table), ("raw", "VARCHAR[]")))
    con.execute(f"CREATE TABLE landing.{name(table.name)} ({spelled})")
    return Target(table, f"landing.{name(table.name)}", False)
