"""The files of one load, one after the other, into one open generation."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime
from functools import partial
from pathlib import Path

import duckdb

from pipelines.contract.fields import Table
from pipelines.intake.between_tables import between_tables
from pipelines.intake.file_kinds import IntakeError, kind_of, told_kind
from pipelines.intake.headers import folded, table_of_name
from pipelines.intake.landing import Landed, land_json_lines, land_parquet, land_rows, land_text
from pipelines.intake.ledger import ledger_digest, write_ledger
from pipelines.intake.mapped_files import mapped_file
from pipelines.intake.numbered import numbered
from pipelines.intake.reading import Read, Target, UnreadableText, create_target, read_table, take_back
from pipelines.intake.report import FileReport
from pipelines.intake.retiring import retire
from pipelines.intake.same_keys import meeting_keys
from pipelines.intake.settling import settle
from pipelines.intake.sheets import sheets_of
from pipelines.intake.sql_text import count, first_row, text
from pipelines.intake.text_facts import TextFacts, text_facts
from pipelines.intake.told_reasons import told_reasons
from pipelines.mapping.declared import Mapping
from pipelines.mapping.drift import DriftError
from pipelines.mapping.source_tables import Watch
from pipelines.settings import Settings
from pipelines.store_connection import is_disk_full

CLEANING = Path(__file__).parent / "cleaning.sql"
# A sheet of our own blank templates that holds no records.
_LIST_SHEET = "code_lists"
# What the database cannot go on after, whichever file it was at.
_OF_THE_LOAD = (duckdb.OutOfMemoryException, duckdb.FatalException, duckdb.InternalException, duckdb.InterruptException)
Land = Callable[[], Landed]


@dataclass
class _Loaded:
    """A file whose rows stand in their target, not yet settled."""

    load_id: int
    position: int
    report: FileReport
    digest: str
    earlier: list[int]
    n_good: int
    loaded_at: datetime


@dataclass
class LoadSession:
    """Reads files into a generation; `finish` settles their rows and writes the ledger.

    con: the generation's connection. scratch: an empty folder for landing files. The session owns the attached database
    `landing` from construction to `finish`. mapping: how foreign files are read; watch: told of every source it reads.
    is_every_file_new: a file with the content of an earlier one is read all the same.
    """

    con: duckdb.DuckDBPyConnection
    settings: Settings
    scratch: Path
    today: date
    mapping: Mapping | None = None
    watch: Watch | None = None
    is_every_file_new: bool = False
    reports: list[FileReport] = field(default_factory=list)
    has_drift: bool = False
    has_retired: bool = False
    _loaded: list[_Loaded] = field(default_factory=list)
    _targets: dict[str, Target] = field(default_factory=dict)
    _digests: set[str] = field(default_factory=set)
    _next_id: int = 1

    def __post_init__(self) -> None:
        self.con.execute("SET TimeZone = 'UTC'")
        self.con.execute(CLEANING.read_text("utf-8"))
        self.con.execute(f"ATTACH {text(str(self.scratch / 'landing.duckdb'))} AS landing")
        if self.mapping is not None:
            self.settings = self.mapping.settings(self.settings)
        self._next_id = count(self.con, 'SELECT coalesce(max(load_id), 0) + 1 FROM "load"')

    def read(self, files: Sequence[tuple[Path, str | None]], step: Callable[[str, float | None], None]) -> None:
        """Read every file; what concerns one file stands in its report. files: paths, with an error where known."""
        with ThreadPoolExecutor(1) as ahead:
            # Digest and text facts of the next file are found while the database reads this one.
            facts = [None if error else ahead.submit(text_facts, path) for path, error in files]
            for position, ((path, error), found) in enumerate(zip(files, facts, strict=True)):
                step(f"Reading {path.name}", position / max(len(files), 1))
                if error is not None or found is None:
                    self.reports.append(FileReport(str(path), error=error))
                else:
                    self._read_file(path, found)
        if self.mapping is not None:
            self._refuse_same_keys()

    def finish(self) -> list[int]:
        """Settle what was read, write the ledger, let go of the landing files. Returns the ids of the loads.

        A file without rows is told of and leaves nothing behind.
        """
        for table_name, target in self._targets.items():
            of_table = [loaded for loaded in self._loaded if loaded.report.table_name == table_name]
            started = time.perf_counter()
            loads = {loaded.load_id: loaded.earlier for loaded in of_table}
            gone = retire(self.con, target, self._readings(of_table)) if self.mapping is not None else {}
            self.has_retired = self.has_retired or any(gone.values())
            settled = settle(self.con, target, loads or {self._next_id: []})
            share = (time.perf_counter() - started) / max(len(of_table), 1)
            for loaded in of_table:
                became = settled[loaded.load_id]
                loaded.report = replace(
                    loaded.report,
                    n_accepted=became.n_accepted,
                    n_revised=became.n_revised,
                    n_duplicates=loaded.n_good - became.n_accepted,
                    messages=loaded.report.messages + _older(became.n_older) + _gone(gone.get(loaded.load_id, 0)),
                    seconds=loaded.report.seconds + share,
                )
        with_rows = [loaded for loaded in self._loaded if loaded.report.n_rows]
        for loaded in self._loaded:
            between = between_tables(self.con, loaded.report.table_name, loaded.load_id)
            loaded.report = replace(loaded.report, messages=loaded.report.messages + between)
            self.reports[loaded.position] = loaded.report
        for loaded in with_rows:
            write_ledger(self.con, loaded.load_id, loaded.loaded_at, loaded.digest, loaded.report)
        self.con.execute("DETACH landing")
        return [loaded.load_id for loaded in with_rows]

    def _refuse_same_keys(self) -> None:
        """Refuse what several tables of the mapping make of the same rows, where their keys meet."""
        for loaded, wrong in meeting_keys(self.con, self._targets, self._loaded):
            self.has_drift = True
            self.reports[loaded.position] = FileReport(loaded.report.file_name, loaded.report.table_name, error=wrong)

    def _readings(self, loaded: Sequence[_Loaded]) -> dict[tuple[int, ...], list[int]]:
        """The loads of each file now -> its earlier loads."""
        by_file: dict[str, list[_Loaded]] = {}
        for one in loaded:
            by_file.setdefault(one.digest, []).append(one)
        return {tuple(one.load_id for one in of_file): of_file[0].earlier for of_file in by_file.values()}

    def _read_file(self, path: Path, found: Future[TextFacts]) -> None:
        try:
            kind = kind_of(path)
            facts = _waited(found)
            if self._is_known(path, facts):
                return
            told = told_kind(path, kind)
            for shown, land, is_sheet in self._tables_of(path, kind, facts):
                self._read_table(shown, land, facts, told, kind == "text" and not is_sheet, path)
            self._digests.add(facts.digest)
        except (IntakeError, OSError) as error:
            self.reports.append(FileReport(path.name, error=_refusal(error)))

    def _is_known(self, path: Path, facts: TextFacts) -> bool:
        """Whether the file was last loaded as it would be now: the same content, under the same settings."""
        if self.is_every_file_new:
            return False
        known = first_row(
            self.con,
            'SELECT table_name, file_digest FROM "load" WHERE starts_with(file_digest, ?) ORDER BY load_id DESC LIMIT 1',
            [facts.digest],
        )
        if facts.digest not in self._digests and (known is None or known[1] != self._digest(facts)):
            return False
        self.reports.append(FileReport(path.name, known[0] if known else None, is_already_loaded=True))
        return True

    def _digest(self, facts: TextFacts) -> str:
        """What the ledger knows a file by: the digest of its content, and the settings its cells were read with."""
        return ledger_digest(facts.digest, self.settings, self.mapping)

    def _earlier(self, facts: TextFacts) -> list[int]:
        """The loads of the same content that are in the ledger."""
        found = self.con.execute('SELECT load_id FROM "load" WHERE starts_with(file_digest, ?)', [facts.digest])
        return [load_id for (load_id,) in found.fetchall()]

    def _tables_of(self, path: Path, kind: str, facts: TextFacts) -> Iterator[tuple[str, Land, bool]]:
        """Every table in a file: the name shown for it, how to land it, whether it is a sheet."""
        if self.mapping is not None:
            if not self.mapping.sources_of(path.name):
                said = self.mapping.reads_not(path.name)
                self.reports.append(FileReport(path.name, messages=(f"passed over: {said}",)))
            tables = mapped_file(self.con, self.mapping, path, kind, facts, self.scratch, self.watch)
            yield from ((shown, land, True) for shown, land in tables)
        elif kind == "text":
            yield path.name, lambda: land_text(path, facts, self.scratch), False
        elif kind == "parquet":
            yield path.name, lambda: land_parquet(self.con, path), False
        elif kind == "json lines":
            yield path.name, lambda: land_json_lines(self.con, path, facts, self.scratch), False
        else:
            sheets = list(sheets_of(path))
            if not sheets:
                raise IntakeError("holds no rows. Export it again; nothing was loaded from it.")
            for sheet, rows in sheets:
                shown = path.name if len(sheets) == 1 else f"{path.name} [{sheet}]"
                if folded(sheet) == _LIST_SHEET:
                    self.reports.append(FileReport(shown, messages=("lists codes and holds no records; passed over.",)))
                    continue
                stem = path.stem if len(sheets) == 1 and table_of_name(sheet) is None else sheet
                yield shown, partial(land_rows, self.con, stem, shown, rows), True

    def _read_table(
        self, shown: str, land: Land, facts: TextFacts, told: str | None, may_rewrite: bool, path: Path
    ) -> None:
        started = time.perf_counter()
        load_id = self._next_id
        target: Target | None = None
        try:
            landed = land()
            target = self._target(landed.header.table)
            try:
                read = read_table(self.con, landed, target, load_id, self.settings, self.today)
            except UnreadableText as gave_up:
                take_back(self.con, target, load_id)
                if not may_rewrite:
                    raise IntakeError(f"cannot be read as a table ({gave_up}).") from gave_up
                landed = land_text(path, facts, self.scratch, is_rewritten=True)
                read = self._read_again(landed, target, load_id)
        except (IntakeError, OSError, duckdb.Error) as error:
            refusal = _refusal(error)
            self.has_drift = self.has_drift or isinstance(error, DriftError)
            if target is not None:
                take_back(self.con, target, load_id)
            self.reports.append(FileReport(shown, error=refusal))
            return
        finally:
            for name in ("rewritten.csv", "from_header.csv", "rewritten.jsonl"):
                (self.scratch / name).unlink(missing_ok=True)
        self._next_id += 1
        report = self._report(landed, read, load_id, told, time.perf_counter() - started)
        now = datetime.now(UTC).replace(tzinfo=None)
        self._loaded.append(
            _Loaded(load_id, len(self.reports), report, self._digest(facts), self._earlier(facts), read.n_good, now)
        )
        self.reports.append(report)

    def _read_again(self, landed: Landed, target: Target, load_id: int) -> Read:
        try:
            return read_table(self.con, landed, target, load_id, self.settings, self.today)
        except UnreadableText as gave_up:
            raise IntakeError(f"cannot be read as a table ({gave_up}). Export it again.") from gave_up

    def _target(self, table: Table) -> Target:
        if table.name not in self._targets:
            self._targets[table.name] = create_target(self.con, table)
        return self._targets[table.name]

    def _report(self, landed: Landed, read: Read, load_id: int, told: str | None, seconds: float) -> FileReport:
        told_of = told_reasons(self.con, load_id)
        return FileReport(
            landed.shown,
            landed.header.table.name,
            n_rows=read.n_rows,
            n_held_back=read.n_rows - read.n_good,
            dropped_columns=tuple(read.columns.personal),
            unknown_columns=tuple(read.columns.unknown),
            delimiter=landed.delimiter,
            encoding=landed.encoding,
            seconds=seconds,
            reasons=told_of.counts,
            examples=told_of.examples,
            unknown_words=told_of.unknown_words,
            messages=((told,) if told else ()) + read.messages,
        )


def _older(n_older: int) -> tuple[str, ...]:
    return (numbered(n_older, "[row equals|rows equal] an older version; the newer was kept."),) if n_older else ()


def _gone(n_gone: int) -> tuple[str, ...]:
    said = "[row|rows] that an earlier mapping made of this file [is|are] made no more and went to the history."
    return (numbered(n_gone, said),) if n_gone else ()


def _refusal(error: Exception) -> str:
    """What is said of the file that an error refuses; an error that concerns the whole load is raised again."""
    if isinstance(error, IntakeError):
        return str(error)
    if is_disk_full(error) or isinstance(error, _OF_THE_LOAD):
        raise error
    return f"cannot be read ({str(error).splitlines()[0][:200]}). Export it again; nothing was loaded from it."


def _waited(found: Future[TextFacts]) -> TextFacts:
    try:
        return found.result()
    except OSError as error:
        raise IntakeError(f"cannot be read ({error.strerror}).") from error
