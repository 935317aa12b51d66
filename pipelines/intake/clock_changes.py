"""Local times around a change of the clocks: those that occur twice, and those that never were."""

from __future__ import annotations

import duckdb

from pipelines.intake.headers import sort_columns
from pipelines.intake.landing import Landed
from pipelines.intake.numbered import numbered
from pipelines.intake.sql_text import count, text
from pipelines.settings import Settings

_LOCAL = "timezone({zone}, timezone('UTC', arrived_at{shift}))"
# Clocks change in spring and autumn, at night: most rows need no look at the calendar.
_MONTHS = "month(arrived_at) IN (3, 4, 9, 10, 11)"


def clock_changes(
    con: duckdb.DuckDBPyConnection, landed: Landed, relation: str, load_id: int, settings: Settings
) -> list[str]:
    """What is told of the accepted visits of a load. relation: where they stand. Nothing is told where clocks never change."""
    if settings.time_zone == "UTC":
        return []
    zone = text(settings.time_zone)
    now, before = (_LOCAL.format(zone=zone, shift=shift) for shift in ("", " - INTERVAL 1 HOUR"))
    rows = f"FROM {relation} WHERE load_id = {load_id} AND {_MONTHS}"
    told = []
    n_twice = count(con, f"SELECT count(*) {rows} AND {now} = {before}")
    if n_twice:
        told.append(
            numbered(
                n_twice,
                "[arrival lies|arrivals lie] in the hour that occurs twice when clocks go back; written without an offset, "
                "the later is meant.",
            )
        )
    # Within an hour of the clocks going forward stand those that were moved, and those written rightly.
    if count(con, f"SELECT count(*) {rows} AND {now} > {before} + INTERVAL 1 HOUR"):
        told += _skipped(con, landed, relation, load_id, settings)
    return told


def _skipped(
    con: duckdb.DuckDBPyConnection, landed: Landed, relation: str, load_id: int, settings: Settings
) -> list[str]:
    """Arrivals written as a time that never was: the file is asked, since the stored time no longer shows it."""
    zone = text(settings.time_zone)
    columns = sort_columns(landed.header.table, landed.columns).known
    cell = f"cell(c{landed.columns.index(columns['arrived_at'])})"
    written = f"SELECT {cell} AS cell, try_cast({cell} AS TIMESTAMP) AS naive FROM {landed.relation}"
    n = count(
        con,
        f"""SELECT count(*) FROM ({written})
            WHERE naive BETWEEN (SELECT min(arrived_at) - INTERVAL 1 DAY FROM {relation} WHERE load_id = {load_id})
                AND (SELECT max(arrived_at) + INTERVAL 1 DAY FROM {relation} WHERE load_id = {load_id})
            AND {_MONTHS.replace("arrived_at", "naive")} AND NOT has_offset(cell)
            AND timezone({zone}, timezone('UTC', utc_of(naive, {zone}))) <> naive""",
    )
    said = "[arrival lies|arrivals lie] in the hour that clocks skip when they go forward; [it was|they were] moved on by it."
    return [numbered(n, said)] if n else []
