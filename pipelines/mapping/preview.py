"""A mapping tried on an export: rows in, rows out, what would be held back, and how much of each column is understood."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from pipelines.intake.report import FileReport
from pipelines.loading import load
from pipelines.mapping.declared import Mapping, Source
from pipelines.mapping.source_tables import SourceLanded, landed_rows
from pipelines.settings import Settings

ROWS_SHOWN = 20


@dataclass
class TablePreview:
    """One table made of one source.

    rows_in: the first rows of the source, under columns_in. rows_out: what is made of them, under columns_out, each
    with the number of its source row first. share_understood: column -> share of its filled cells that are accepted.
    """

    table_name: str
    shown: str
    columns_in: list[str]
    rows_in: list[tuple]
    columns_out: list[str]
    rows_out: list[tuple] = field(default_factory=list)
    report: FileReport | None = None
    n_filled: dict[str, int] = field(default_factory=dict)

    @property
    def share_understood(self) -> dict[str, float | None]:
        reasons = self.report.reasons if self.report else {}
        bad = {column: 0 for column in self.columns_out}
        for key, n in reasons.items():
            column, _, code = key.partition(": ")
            if column in bad and code != "missing_required":
                bad[column] += n
        return {
            column: None if not n else max(0.0, 1 - bad[column] / n)
            for column, n in ((column, self.n_filled.get(column, 0)) for column in self.columns_out)
        }


@dataclass(frozen=True)
class Preview:
    """What a load through a mapping would do. errors: files that would be refused, in words.

    unread: of each file or sheet, in words, the columns that no table reads.
    """

    tables: list[TablePreview]
    reports: tuple[FileReport, ...]
    passed_over: tuple[str, ...]
    unread: tuple[str, ...] = ()

    @property
    def errors(self) -> list[str]:
        return [f"{report.file_name}: {report.error}" for report in self.reports if report.error]


def preview(home: Path, sources: Sequence[Path], mapping: Mapping, settings: Settings, progress: Any = None) -> Preview:
    """Try a mapping, confirmed or not, on files; nothing is changed."""
    tables: list[TablePreview] = []
    unread: dict[str, list[str]] = {}

    def watch(
        con: Any, source: Source, landed: SourceLanded, table_name: str, columns: list[str], counts: list[int]
    ) -> None:
        rows_out = landed_rows(con, "landing.mapped", ROWS_SHOWN)
        rows_in = [row[1:] for row in landed_rows(con, "landing.source", ROWS_SHOWN)]
        made = TablePreview(table_name, landed.shown, landed.columns, rows_in, columns, rows_out[:ROWS_SHOWN])
        made.n_filled = dict(zip(columns, counts, strict=True))
        tables.append(made)
        unread[landed.shown] = source.unread(unread.get(landed.shown, landed.columns))

    report = load(home, sources, settings, progress, is_dry_run=True, mapping=mapping, watch=watch)
    read = iter([file for file in report.files if file.table_name and not file.error])
    for table in tables:
        table.report = next((file for file in read if file.table_name == table.table_name), None)
    said = (f"{shown}: read by no table: {', '.join(columns)}." for shown, columns in unread.items() if columns)
    return Preview(tables, report.files, report.passed_over, tuple(said))
