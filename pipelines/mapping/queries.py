"""Queries as a person types them, and a mapping proposed from what they give."""

from __future__ import annotations

import re
import tempfile
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from pipelines.mapping.connection_line import connection_of
from pipelines.mapping.database import Progress, fetched
from pipelines.mapping.declared import Mapping, MappingError, Source
from pipelines.mapping.samples import ROWS_LOOKED_AT, Sample, samples_of

# Two hyphens begin a remark within a query, which may hold a colon.
_NAMED = re.compile(r"^(\w(?:[\w ]|-(?!-)){0,59}?)\s*:(?!:)\s*(.*)$")
HOW = "Write a name, a colon and one SELECT, such as: visits: SELECT * FROM service.visits"


def asked_of(connection: str, text: str) -> Mapping:
    """A mapping that only asks: the queries of the text, each begun by its name and a colon, over as many lines as it takes.

    Raises MappingError where there is no query, one has no name, a name stands twice, or the connection holds a password.
    """
    queries: dict[str, list[str]] = {}
    name = ""
    for line in text.splitlines():
        begun = _NAMED.match(line)
        if begun:
            name = begun[1]
            if name in queries:
                raise MappingError(f"The query {name!r} stands twice; give each a name of its own.")
            queries[name] = [begun[2]]
        elif line.strip():
            if not name:
                raise MappingError(f"{line.strip()[:40]!r} belongs to no query. {HOW}")
            queries[name].append(line)
    if not queries:
        raise MappingError(f"No query is named. {HOW}")
    if not connection.strip():
        raise MappingError("No connection is named. Write: service=..., or host=... dbname=... user=...")
    sources = tuple(Source((), query="\n".join(lines).strip(), name=name) for name, lines in queries.items())
    return Mapping("database", sources, connection=connection_of(connection.strip()))


def database_samples(asked: Mapping, step: Progress) -> tuple[list[Sample], list[str]]:
    """The first rows of every query, and what is to be said of those that failed.

    Raises MappingError where the database cannot be reached, or a query is none.
    """
    samples: list[Sample] = []
    said = []
    with fetched(asked, step, ROWS_LOOKED_AT) as files:
        for path, error in files:
            if error is not None:
                said.append(f"{path.stem}: {error}")
                continue
            with tempfile.TemporaryDirectory(prefix="goodpull-map-") as scratch:
                samples += samples_of(path, Path(scratch))
    return samples, said


def with_queries(mapping: Mapping, asked: Mapping) -> Mapping:
    """A mapping proposed for samples of queries, reading those queries instead of files of their names."""
    return replace(
        mapping,
        sources=tuple(with_query(source, asked.sources) for source in mapping.sources),
        connection=asked.connection,
        timeout_seconds=asked.timeout_seconds,
    )


def with_query(source: Source, asked: Sequence[Source]) -> Source:
    """A source reading the query whose rows its file held; any other as it is."""
    for one in asked:
        if source.query is None and one.query_file == source.file:
            return replace(source, file="*", query=one.query, name=one.name)
    return source
