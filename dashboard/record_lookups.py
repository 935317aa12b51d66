"""What the Records page asks of the store: the ledger of loads, rows held back, columns left out, health."""

from __future__ import annotations

from typing import Any

import pandas as pd
import streamlit as st

from dashboard import roles, store_access
from pipelines.contract.tables import TABLES
from pipelines.intake.ledger import NEWEST_LOADS, mapping_version
from pipelines.intake.told_reasons import OPEN_BY_REASON
from pipelines.mapping.declared import MappingError
from pipelines.mapping.kept_versions import KeptVersion, kept_versions, told_version

ROWS_LISTED = 2000


def totals() -> dict[str, Any]:
    """n_files, n_rows, n_accepted, n_held_back, n_duplicates over all loads."""
    roles.require_page("records")
    return store_access.row(
        """
        SELECT count(*) AS n_files, sum(n_rows) AS n_rows, sum(n_accepted) AS n_accepted,
               sum(n_held_back) AS n_held_back, sum(n_duplicates) AS n_duplicates
        FROM load
        """
    )


def ledger() -> pd.DataFrame:
    """One row per load, newest first. mapping: which one read it, and its version; blank for files of the contract."""
    roles.require_page("records")
    loads, kept = store_access.frame(NEWEST_LOADS), kept_versions(store_access.home())
    told = [told_version(kept, mapping_version(digest)) for digest in loads["digest"]]
    return loads.assign(mapping=pd.Series(told, dtype="string"))


def mappings_of_loads() -> list[KeptVersion]:
    """The versions of mappings that made loads and whose copies are kept, that of the newest load first."""
    _require_mappings()
    kept = kept_versions(store_access.home())
    made = (mapping_version(digest) for digest in store_access.frame(NEWEST_LOADS)["digest"])
    return [kept[one] for one in dict.fromkeys(made) if one in kept]


def mapping_text(digest: str) -> str:
    """The kept copy of a version, as TOML. Raises MappingError where there is none, or it cannot be read."""
    _require_mappings()
    kept = kept_versions(store_access.home()).get(digest)
    if kept is None:
        raise MappingError(f"No copy of the version {digest} is kept.")
    try:
        return kept.path.read_text("utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise MappingError(f"{kept.path}: cannot be read ({error}).") from error


def _require_mappings() -> None:
    """A mapping names people, files and a database; it is for whoever may load with it."""
    roles.require_page("records")
    if not roles.may_load():
        raise roles.NotAllowed("Only the service manager may take away a mapping.")


def held_back_reasons() -> pd.DataFrame:
    """Rows held back and still open, by table, column and reason; example: the refused cells met most often."""
    roles.require_page("records")
    return store_access.frame(OPEN_BY_REASON)


def n_held_back_open() -> int:
    """Rows held back and neither mended, dismissed nor replaced by a later version of the same row."""
    roles.require_page("records")
    found = store_access.row("SELECT count(DISTINCT (load_id, coalesce(row_no, -line_no))) AS n FROM held_back_open")
    return int(found["n"])


def held_back_settled() -> dict[str, int]:
    """How many different rows were mended, dismissed, or replaced by a later version of the same row."""
    roles.require_page("records")
    rows = store_access.frame(
        "SELECT outcome, count(DISTINCT row_key) AS n FROM held_back_settled GROUP BY outcome ORDER BY outcome DESC"
    )
    return dict(zip(rows["outcome"], rows["n"], strict=True))


def n_held_back_cells() -> int:
    """Cells that were refused and still hold a row back: the lines of held_back_rows."""
    roles.require_page("records")
    return int(store_access.row("SELECT count(*) AS n FROM held_back_open")["n"])


def held_back_rows(limit: int | None = None) -> pd.DataFrame:
    """The cells that were refused, the newest first, with where they stand and the whole row as delivered."""
    roles.require_page("records")
    return store_access.frame(
        f"""
        SELECT file_name AS file, line_no AS line, table_name AS "table", column_name AS "column", got, reason,
               left(raw::VARCHAR, 2000) AS "row as delivered"
        FROM held_back_open ORDER BY load_id DESC, row_no, column_name
        {"" if limit is None else f"LIMIT {int(limit)}"}
        """
    )


def columns_left_out() -> tuple[list[str], list[str]]:
    """Personal columns that were dropped, and columns that are not in the contract; as table.column."""
    roles.require_page("records")
    rows = store_access.frame(
        """
        SELECT DISTINCT kind, table_name || '.' || name AS name FROM (
            SELECT 'dropped' AS kind, table_name, unnest(dropped_columns) AS name FROM load
            UNION ALL SELECT 'unknown', table_name, unnest(unknown_columns) FROM load
        ) ORDER BY ALL
        """
    )
    return rows.loc[rows["kind"] == "dropped", "name"].tolist(), rows.loc[rows["kind"] == "unknown", "name"].tolist()


def empty_tables() -> list[str]:
    """Tables of the contract that nothing was loaded into; those entered here are not counted."""
    asked = [table.name for table in TABLES if not table.is_entered_here]
    union = " UNION ALL ".join(f"SELECT '{name}' AS name, EXISTS (FROM delivered.{name}) AS has_rows" for name in asked)
    rows = store_access.frame(union)
    return rows.loc[~rows["has_rows"], "name"].tolist()


def health() -> list[Any]:
    """Findings of pipelines.build.health over the generation in force."""
    roles.require_page("records")
    return _health(store_access.key())


@st.cache_data(max_entries=4, show_spinner="Running the health checks.")
def _health(store_key: str) -> list[Any]:
    from pipelines.build import health as checks

    return list(checks(store_access.reader()))
