"""Loading files from the page: by upload or by path, with progress; a check first changes nothing."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import streamlit as st

from dashboard import page, store_access, words
from pipelines.contract.tables import TABLES
from pipelines.errors import GoodpullError

KINDS = ["csv", "txt", "tsv", "xlsx", "parquet", "jsonl", "ndjson"]


def show() -> None:
    """The two ways to load, and the report of the last load."""
    st.header("Load files")
    upload, path = st.tabs(["Choose files", "Name a folder or file on this machine"])
    with upload:
        files = st.file_uploader(
            f"CSV, XLSX, Parquet or JSON lines; the name tells the table: "
            f"{', '.join(table.name for table in TABLES[:6])}, …",
            type=KINDS,
            accept_multiple_files=True,
            key="files",
        )
        _buttons("upload", bool(files), lambda is_dry_run: _load_uploaded(files or [], is_dry_run))
    with path:
        named = st.text_input("Folder or file", key="load_path", placeholder="/home/me/exports", width=560)
        _buttons("path", bool(named), lambda is_dry_run: _load([Path(named).expanduser()], is_dry_run))
    report = st.session_state.get("load_report")
    if report is not None:
        _report(*report)


def _buttons(key: str, is_ready: bool, work: Callable[[bool], None]) -> None:
    with st.container(horizontal=True):
        if st.button(
            "Check first",
            key=f"check_button_{key}",
            disabled=not is_ready,
            help="Says what a load would do; changes nothing.",
        ):
            work(True)
        if st.button("Load", key=f"load_button_{key}", disabled=not is_ready, type="primary"):
            work(False)


def _load_uploaded(files: Sequence[Any], is_dry_run: bool) -> None:
    with tempfile.TemporaryDirectory(prefix="goodpull-") as folder:
        paths = []
        for file in files:
            # Only the last part of the name is kept, so that nothing is written outside the folder.
            target = Path(folder) / Path(file.name.replace("\\", "/")).name
            target.write_bytes(file.getbuffer())
            paths.append(target)
        _load(paths, is_dry_run)


def _load(paths: list[Path], is_dry_run: bool) -> None:
    from pipelines.loading import load

    bar = st.progress(0.0, text="Reading the files")

    def progress(step: str, done: float | None) -> None:
        bar.progress(min(max(done or 0.0, 0.0), 1.0), text=words.plain(step))

    try:
        report = load(
            store_access.home(), paths, settings=store_access.settings(), progress=progress, is_dry_run=is_dry_run
        )
    except GoodpullError as error:
        bar.empty()
        st.error(words.plain(error))
        return
    bar.empty()
    st.session_state["load_report"] = (report, is_dry_run)
    st.rerun()


def _report(report: Any, is_dry_run: bool) -> None:
    title = "What a load would do (nothing was changed)" if is_dry_run else "What the load did"
    with st.container(border=True):
        st.markdown(f"**{title}**")
        lines = [
            (
                file.file_name,
                file.table_name or "",
                *(
                    words.count(number)
                    for number in (file.n_rows, file.n_accepted, file.n_held_back, file.n_duplicates)
                ),
                _remark(file),
            )
            for file in report.files
        ]
        columns = (
            ("File", "text"),
            ("Table", "text"),
            ("Rows", "number"),
            ("Accepted", "number"),
            ("Held back", "number"),
            ("Duplicates", "number"),
            ("Remark", "text"),
        )
        page.rows(columns, lines, "No file was found there.")


def _remark(file: Any) -> str:
    parts = []
    if file.is_already_loaded:
        parts.append("Already loaded; nothing changes.")
    if getattr(file, "error", None):
        parts.append(str(file.error))
    if file.dropped_columns:
        parts.append("Personal columns dropped: " + ", ".join(file.dropped_columns) + ".")
    if file.unknown_columns:
        parts.append("Columns not read: " + ", ".join(file.unknown_columns) + ".")
    parts += [f"{words.count(n)} × {reason}" for reason, n in list(file.reasons.items())[:3]]
    parts += [message for message in file.messages[:3] if message not in parts]
    return " ".join(parts)
