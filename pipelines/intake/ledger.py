"""The ledger of loads: its lines, what it knows a file by, and with which settings and mapping its cells were read."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import datetime

import duckdb

from pipelines.intake.report import FileReport
from pipelines.intake.sql_text import count
from pipelines.mapping.declared import Mapping
from pipelines.settings import Settings

# One row per load, newest first.
NEWEST_LOADS = """
    SELECT loaded_at AS loaded, file_name AS file, table_name AS "table", n_rows AS rows, n_accepted AS accepted,
           n_revised AS revised, n_held_back AS "held back", n_duplicates AS duplicates, file_digest AS digest
    FROM load ORDER BY loaded_at DESC, load_id DESC
"""
_VERSION = re.compile(r" mapping=(\w+)$")


def ledger_digest(content: str, settings: Settings, mapping: Mapping | None) -> str:
    """What the ledger knows a file by: its content, the settings its cells were read with, the version of the mapping."""
    unit = settings.default_pressure_unit or "none"
    read_by = f" mapping={mapping.digest}" if mapping is not None else ""
    return f"{content} time_zone={settings.time_zone} default_pressure_unit={unit}{read_by}"


def settings_read_with(ledger_digest: str, company: Settings) -> Settings:
    """The settings the cells of a file were read with, by what the ledger knows it by; the company's where it does not say."""
    said = dict(word.split("=", 1) for word in ledger_digest.split(" ") if "=" in word)
    unit = said.get("default_pressure_unit", company.default_pressure_unit)
    return replace(
        company,
        time_zone=said.get("time_zone", company.time_zone),
        default_pressure_unit=None if unit == "none" else unit,
    )


def mapping_version(digest: str) -> str | None:
    """The version of the mapping that a load was read by; None for files of the contract. digest: as in the ledger."""
    found = _VERSION.search(digest or "")
    return found[1] if found else None


def write_ledger(
    con: duckdb.DuckDBPyConnection, load_id: int, loaded_at: datetime, digest: str, report: FileReport
) -> None:
    """Write the line of one load. Raises RuntimeError where rows are not accounted for."""
    held = "SELECT count(DISTINCT coalesce(row_no, -line_no)) FROM held_back WHERE load_id = ?"
    n_held = count(con, held, [load_id])
    if n_held != report.n_held_back:
        raise RuntimeError(f"{report.file_name}: {report.n_held_back} rows not accepted, {n_held} with a reason")
    con.execute(
        'INSERT INTO "load" VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)',
        [
            load_id,
            loaded_at,
            report.file_name,
            digest,
            report.table_name,
            report.n_rows,
            report.n_accepted,
            report.n_revised,
            report.n_held_back,
            report.n_duplicates,
            list(report.dropped_columns),
            list(report.unknown_columns),
            report.delimiter,
            report.encoding,
            report.seconds,
        ],
    )
