"""Rows of a PostgreSQL database, read only: one query a source, streamed into text files that are loaded like any other.

All queries of a mapping see the same state of the database. The password comes from the environment or libpq's own
files; nothing here holds, writes or shows one.
"""

from __future__ import annotations

import re
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pipelines.errors import GoodpullError
from pipelines.mapping.declared import Mapping, MappingError, Source
from pipelines.mapping.drift import changed_shape
from pipelines.mapping.query_drift import lacks
from pipelines.mapping.query_text import one_read
from pipelines.mapping.silence import SilenceWatch

CONNECT_SECONDS = 15
# So much later than the database's own limit ends a silent connection from this side: its word on the query goes first.
GRACE_SECONDS = 2
# A side that went away without a word is found out by the system; its usual two hours are as good as never.
_KEEPALIVES: dict[str, Any] = {"keepalives": 1, "keepalives_idle": 30, "keepalives_interval": 10, "keepalives_count": 3}
_STEP_BYTES = 1 << 24
Progress = Callable[[str, float | None], None]


class DatabaseError(GoodpullError):
    """A database, or the way to it, failed in the middle of reading; nothing was changed."""


@dataclass(frozen=True)
class _Session:
    """An open, read-only connection and what watches over it. most_rows: rows of each query; None = all."""

    mapping: Mapping
    connection: Any
    silence: SilenceWatch
    step: Progress
    most_rows: int | None


@contextmanager
def fetched(mapping: Mapping, step: Progress, most_rows: int | None = None) -> Iterator[list[tuple[Path, str | None]]]:
    """A text file for each query of the mapping, in a temporary folder; an error in words where one failed.

    most_rows: rows of each query; None = all. With all rows they are of use together only: once a query failed, those
    after it are not fetched, and no more than their own errors are found.
    Raises MappingError when the database cannot be reached, or a query is none or writes; DatabaseError when the database
    is lost midway, or the files cannot be written.
    """
    sources = [source for source in mapping.sources if source.query is not None]
    queries = [one_read(source.name, source.query or "") for source in sources]
    with _folder() as folder:
        files: list[tuple[Path, str | None]] = []
        with _session(mapping, step, most_rows) as session:
            for source, query in zip(sources, queries, strict=True):
                is_wanted = most_rows is not None or not any(error for _, error in files)
                files.append(_fetch(session, source, query, folder, is_wanted))
        yield files


@contextmanager
def _folder() -> Iterator[Path]:
    try:
        kept = tempfile.TemporaryDirectory(prefix="goodpull-database-")
    except OSError as error:
        raise _not_written("A folder for temporary files", "what a database gives", error) from error
    with kept as folder:
        yield Path(folder)


@contextmanager
def _session(mapping: Mapping, step: Progress, most_rows: int | None) -> Iterator[_Session]:
    """One transaction around all queries: each by itself would see a state of its own."""
    import psycopg

    connection = _connected(mapping)
    with SilenceWatch(connection, mapping.timeout_seconds + GRACE_SECONDS) as silence:
        session = _Session(mapping, connection, silence, step, most_rows)
        try:
            with connection, connection.transaction():
                yield session
        except psycopg.Error as error:
            raise _lost(session, "between its queries", error) from error


def _connected(mapping: Mapping) -> Any:
    import psycopg

    limit = f"{mapping.timeout_seconds}s"
    options = f"-c default_transaction_read_only=on -c statement_timeout={limit} -c timezone=UTC -c datestyle=ISO"
    try:
        connection = psycopg.connect(
            mapping.connection or "",
            connect_timeout=CONNECT_SECONDS,
            application_name="goodpull",
            client_encoding="UTF8",
            options=options,
            tcp_user_timeout=mapping.timeout_seconds * 1000,
            **_KEEPALIVES,
        )
    except psycopg.Error as error:
        raise MappingError(
            f"The database of the mapping {mapping.name!r} cannot be reached ({_said(error)}). Check its connection line, "
            "and the password in PGPASSWORD or libpq's password file; nothing was changed."
        ) from error
    connection.isolation_level = psycopg.IsolationLevel.REPEATABLE_READ
    connection.read_only = True
    return connection


def _fetch(session: _Session, source: Source, query: str, folder: Path, is_wanted: bool) -> tuple[Path, str | None]:
    """Copy the rows of one query into a file, or, where they are not wanted, let the database look at the query."""
    import psycopg

    path = folder / source.query_file
    session.silence.busy()
    session.step(f"Fetching {source.name}", None)
    session.silence.heard()
    try:
        # A point to return to, so that a query that fails does not end the others' view of the database.
        with session.connection.transaction():
            _refuse_several(session.connection, query)
            session.silence.heard()
            if is_wanted:
                _copy(session, source, query, path)
    except psycopg.Error as error:
        return path, _reason(session, source, query, error)
    except OSError as error:
        raise _not_written(str(folder), f"the rows of the query {source.name!r}", error) from error
    return path, None


def _copy(session: _Session, source: Source, query: str, path: Path) -> None:
    """Write the rows of a query into a file, piece by piece."""
    most, silence = session.most_rows, session.silence
    taken = query if most is None else f"SELECT * FROM (\n{query}\n) AS asked LIMIT {int(most)}"
    copied = f"COPY (\n{taken}\n) TO STDOUT (FORMAT csv, HEADER true)"
    n_bytes = 0
    with session.connection.cursor() as cursor, path.open("wb") as file, cursor.copy(copied) as copy:
        for piece in copy:
            # A disk that takes its time is no silence of the database.
            silence.busy()
            try:
                file.write(piece)
                n_bytes += len(piece)
                if n_bytes % _STEP_BYTES < len(piece):
                    session.step(f"Fetching {source.name}: {n_bytes >> 20:,} MB", None)
            finally:
                silence.heard()


def _refuse_several(connection: Any, query: str) -> None:
    """Let the database read the query by itself, as which it must be one statement.

    Within COPY a text such as "SELECT 1) TO STDOUT; COMMIT; BEGIN READ WRITE; ..." would end the transaction that may not
    write; a statement that is prepared can hold nothing after its end.
    """
    import psycopg

    result = connection.pgconn.prepare(b"", query.encode())
    if result.status != psycopg.pq.ExecStatus.COMMAND_OK:
        raise psycopg.errors.error_from_result(result)


def _reason(session: _Session, source: Source, query: str, error: Any) -> str:
    """What is said of a query that failed. Raises DatabaseError when the connection is lost, MappingError when it writes."""
    import psycopg

    if session.connection.closed:
        raise _lost(session, f"during the query {source.name!r}", error) from error
    if isinstance(error, psycopg.errors.ReadOnlySqlTransaction):
        raise MappingError(
            f"The query {source.name!r} writes ({_said(error)}). It was refused and nothing was changed; write a SELECT."
        ) from error
    session.silence.heard()
    lacking = lacks(session.connection, query, error)
    session.silence.heard()
    if lacking is not None and source.tables:
        return changed_shape(session.mapping, f"{lacking} It says: {_said(error)}.", "query")
    if lacking is not None:
        return f"cannot be run ({_said(error)}). {lacking} Put the query right."
    if isinstance(error, psycopg.errors.QueryCanceled):
        return (
            f"was ended by the database ({_said(error)}): it took longer than timeout_seconds "
            f"({session.mapping.timeout_seconds}) allows, or somebody ended it. Make the query smaller, or the limit longer."
        )
    if isinstance(error, psycopg.OperationalError):
        return f"failed in the database ({_said(error)}); nothing was loaded from it. Try again later."
    return f"is no query the database can run ({_said(error)}). Put it right in the mapping."


def _lost(session: _Session, when: str, error: Exception) -> DatabaseError:
    """The error of a connection that was closed, by the other side or for its silence. when: as in "during the query"."""
    name, seconds = session.mapping.name, session.mapping.timeout_seconds
    if session.silence.is_ended:
        return DatabaseError(
            f"The database of the mapping {name!r} went silent {when}: the connection stayed open, and nothing came for "
            f"longer than timeout_seconds ({seconds}) allows. It was closed from here and nothing was changed. See whether "
            "the database, and whatever stands between (a proxy, a tunnel), still answers, and try again."
        )
    return DatabaseError(
        f"The database of the mapping {name!r} ended the connection {when} ({_said(error)}). Nothing was changed; try "
        "again when it is back."
    )


def _not_written(place: str, what: str, error: OSError) -> DatabaseError:
    """place: where it was to be written, if the error does not say."""
    return DatabaseError(
        f"{error.filename or place}: {what} cannot be written ({error.strerror or error}). Nothing was changed. Free some "
        "space there, or name another folder for temporary files as TMPDIR, and try again."
    )


def _said(error: Exception) -> str:
    """The first line of what the database said; it never holds a password, but one is taken out all the same."""
    first = (str(error).strip().splitlines() or ["no reason given"])[0][:200]
    return re.sub(r"(?i)(password=)\S+", r"\1…", first)
