"""The tables that a mapping makes of one file, in the order of its sources."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import partial
from pathlib import Path

import duckdb

from pipelines.intake.file_kinds import IntakeError
from pipelines.intake.landing import Find, Landed, land_json_lines, land_parquet, land_rows, land_text
from pipelines.intake.sheets import sheet_names, sheets_of
from pipelines.intake.text_facts import TextFacts
from pipelines.mapping.declared import Mapping, Source
from pipelines.mapping.drift import DriftError, check_sheets
from pipelines.mapping.source_tables import SourceLanded, Watch, land_source, mapped_tables

Land = Callable[[], Landed]


def mapped_file(
    con: duckdb.DuckDBPyConnection,
    mapping: Mapping,
    path: Path,
    kind: str,
    facts: TextFacts,
    scratch: Path,
    watch: Watch | None = None,
) -> Iterator[tuple[str, Land]]:
    """Name shown and landing of every table made of a file; a source that is refused raises when its table is landed.

    The tables must be landed and read in turn: each takes the place of the one before in `landing`.
    """
    try:
        sources = list(_sources(con, mapping, path, kind, facts, scratch))
    except DriftError as error:
        yield path.name, partial(_refuse, error)
        return
    for source, shown, known_as, land in sources:
        try:
            landed = replace(_landed(con, mapping, source, land), known_as=known_as)
        except (IntakeError, OSError, duckdb.Error) as error:
            yield shown, partial(_refuse, error)
            continue
        yield from mapped_tables(con, mapping, source, landed, watch)
        con.execute("DROP TABLE IF EXISTS landing.mapped")
        con.execute("DROP TABLE landing.source")


def _sources(
    con: duckdb.DuckDBPyConnection, mapping: Mapping, path: Path, kind: str, facts: TextFacts, scratch: Path
) -> Iterator[tuple[Source, str, str, Callable[..., Landed]]]:
    """Each source that reads the file, or one of its sheets: how it is shown, how its rows are known, and how it is landed, given
    how its header is found."""
    sources = mapping.sources_of(path.name)
    if kind != "workbook":
        for source in sources:
            yield source, path.name, path.name, partial(_land_file, con, path, kind, facts, scratch)
        return
    sheets = list(sheets_of(path))
    check_sheets(mapping, sources, sheet_names(path))
    found = [(source, sheet, rows) for source in sources for sheet, rows in sheets if source.fits_sheet(sheet)]
    for source, sheet, rows in found:
        shown = path.name if len(sheets) == 1 else f"{path.name} [{sheet}]"
        yield source, shown, f"{path.name} [{sheet}]", partial(_land_sheet, con, sheet, shown, rows)


def _landed(
    con: duckdb.DuckDBPyConnection, mapping: Mapping, source: Source, land: Callable[..., Landed]
) -> SourceLanded:
    try:
        return land_source(con, mapping, source, lambda find: land(find, is_rewritten=False))
    except (duckdb.InvalidInputException, duckdb.NotImplementedException):
        # DuckDB's reader gave up; it may still read the text written again with one kind of line end.
        return land_source(con, mapping, source, lambda find: land(find, is_rewritten=True))


def _land_file(
    con: duckdb.DuckDBPyConnection,
    path: Path,
    kind: str,
    facts: TextFacts,
    scratch: Path,
    find: Find,
    is_rewritten: bool,
) -> Landed:
    if kind == "parquet":
        return land_parquet(con, path, find)
    if kind == "json lines":
        return land_json_lines(con, path, facts, scratch, find)
    return land_text(path, facts, scratch, is_rewritten, find)


def _land_sheet(
    con: duckdb.DuckDBPyConnection,
    sheet: str,
    shown: str,
    rows: list[list[str | None]],
    find: Find,
    is_rewritten: bool,
) -> Landed:
    return land_rows(con, sheet, shown, rows, find)


def _refuse(error: Exception) -> Landed:
    raise error
