"""Records into the store: accepted, or held back with a reason, every row accounted for.

Each file is read as text and judged in SQL; what cannot be read as a table at all is refused in words and the other
files go on. All files of one load make one new generation; when nothing came in (every file known already, or none
readable), none is made.
"""

from __future__ import annotations

import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path

import duckdb

from pipelines import build
from pipelines.changes import changes_since
from pipelines.durable_files import copy_file
from pipelines.intake.file_kinds import expand, passed_over
from pipelines.intake.report import FileReport, LoadReport
from pipelines.intake.session import LoadSession
from pipelines.own_records import take_in
from pipelines.own_work import OwnWork
from pipelines.settings import Settings
from pipelines.store import Store

__all__ = ["FileReport", "LoadReport", "load"]

Progress = Callable[[str, float | None], None]
# Share of a load's progress that is reading; the rest is building the facts.
READING_SHARE = 0.7


class _NothingNew(Exception):
    """Ends the writing of a generation that would equal the one in force."""


def load(
    home: Path,
    sources: Sequence[Path],
    settings: Settings | None = None,
    progress: Progress | None = None,
    is_dry_run: bool = False,
) -> LoadReport:
    """Load files and folders into the store of a home, and take in what people entered since (pipelines.own_records).

    Without sources it takes in the own work alone.

    settings: None = those of the home. progress: called with a sentence and the share done, or None.
    is_dry_run: say what a load would do and change nothing.
    Raises StoreError for what concerns the store as a whole; what concerns one file stands in its report.
    """
    started = time.perf_counter()
    home = Path(home)
    settings = settings or Settings.load(home)
    paths = [Path(source) for source in sources]
    files, left_out = list(expand(paths)), passed_over(paths)
    step = progress or (lambda sentence, share: None)
    if is_dry_run:
        with tempfile.TemporaryDirectory(prefix="goodpull-check-") as folder:
            reports, _ = _into(_copied(Store(home), Path(folder)), files, settings, step, None)
        return LoadReport(tuple(reports), _name(Store(home)), time.perf_counter() - started, False, left_out)
    reports, is_changed = _into(Store(home), files, settings, step, OwnWork(home))
    return LoadReport(tuple(reports), _name(Store(home)), time.perf_counter() - started, is_changed, left_out)


def _copied(store: Store, folder: Path) -> Store:
    """A store in a temporary folder with what is in force in `store`."""
    base = store.current()
    if base is not None:
        copy_file(base, folder / base.name)
        (folder / "current").write_text(base.name + "\n", "utf-8")
    return Store(folder)


def _name(store: Store) -> str | None:
    current = store.current()
    return current.name if current else None


def _into(
    store: Store,
    files: list[tuple[Path, str | None]],
    settings: Settings,
    step: Progress,
    own: OwnWork | None,
) -> tuple[list[FileReport], bool]:
    """Load the files into a new generation of `store`; the reports, and whether there is a new generation.

    own: the own work to take in; None = only say what the files would do.
    """
    reports: list[FileReport] = []
    try:
        with store.new_generation() as generation:
            con = generation.con
            with tempfile.TemporaryDirectory(prefix=".landing-", dir=store.home) as scratch:
                session = LoadSession(con, settings, Path(scratch), datetime.now(UTC).date())
                session.read(files, lambda sentence, share: step(sentence, READING_SHARE * (share or 0)))
                step("Comparing with what is known", READING_SHARE)
                load_ids = session.finish()
                reports = session.reports
            if own is None:
                raise _NothingNew
            # Another version may not have looked for rows replaced since they were held back.
            first = 1 if build.is_of_another_version(con) else min(load_ids, default=None)
            taken = take_in(con, own, settings, store.home, first)
            load_ids, reports = [*load_ids, *taken.load_ids], [*reports, *taken.reports]
            is_same = not load_ids and (store.current() is None or _is_built_with(con, settings))
            if is_same and (not taken.is_changed or store.current() is None):
                raise _NothingNew
            changes = changes_since(con, load_ids, taken.is_changed)
            rest = 1 - READING_SHARE
            build.build(con, settings, changes, lambda said, share: step(said, READING_SHARE + rest * (share or 0)))
    except _NothingNew:
        return reports, False
    return reports, True


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
