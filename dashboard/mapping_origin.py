"""Where a foreign export is read from: files chosen, a folder named, or queries to a PostgreSQL database."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import streamlit as st

from dashboard import record_loading, roles, words
from pipelines.errors import GoodpullError
from pipelines.intake.file_kinds import expand
from pipelines.mapping.declared import Mapping
from pipelines.mapping.queries import asked_of, database_samples
from pipelines.mapping.samples import Sample, samples_of


@dataclass(frozen=True)
class Origin:
    """files: as uploaded. named: a path of this machine. connection, queries: of a database."""

    files: Sequence[Any]
    named: str
    connection: str
    queries: str

    @property
    def is_given(self) -> bool:
        return bool(self.files or self.named or self.has_database)

    @property
    def has_database(self) -> bool:
        return bool(self.connection.strip() and self.queries.strip())


def asked() -> Origin:
    """Draw the three ways; what was given."""
    files = st.file_uploader(
        "Files of the export", type=record_loading.KINDS, accept_multiple_files=True, key="map_files"
    )
    named = st.text_input(
        "Or a folder or file on this machine", key="map_path", placeholder="/home/me/exports", width=560
    )
    with st.expander("Or a PostgreSQL database, only ever read", key="map_database"):
        st.markdown(
            "The password is never typed here: it comes from PGPASSWORD or libpq's password file of the machine the pages "
            "run on. Every query is run in a transaction that may not write."
        )
        connection = st.text_input(
            "Connection", key="map_connection", placeholder="service=records, or host=db dbname=service user=reader"
        )
        queries = st.text_area(
            "Queries, one a table",
            key="map_queries",
            placeholder="visits: SELECT * FROM service.visits\nlines: SELECT * FROM service.lines",
            help="A name, a colon and one SELECT, over as many lines as it takes.",
            height=140,
        )
    return Origin(files or [], named, connection, queries)


@contextmanager
def paths_of(origin: Origin) -> Iterator[list[Path]]:
    """The files to read, uploads written to a temporary folder. Raises NotAllowed for who may not load."""
    _refuse_others()
    with tempfile.TemporaryDirectory(prefix="goodpull-map-") as folder:
        paths = record_loading.written(origin.files, Path(folder))
        yield paths + ([Path(origin.named).expanduser()] if origin.named else [])


def samples_from(origin: Origin, kept: Mapping | None) -> tuple[list[Sample], Mapping | None]:
    """The first rows of everything, and the mapping that only asks, where a database is read.

    What cannot be read is told on the page. kept: a mapping used again; the database is then its own.
    """
    samples: list[Sample] = []
    with paths_of(origin) as paths, st.spinner("Reading the columns"):
        for path, error in expand(paths):
            try:
                if error is not None:
                    raise GoodpullError(error)
                with tempfile.TemporaryDirectory(prefix="goodpull-map-") as scratch:
                    samples += list(samples_of(path, Path(scratch)))
            except GoodpullError as refused:
                st.warning(words.plain(f"{path.name}: {refused}"))
        database = kept if kept is not None and kept.connection is not None else None
        try:
            if database is None and origin.has_database:
                database = asked_of(origin.connection, origin.queries)
            if database is not None:
                found, said = database_samples(database, lambda sentence, share: None)
                samples += found
                for one in said:
                    st.warning(words.plain(one))
        except GoodpullError as refused:
            st.error(words.plain(refused))
            database = None
    return samples, database


def _refuse_others() -> None:
    if not roles.may_load():
        raise roles.NotAllowed("Only the service manager may read files on this machine, or a database.")
