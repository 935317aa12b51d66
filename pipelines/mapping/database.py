"""Rows of a PostgreSQL database, read only: one query a source, streamed into text files that are loaded like any other.

All queries of a mapping see the same state of the database. The password comes from the environment or libpq's own
files; nothing here holds, writes or shows one.
"""

from __future__ import annotations

import re
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from pipelines.intake.file_kinds import IntakeError
from pipelines.mapping.declared import Mapping, MappingError, Source
from pipelines.mapping.query_text import one_read

CONNECT_SECONDS = 15
Progress = Callable[[str, float | None], None]


@contextmanager
def fetched(mapping: Mapping, step: Progress, most_rows: int | None = None) -> Iterator[list[tuple[Path, str | None]]]:
    """A text file for each query of the mapping, in a temporary folder; an error in words where one failed.

    most_rows: rows of each query; None = all. Raises MappingError when the database cannot be reached, or a query is none.
    """
    sources = [source for source in mapping.sources if source.query is not None]
    queries = [one_read(source.name, source.query or "") for source in sources]
    with tempfile.TemporaryDirectory(prefix="goodpull-database-") as folder:
        # One transaction around all of them: each query by itself would see a state of its own.
        with _connected(mapping) as connection, connection.transaction():
            files = [
                _fetch(connection, source, query, Path(folder), step, most_rows)
                for source, query in zip(sources, queries, strict=True)
            ]
        yield files


@contextmanager
def _connected(mapping: Mapping) -> Iterator[Any]:
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
        )
    except psycopg.Error as error:
        raise MappingError(
            f"The database of the mapping {mapping.name!r} cannot be reached ({_said(error)}). Check its connection line, "
            "and the password in PGPASSWORD or libpq's password file; nothing was changed."
        ) from error
    with connection:
        connection.isolation_level = psycopg.IsolationLevel.REPEATABLE_READ
        connection.read_only = True
        yield connection


def _fetch(
    connection: Any, source: Source, query: str, folder: Path, step: Progress, most_rows: int | None
) -> tuple[Path, str | None]:
    """Copy the rows of one query into a file, piece by piece."""
    import psycopg

    path = folder / source.query_file
    taken = query if most_rows is None else f"SELECT * FROM (\n{query}\n) AS asked LIMIT {int(most_rows)}"
    n_bytes = 0
    try:
        # A point to return to, so that a query that fails does not end the others' view of the database.
        with connection.transaction(), connection.cursor() as cursor, path.open("wb") as file:
            _refuse_several(connection, query)
            with cursor.copy(f"COPY (\n{taken}\n) TO STDOUT (FORMAT csv, HEADER true)") as copy:
                for piece in copy:
                    file.write(piece)
                    n_bytes += len(piece)
                    if n_bytes % (1 << 24) < len(piece):
                        step(f"Fetching {source.name}: {n_bytes >> 20:,} MB", None)
    except psycopg.errors.ReadOnlySqlTransaction as error:
        raise MappingError(
            f"The query {source.name!r} writes ({_said(error)}). It was refused; write a SELECT."
        ) from error
    except psycopg.errors.QueryCanceled:
        return path, "took longer than timeout_seconds allows. Make the query smaller, or the limit longer."
    except psycopg.OperationalError as error:
        if connection.closed:
            raise IntakeError(
                f"The database ended the connection during the query {source.name!r} ({_said(error)}). Nothing was "
                "loaded; try again when it is back."
            ) from error
        return path, f"failed in the database ({_said(error)}); nothing was loaded from it."
    except psycopg.Error as error:
        return path, f"is no query the database can run ({_said(error)}). Put it right in the mapping."
    return path, None


def _refuse_several(connection: Any, query: str) -> None:
    """Let the database read the query by itself, as which it must be one statement.

    Within COPY a text such as "SELECT 1) TO STDOUT; COMMIT; BEGIN READ WRITE; ..." would end the transaction that may not
    write; a statement that is prepared can hold nothing after its end.
    """
    import psycopg

    result = connection.pgconn.prepare(b"", query.encode())
    if result.status != psycopg.pq.ExecStatus.COMMAND_OK:
        raise psycopg.errors.error_from_result(result)


def _said(error: Exception) -> str:
    """The first line of what the database said; it never holds a password, but one is taken out all the same."""
    first = (str(error).strip().splitlines() or ["no reason given"])[0][:200]
    return re.sub(r"(?i)(password=)\S+", r"\1…", first)
