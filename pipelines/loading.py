"""Records into the store: accepted, or held back with a reason, every row accounted for.

Each file is read as text and judged in SQL; what cannot be read as a table at all is refused in words and the other
files go on. All files of one load make one new generation; when nothing came in (every file known already, or none
readable), none is made.
"""

from __future__ import annotations

import tempfile
import time
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path

import duckdb

from pipelines import build
from pipelines.changes import changes_since
from pipelines.durable_files import copy_file
from pipelines.intake.file_kinds import expand, passed_over
from pipelines.intake.numbered import numbered
from pipelines.intake.report import FileReport, LoadReport
from pipelines.intake.session import LoadSession
from pipelines.intake.sql_text import count
from pipelines.mapping.database import fetched
from pipelines.mapping.declared import Mapping, MappingError
from pipelines.mapping.source_tables import Watch
from pipelines.mapping.writing import kept_version
from pipelines.own_records import take_in
from pipelines.own_work import OwnWork
from pipelines.settings import Settings
from pipelines.store import Store

__all__ = ["FileReport", "LoadReport", "load"]

Progress = Callable[[str, float | None], None]
# Share of a load's progress that is reading; the rest is building the facts.
READING_SHARE = 0.7
HOW_TO_CONFIRM = "Look through it and at its preview (goodpull map --map FILE EXPORT), then confirm it with --confirm."
_LEFT_OUT = "left out, since another part of the export does not fit the mapping or cannot be read (see there); nothing was changed."


class _HalfAnExport(Exception):
    """Ends a load whose mapping no longer fits, or that lacks a query: half an export would be worse than none."""


class _NothingNew(Exception):
    """Ends the writing of a generation that would equal the one in force."""


def load(
    home: Path,
    sources: Sequence[Path],
    settings: Settings | None = None,
    progress: Progress | None = None,
    is_dry_run: bool = False,
    mapping: Mapping | None = None,
    watch: Watch | None = None,
) -> LoadReport:
    """Load files and folders into the store of a home, and take in what people entered since (pipelines.own_records).

    Without sources it takes in the own work alone.

    settings: None = those of the home. progress: called with a sentence and the share done, or None.
    is_dry_run: say what a load would do and change nothing. mapping: how foreign files and a database are read; one
    that no person confirmed is refused, except for a dry run. watch: told of every source the mapping reads.
    Raises StoreError for what concerns the store as a whole; what concerns one file stands in its report.
    """
    started = time.perf_counter()
    home = Path(home)
    settings = settings or Settings.load(home)
    paths = [Path(source) for source in sources]
    files, left_out = list(expand(paths)), passed_over(paths)
    if mapping is not None:
        # In a folder there may be files of other mappings; one that was named is meant.
        files = [
            (
                path,
                mapping.reads_not(path.name)
                if error is None and path in paths and not mapping.sources_of(path.name)
                else error,
            )
            for path, error in files
        ]
    step = progress or (lambda sentence, share: None)
    if mapping is not None and not mapping.is_confirmed and not is_dry_run:
        raise MappingError(f"The mapping {mapping.name!r} was proposed and not confirmed. {HOW_TO_CONFIRM}")
    with ExitStack() as stack:
        if mapping is not None and mapping.connection is not None:
            files += stack.enter_context(fetched(mapping, step))
        reports, is_changed = _read_all(home, files, settings, step, is_dry_run, mapping, watch)
    seconds = time.perf_counter() - started
    notices = _notices(Store(home)) if is_changed else ()
    return LoadReport(tuple(reports), _name(Store(home)), seconds, is_changed, left_out, notices)


def _read_all(
    home: Path,
    files: list[tuple[Path, str | None]],
    settings: Settings,
    step: Progress,
    is_dry_run: bool,
    mapping: Mapping | None,
    watch: Watch | None,
) -> tuple[list[FileReport], bool]:
    queried = _queried(mapping)
    told = [FileReport(path.name if path.name in queried else str(path), error=error) for path, error in files]
    if _lacks_a_query(mapping, told):
        return _without_the_others(told), False
    if is_dry_run:
        with tempfile.TemporaryDirectory(prefix="goodpull-check-") as folder:
            copy = _copied(Store(home), Path(folder))
            return _into(copy, files, settings, step, None, mapping, watch)[0], False
    return _into(Store(home), files, settings, step, OwnWork(home), mapping, watch)


def _copied(store: Store, folder: Path) -> Store:
    """A store in a temporary folder with what is in force in `store`."""
    base = store.current()
    if base is not None:
        copy_file(base, folder / base.name)
        (folder / "current").write_text(base.name + "\n", "utf-8")
    return Store(folder)


def _notices(store: Store) -> tuple[str, ...]:
    """What the load left of the company's own work that the records no longer bear out."""
    con = store.open_reader()
    try:
        if not count(
            con, "SELECT (SELECT count(*) FROM delivered.corrections) + (SELECT count(*) FROM entered.corrections)"
        ):
            return ()
        n = count(con, "SELECT count(DISTINCT (visit_id, corrected_field)) FROM correction_entered WHERE NOT has_visit")
    finally:
        con.close()
    said = (
        "[correction names|corrections name] a visit that is not on record any more and [changes|change] nothing; see Corrections, "
        "or: goodpull check"
    )
    return (numbered(n, said),) if n else ()


def _name(store: Store) -> str | None:
    current = store.current()
    return current.name if current else None


def _into(
    store: Store,
    files: list[tuple[Path, str | None]],
    settings: Settings,
    step: Progress,
    own: OwnWork | None,
    mapping: Mapping | None = None,
    watch: Watch | None = None,
) -> tuple[list[FileReport], bool]:
    """Load the files into a new generation of `store`; the reports, and whether there is a new generation.

    own: the own work to take in; None = only say what the files would do.
    """
    reports: list[FileReport] = []
    try:
        with ExitStack() as kept, store.new_generation() as generation:
            con = generation.con
            with tempfile.TemporaryDirectory(prefix=".landing-", dir=store.home) as scratch:
                session = LoadSession(con, settings, Path(scratch), datetime.now(UTC).date(), mapping, watch)
                session.read(files, lambda sentence, share: step(sentence, READING_SHARE * (share or 0)))
                reports = session.reports
                if session.has_drift or _lacks_a_query(mapping, reports):
                    raise _HalfAnExport
                step("Comparing with what is known", READING_SHARE)
                load_ids = session.finish()
                reports = session.reports
            if own is None:
                raise _NothingNew
            # Another version may not have looked for rows replaced since they were held back; what replaced them may be gone.
            is_anew = build.is_of_another_version(con) or session.has_retired
            first = 1 if is_anew else min(load_ids, default=None)
            taken = take_in(con, own, settings, store.home, first)
            is_mapped = bool(load_ids)
            load_ids, reports = [*load_ids, *taken.load_ids], [*reports, *taken.reports]
            is_same = not load_ids and (store.current() is None or _is_built_with(con, settings))
            if is_same and (not taken.is_changed or store.current() is None):
                raise _NothingNew
            changes = None if taken.is_taken_back else changes_since(con, load_ids, taken.is_changed)
            rest = 1 - READING_SHARE
            build.build(con, settings, changes, lambda said, share: step(said, READING_SHARE + rest * (share or 0)))
            if mapping is not None and is_mapped:
                # Last before the new generation comes into force: a version that is kept has made a load.
                kept.enter_context(kept_version(store.home, mapping))
    except _HalfAnExport:
        return _without_the_others(reports), False
    except _NothingNew:
        return reports, False
    return reports, True


def _lacks_a_query(mapping: Mapping | None, reports: Sequence[FileReport]) -> bool:
    """Whether a query failed, or what it gave cannot be read: all saw one state of a database, which is loaded whole."""
    queried = _queried(mapping)
    return any(report.error and report.file_name in queried for report in reports)


def _queried(mapping: Mapping | None) -> set[str]:
    """Names of the files that the queries of a mapping are fetched into."""
    return {source.query_file for source in mapping.sources if source.query is not None} if mapping else set()


def _without_the_others(reports: Sequence[FileReport]) -> list[FileReport]:
    """The reports of a load that was ended: those with an error, and every other left out for their sake."""
    return [file if file.error else FileReport(file.file_name, error=_LEFT_OUT) for file in reports]


def _is_built_with(con: duckdb.DuckDBPyConnection, settings: Settings) -> bool:
    """Whether the facts in force were built with these settings, by this version of the program."""
    if build.is_of_another_version(con):
        return False
    try:
        cursor = con.execute("SELECT * FROM setting")
    except duckdb.CatalogException:
        return False
    names = [column[0] for column in cursor.description or ()]
    rows = cursor.fetchall()
    wanted = {key: list(value) if isinstance(value, tuple) else value for key, value in asdict(settings).items()}
    return len(rows) == 1 and dict(zip(names, rows[0], strict=True)) == wanted
