"""Records into the store: accepted, or held back with a reason, every row accounted for.

For each file: read as text, cleaned and judged in SQL, merged into the delivered records. What cannot be read as a table
at all is refused in words and the other files go on. All files of one load make one new generation; when nothing came in
(every file known already, or none readable), none is made.
"""

from __future__ import annotations

import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import asdict, dataclass, replace
from datetime import UTC, datetime
from functools import partial
from pathlib import Path

import duckdb

from pipelines import build
from pipelines.contract.tables import TABLE_BY_NAME
from pipelines.durable_files import copy_file
from pipelines.intake.accept import text
from pipelines.intake.file_kinds import IntakeError, TextFacts, expand, kind_of, text_facts
from pipelines.intake.file_load import FileReport, load_table
from pipelines.intake.headers import table_of_name
from pipelines.intake.landing import Landed, land_csv, land_json_lines, land_parquet, land_rows
from pipelines.intake.sheets import sheets_of
from pipelines.settings import Settings
from pipelines.store import Store

__all__ = ["FileReport", "LoadReport", "load"]

Progress = Callable[[str, float | None], None]
CLEANING = Path(__file__).parent / "intake" / "cleaning.sql"
# Past this share of the sites an incremental build is no faster than a whole one.
MOST_CHANGED_SHARE = 0.2


@dataclass(frozen=True)
class LoadReport:
    """What a load did. generation: name of the store now in force; is_changed: whether this load made it."""

    files: tuple[FileReport, ...]
    generation: str | None
    seconds: float
    is_changed: bool


class _NothingNew(Exception):
    """Ends the writing of a generation that would equal the one in force."""


def load(
    home: Path,
    sources: Sequence[Path],
    settings: Settings | None = None,
    progress: Progress | None = None,
    is_dry_run: bool = False,
) -> LoadReport:
    """Load files and folders into the store of a home.

    settings: None = those of the home. progress: called with a sentence and the share done, or None.
    is_dry_run: say what a load would do and change nothing.
    Raises StoreError for what concerns the store as a whole; what concerns one file stands in its report.
    """
    started = time.perf_counter()
    home = Path(home)
    settings = settings or Settings.load(home)
    files = list(expand([Path(source) for source in sources]))
    step = progress or (lambda sentence, share: None)
    if is_dry_run:
        with tempfile.TemporaryDirectory(prefix="goodpull-check-") as folder:
            reports, _ = _into(Store(Path(folder)), files, settings, step, Store(home))
        return LoadReport(tuple(reports), _name(Store(home)), time.perf_counter() - started, False)
    reports, is_changed = _into(Store(home), files, settings, step)
    return LoadReport(tuple(reports), _name(Store(home)), time.perf_counter() - started, is_changed)


def _name(store: Store) -> str | None:
    current = store.current()
    return current.name if current else None


def _into(
    store: Store,
    files: list[tuple[Path, str | None]],
    settings: Settings,
    step: Progress,
    compared: Store | None = None,
) -> tuple[list[FileReport], bool]:
    """Load the files into a new generation of `store`. compared: the real store of a dry run, copied first."""
    reports: list[FileReport] = []
    if compared is not None and (base := compared.current()) is not None:
        copy_file(base, store.home / base.name)
    try:
        with store.new_generation() as generation:
            con = generation.con
            con.execute("SET TimeZone = 'UTC'")
            con.execute(CLEANING.read_text("utf-8"))
            first_id = _next_load_id(con)
            with tempfile.TemporaryDirectory(prefix=".landing-", dir=store.home) as scratch:
                for position, (path, error) in enumerate(files):
                    step(f"Reading {path.name}", 0.8 * position / max(len(files), 1))
                    reports += _one_file(con, path, error, settings, Path(scratch))
            if _next_load_id(con) == first_id and _is_built_with(con, settings):
                raise _NothingNew
            if compared is None:
                changed = changed_sites(con, first_id)
                build.build(con, settings, changed, lambda sentence, share: step(sentence, 0.8 + 0.2 * (share or 0)))
    except _NothingNew:
        return reports, False
    return reports, compared is None


def _next_load_id(con: duckdb.DuckDBPyConnection) -> int:
    row = con.execute('SELECT coalesce(max(load_id), 0) + 1 FROM "load"').fetchone()
    return int(row[0]) if row else 1


def _is_built_with(con: duckdb.DuckDBPyConnection, settings: Settings) -> bool:
    """Whether the facts in force were built with these settings."""
    try:
        cursor = con.execute("SELECT * FROM setting")
    except duckdb.CatalogException:
        return False
    names = [column[0] for column in cursor.description or ()]
    row = cursor.fetchone()
    wanted = {key: list(value) if isinstance(value, tuple) else value for key, value in asdict(settings).items()}
    return row is not None and dict(zip(names, row, strict=True)) == wanted


def _one_file(
    con: duckdb.DuckDBPyConnection, path: Path, error: str | None, settings: Settings, scratch: Path
) -> list[FileReport]:
    """Load one file; a workbook gives a report a sheet. A refusal is a report, never an exception."""
    if error is not None:
        return [FileReport(str(path), error=error)]
    try:
        kind = kind_of(path)
        facts = text_facts(path)
    except IntakeError as refusal:
        return [FileReport(path.name, error=str(refusal))]
    known = con.execute('SELECT table_name FROM "load" WHERE file_digest = ? LIMIT 1', [facts.digest]).fetchone()
    if known:
        return [FileReport(path.name, known[0], is_already_loaded=True)]
    told = _told_kind(path, kind)
    if kind != "xlsx":
        return [
            _one_table(
                con,
                path,
                facts,
                lambda relation: _land(con, path, kind, facts, relation, scratch),
                path.name,
                settings,
                scratch,
                told,
            )
        ]
    try:
        sheets = list(sheets_of(path))
    except IntakeError as refusal:
        return [FileReport(path.name, error=str(refusal))]
    if not sheets:
        return [FileReport(path.name, error="holds no rows. Export it again; nothing was loaded from it.")]
    return [
        _one_table(
            con,
            path,
            facts,
            partial(_land_sheet, con, path, sheet, rows, len(sheets)),
            _sheet_name(path, sheet, len(sheets)),
            settings,
            scratch,
            told,
        )
        for sheet, rows in sheets
    ]


def _one_table(
    con: duckdb.DuckDBPyConnection,
    path: Path,
    facts: TextFacts,
    land: Callable[[str], Landed],
    shown: str,
    settings: Settings,
    scratch: Path,
    told: str | None,
) -> FileReport:
    """Land one table in a database of its own and load it, all or nothing."""
    landing = scratch / "landing.duckdb"
    con.execute(f"ATTACH {text(str(landing))} AS landing")
    try:
        # A row's number is its place in the file only while the order of the file is kept.
        con.execute("SET preserve_insertion_order = true")
        landed = land("landing.raw")
        con.execute("SET preserve_insertion_order = false")
        with _all_or_nothing(con):
            report = load_table(con, landed, facts.digest, _next_load_id(con), settings, datetime.now(UTC).date())
        return replace(report, file_name=shown, messages=((told,) if told else ()) + report.messages)
    except IntakeError as refusal:
        return FileReport(shown, error=str(refusal))
    finally:
        con.execute("SET preserve_insertion_order = false")
        con.execute("DETACH landing")
        for leftover in scratch.iterdir():
            leftover.unlink()


@contextmanager
def _all_or_nothing(con: duckdb.DuckDBPyConnection) -> Iterator[None]:
    con.execute("BEGIN")
    try:
        yield
    except BaseException:
        with suppress(duckdb.Error):
            con.execute("ROLLBACK")
        raise
    con.execute("COMMIT")


def _land(
    con: duckdb.DuckDBPyConnection, path: Path, kind: str, facts: TextFacts, relation: str, scratch: Path
) -> Landed:
    if kind == "parquet":
        return land_parquet(con, path, relation)
    if kind == "jsonl":
        return land_json_lines(con, path, facts, relation, scratch)
    return land_csv(con, path, facts, relation, scratch)


def _land_sheet(
    con: duckdb.DuckDBPyConnection, path: Path, sheet: str, rows: list[list[str | None]], n_sheets: int, relation: str
) -> Landed:
    name = path.stem if n_sheets == 1 and table_of_name(sheet) is None else sheet
    return replace(land_rows(con, name, rows, relation), name=_sheet_name(path, sheet, n_sheets))


def _sheet_name(path: Path, sheet: str, n_sheets: int) -> str:
    return path.name if n_sheets == 1 else f"{path.name} [{sheet}]"


def _told_kind(path: Path, kind: str) -> str | None:
    """A word where a file is not what its ending says."""
    usual = {
        "xlsx": (".xlsx", ".xlsm", ".xls", ".ods"),
        "parquet": (".parquet",),
        "jsonl": (".jsonl", ".ndjson", ".json"),
    }
    is_usual = path.suffix.lower() in usual.get(kind, (".csv", ".txt", ".tsv", ""))
    return (
        None if is_usual else f"is named {path.suffix} but is {'a workbook' if kind == 'xlsx' else kind}; read as that."
    )


def changed_sites(con: duckdb.DuckDBPyConnection, first_id: int) -> str | None:
    """The sites whose records came in with loads from `first_id` on, as a temporary table; None = build everything."""
    loaded = {
        row[0]
        for row in con.execute('SELECT DISTINCT table_name FROM "load" WHERE load_id >= ?', [first_id]).fetchall()
    }
    if any(TABLE_BY_NAME[name].site_from is None for name in loaded):
        return None
    con.execute("CREATE OR REPLACE TEMP TABLE changed_visit (visit_id VARCHAR)")
    con.execute("CREATE OR REPLACE TEMP TABLE changed_site (site_id VARCHAR)")
    for name in sorted(loaded):
        for schema, column in (("delivered", "load_id"), ("delivered_history", "replaced_by_load_id")):
            wanted = f'FROM {schema}."{name}" WHERE {column} >= {first_id}'
            if TABLE_BY_NAME[name].site_from == "site_id":
                con.execute(f"INSERT INTO changed_site SELECT DISTINCT site_id {wanted}")
            else:
                con.execute(f"INSERT INTO changed_visit SELECT DISTINCT visit_id {wanted}")
            if name == "bench_tests":
                con.execute(f"""INSERT INTO changed_visit SELECT visit_id FROM delivered.part_lines
                    WHERE removed_tag IN (SELECT removed_tag {wanted})""")
    con.execute("""INSERT INTO changed_site SELECT DISTINCT site_id FROM delivered.visits
        WHERE visit_id IN (SELECT visit_id FROM changed_visit)""")
    shares = con.execute("""SELECT (SELECT count(DISTINCT site_id) FROM changed_site),
        (SELECT approx_count_distinct(site_id) FROM delivered.visits)""").fetchone()
    return "changed_site" if shares and shares[0] <= MOST_CHANGED_SHARE * (shares[1] or 0) else None
