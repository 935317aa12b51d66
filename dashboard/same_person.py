"""The id a technician stands under in the figures, where a person decided that two entries are one technician."""

from __future__ import annotations

import streamlit as st

from dashboard import store_access


def kept_id(technician_id: str) -> str:
    """The id that stands for this one in the generation in force; itself where nothing was decided."""
    return _kept(store_access.key()).get(technician_id, technician_id)


def ids_of(technician_id: str) -> list[str]:
    """This id, and every id of the records that it stands for."""
    return [technician_id, *(one for one, kept in _kept(store_access.key()).items() if kept == technician_id)]


@st.cache_data(max_entries=4, show_spinner=False)
def _kept(store_key: str) -> dict[str, str]:
    if store_access.generation() is None:
        return {}
    con = store_access.reader()
    # A generation of an older version has no such table until it is built anew.
    if not con.execute("FROM duckdb_tables() WHERE schema_name = 'entered' AND table_name = 'same_as'").fetchone():
        return {}
    query = "SELECT record_id, kept_id FROM entered.same_as WHERE subject = 'technician' ORDER BY record_id"
    return dict(con.execute(query).fetchall())
