"""Facts from records: runs the relations of sql/records and sql/facts in the order of what they read.

A full build makes every relation anew. An incremental build remakes the relations kept as `table by site` only for the
sites whose records changed: their rows belong to one site and rest on that site's rows alone, so the same SELECT is run
for the changed sites, and the rows that differ are exchanged. It is the same SELECT in a literal sense: its parsed form is
taken, every name of a relation with a site is replaced by the name of a temporary table that holds only the changed
sites, and the result is turned back into SQL. A relation kept as `table by visit` is narrowed further: its rows rest on
one visit, the visit that one follows, and the registers of its site. Relations kept as `table` and `view` are always
remade, so they must be cheap. Technicians, parts, gauges, settings and the .sql files concern every site: their
fingerprint is kept in `build_state`, and when it differs the build is a full one whatever was asked for.

Bench tests name a switch by its tag, and a tag may occur on several sites; such sites are remade together.
"""

from __future__ import annotations

import hashlib
import time
from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import duckdb

from pipelines.changes import Changes
from pipelines.given_relations import GIVEN, given_names, write_given
from pipelines.narrowing import Narrowing, needs_fetched
from pipelines.notes.reader import build_macros
from pipelines.relations import (
    NARROWED_KINDS,
    SQL_FOLDER,
    Relation,
    RelationError,
    header,
    in_order,
    read_relations,
)
from pipelines.settings import Settings
from pipelines.turns import Piece, in_turns

Progress = Callable[[str, float | None], None]

FOLDERS = (SQL_FOLDER / "records", SQL_FOLDER / "facts")
# Records that bear on every site.
COMPANY_RECORDS = ("technicians", "parts", "gauges")


@dataclass(frozen=True)
class BuiltRelation:
    """One relation as built: how many rows it now has (None for a view) and how long it took."""

    name: str
    kept_as: str
    n_rows: int | None
    seconds: float


@dataclass(frozen=True)
class BuildReport:
    """What a build did. is_incremental: whether only the changed sites were remade."""

    relations: tuple[BuiltRelation, ...]
    is_incremental: bool
    seconds: float


@dataclass(frozen=True)
class HealthFinding:
    """One check that found something. severity: error (a figure would be wrong) or notice (less can be said)."""

    check: str
    about: str
    severity: str
    n_rows: int
    columns: tuple[str, ...]
    examples: tuple[tuple[object, ...], ...]


def build(
    con: duckdb.DuckDBPyConnection,
    settings: Settings,
    changes: Changes | None = None,
    progress: Progress | None = None,
) -> BuildReport:
    """Make every relation of sql/records and sql/facts in the connection's database.

    changes: the sites and visits whose records changed, or None for everything.
    progress: called with a sentence and the share done in [0, 1].
    Raises RelationError when a .sql file is not what the build expects.
    """
    started = time.perf_counter()
    run_macros(con)
    write_given(con, settings)
    order = in_order(read_relations(con, FOLDERS), given_names())
    fingerprint = _fingerprint(con, order)
    is_incremental = changes is not None and _last_fingerprint(con) == fingerprint and _all_there(con, order)
    con.execute("DROP TABLE IF EXISTS build_state")
    step = progress or (lambda sentence, share: None)
    if changes is not None and is_incremental:
        built = _exchanged(con, changes, order, step)
    else:
        built = [_made(con, relation, order, step) for relation in order]
    con.execute(
        "CREATE TABLE build_state AS SELECT ?::VARCHAR AS fingerprint, ?::VARCHAR AS sql_digest",
        [fingerprint, _sql_digest()],
    )
    step("Facts built", 1.0)
    return BuildReport(tuple(built), is_incremental, time.perf_counter() - started)


def health(con: duckdb.DuckDBPyConnection, folder: Path = SQL_FOLDER / "checks") -> list[HealthFinding]:
    """Run every check; a check that finds nothing is left out. Errors come first, then by name.

    Each finding carries up to 20 of the offending rows.
    """
    findings = []
    for path in sorted(folder.glob("*.sql")):
        text = path.read_text("utf-8")
        about, severity = header(path, text, "severity:")
        if severity not in ("error", "notice"):
            raise RelationError(f"{path} line 2: severity {severity!r}; must be error or notice.")
        rows = con.execute(text).fetchall()
        if rows:
            columns = tuple(column[0] for column in con.description or ())
            findings.append(HealthFinding(path.stem, about, severity, len(rows), columns, tuple(rows[:20])))
    return sorted(findings, key=lambda finding: (finding.severity != "error", finding.check))


def is_of_another_version(con: duckdb.DuckDBPyConnection) -> bool:
    """Whether the relations there were made by other .sql files than this version's: pages might not read them.

    Where nothing was built, nothing is of another version.
    """
    if not _exists(con, "duckdb_tables", "table_name", "build_state"):
        return False
    try:
        row = con.execute("SELECT sql_digest FROM build_state").fetchone()
    except duckdb.BinderException:
        return True
    return row is None or row[0] != _sql_digest()


def _sql_digest() -> str:
    texts = [path.read_text("utf-8") for folder in FOLDERS for path in sorted(folder.glob("*.sql"))]
    return hashlib.sha256("\n".join([*texts, _macros()]).encode("utf-8")).hexdigest()


def run_macros(con: duckdb.DuckDBPyConnection) -> None:
    """Define the functions the SQL files share."""
    con.execute(_macros())


def _macros() -> str:
    return (SQL_FOLDER / "macros.sql").read_text("utf-8") + build_macros()


def _made(con: duckdb.DuckDBPyConnection, relation: Relation, order: list[Relation], step: Progress) -> BuiltRelation:
    """Make a relation anew."""
    step(f"Building {relation.name}", order.index(relation) / len(order))
    started = time.perf_counter()
    _drop_other_kind(con, relation)
    _create(con, relation)
    return _report(con, relation, time.perf_counter() - started)


def _exchanged(
    con: duckdb.DuckDBPyConnection, changes: Changes, order: list[Relation], step: Progress
) -> list[BuiltRelation]:
    """Remake for the sites and visits that changed; views are as they were.

    Fetching what a relation has, remaking it, and exchanging the rows that differ are pieces of their own, done side by
    side: each has work that a single core does.
    """
    narrowing = Narrowing(con, changes, order)
    seconds: dict[str, float] = defaultdict(float)

    def piece(work: Callable[[duckdb.DuckDBPyConnection, Relation], None], relation: Relation) -> Callable[[], None]:
        def timed() -> None:
            started = time.perf_counter()
            with con.cursor() as cursor:
                cursor.execute("SET TimeZone = 'UTC'")
                work(cursor, relation)
            seconds[relation.name] += time.perf_counter() - started

        return timed

    kept_as = {relation.name: relation.kept_as for relation in order}
    pieces: dict[str, Piece] = {}
    for relation in order:
        name, reads = relation.name, relation.reads & kept_as.keys()
        whole = {f"Exchanging {read}" if kept_as[read] in NARROWED_KINDS else f"Building {read}" for read in reads}
        if relation.kept_as not in NARROWED_KINDS:
            work = _keep if relation.kept_as == "view" else _create
            pieces[f"Building {name}"] = Piece(piece(work, relation), frozenset(whole), 1)
            continue
        fetched = {f"Fetching {name}"} if needs_fetched(relation) else set()
        narrow = frozenset({f"Building {read}" for read in reads} | fetched)
        pieces[f"Fetching {name}"] = Piece(piece(narrowing.fetch, relation), frozenset(), 0 if fetched else 2)
        pieces[f"Building {name}"] = Piece(piece(narrowing.remake, relation), narrow, 0)
        both = frozenset({f"Fetching {name}", f"Building {name}"})
        pieces[f"Exchanging {name}"] = Piece(piece(narrowing.exchange, relation), both, 1)
    try:
        in_turns(pieces, step)
    finally:
        narrowing.drop(con)
    return [_report(con, relation, seconds[relation.name]) for relation in order]


def _keep(con: duckdb.DuckDBPyConnection, relation: Relation) -> None:
    """A view stays as it was: the .sql files are those of the last build."""


def _create(con: duckdb.DuckDBPyConnection, relation: Relation) -> None:
    kind = "VIEW" if relation.kept_as == "view" else "TABLE"
    con.execute(f'CREATE OR REPLACE {kind} "{relation.name}" AS {relation.select.strip().rstrip(";")}')


def _report(con: duckdb.DuckDBPyConnection, relation: Relation, seconds: float) -> BuiltRelation:
    n_rows = None
    if relation.kept_as != "view":
        counted = con.execute(f'SELECT count(*) FROM "{relation.name}"').fetchone()
        n_rows = int(counted[0]) if counted else 0
    return BuiltRelation(relation.name, relation.kept_as, n_rows, seconds)


def _drop_other_kind(con: duckdb.DuckDBPyConnection, relation: Relation) -> None:
    """A relation that used to be kept as the other kind cannot be replaced in one step."""
    if relation.kept_as == "view":
        if _exists(con, "duckdb_tables", "table_name", relation.name):
            con.execute(f'DROP TABLE "{relation.name}"')
    elif _exists(con, "duckdb_views", "view_name", relation.name):
        con.execute(f'DROP VIEW "{relation.name}"')


def _exists(con: duckdb.DuckDBPyConnection, catalog: str, column: str, name: str) -> bool:
    found = con.execute(
        f"SELECT count(*) FROM {catalog}() WHERE {column} = ? AND schema_name = 'main' AND NOT temporary", [name]
    ).fetchone()
    return bool(found and found[0])


def _fingerprint(con: duckdb.DuckDBPyConnection, order: list[Relation]) -> str:
    """A digest of all that bears on every site. Equal digests mean that unchanged sites have unchanged rows."""
    parts = [relation.select for relation in order]
    parts.append(_macros())
    for name in (*GIVEN, *(f"delivered.{table}" for table in COMPANY_RECORDS)):
        parts.append(str(con.execute(f"SELECT count(*), sum(hash(r)) FROM {name} AS r").fetchone()))
    return hashlib.sha256("\n".join(parts).encode("utf-8")).hexdigest()


def _last_fingerprint(con: duckdb.DuckDBPyConnection) -> str | None:
    if not _exists(con, "duckdb_tables", "table_name", "build_state"):
        return None
    row = con.execute("SELECT fingerprint FROM build_state").fetchone()
    return row[0] if row else None


def _all_there(con: duckdb.DuckDBPyConnection, order: list[Relation]) -> bool:
    return all(
        _exists(con, "duckdb_tables", "table_name", relation.name)
        for relation in order
        if relation.kept_as in NARROWED_KINDS
    )
