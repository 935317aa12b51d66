"""The store as the pages read it: one read-only connection per generation, answers cached by generation.

Nothing here is personal to one reader, so the caches are shared. A load that publishes a new generation is seen at
the next click: the pointer is read each time, and the old connection is dropped, not closed, so that a page being
drawn on it still finishes.
"""

from __future__ import annotations

import logging
import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import duckdb
import pandas as pd
import streamlit as st

from dashboard import reader_choice
from dashboard.home_folder import default_home
from dashboard.words import is_missing
from pipelines.settings import Settings
from pipelines.store import Store, StoreError

log = logging.getLogger("goodpull")


@dataclass(frozen=True)
class Opened:
    """An open generation: what tells it from any other, and its connection."""

    identity: str
    con: duckdb.DuckDBPyConnection


def home() -> Path:
    """The folder the pages show: GOODPULL_HOME, or the account's own."""
    named = os.environ.get("GOODPULL_HOME")
    return Path(named) if named else default_home()


def store() -> Store:
    return Store(home())


def generation() -> str | None:
    """File name of the generation in force, or None when nothing has been loaded."""
    path = store().current()
    return path.name if path else None


def key() -> str:
    """What every cached answer is keyed by. The file's own time tells a home made anew under the same names."""
    path = store().current()
    return f"{path}|{path.stat().st_mtime_ns}" if path else f"{home()}|none"


def _is_current(opened: Opened) -> bool:
    return opened.identity == key()


@st.cache_resource(validate=_is_current, max_entries=1, show_spinner=False)
def _opened() -> Opened:
    if generation() is None:
        raise StoreError(f"No records in {home()} yet. Load some on the Records page.")
    return Opened(key(), store().open_reader())


def reader() -> duckdb.DuckDBPyConnection:
    """A cursor of its own on the generation in force; one per use, since a connection must not be shared by threads."""
    return _opened().con.cursor()


def frame(sql: str, bound: Sequence[Any] = ()) -> pd.DataFrame:
    """The rows of one small query, cached by generation. bound: values for its question marks, in order.

    Raises NotAllowed for a reader who is not signed in where that is needed; the cache is shared, so it is asked first.
    """
    from dashboard import roles

    roles.require_somebody()
    return _frame(key(), sql, tuple(bound))


@st.cache_data(max_entries=400, show_spinner=False)
def _frame(store_key: str, sql: str, bound: tuple[Any, ...]) -> pd.DataFrame:
    return reader().execute(sql, list(bound)).df()


def row(sql: str, bound: Sequence[Any] = ()) -> dict[str, Any]:
    """The first row of a small query as a dictionary; empty when there is none. Missing values are None."""
    rows = frame(sql, bound)
    if rows.empty:
        return {}
    return {name: None if is_missing(value) else value for name, value in rows.iloc[0].to_dict().items()}


def settings() -> Settings:
    """The settings in force, read anew so that an edit shows at the next click."""
    return Settings.load(home())


def draft_unit() -> str | None:
    """The unit drafts are told in to this reader."""
    return reader_choice.draft_unit(settings().default_pressure_unit)
