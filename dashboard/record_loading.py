"""Loading files from the page: by upload or by path, with progress; a check first changes nothing."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import streamlit as st

from dashboard import notices, page, roles, stoppable, store_access, words
from dashboard.home_folder import DEMO_MARKER
from pipelines.contract.reasons import WHAT_NEXT
from pipelines.contract.tables import TABLES
from pipelines.errors import GoodpullError
from pipelines.mapping.declared import Mapping

REASONS_SHOWN = 3
KINDS = ["csv", "txt", "tsv", "xlsx", "parquet", "jsonl", "ndjson"]


def show() -> None:
    """The two ways to load, and the report of the last load; nothing for readers who may not load."""
    if not roles.may_load():
        return
    st.header("Load files")
    why_not = refusal()
    if why_not:
        notices.told("Nothing is loaded here", why_not)
    upload, path = st.tabs(["Choose files", "Name a folder or file on this machine"])
    with upload:
        files = st.file_uploader(
            f"Files with the names and columns of the data contract: {', '.join(table.name for table in TABLES[:6])}, … "
            f"Any other export goes below, under Map a foreign export.",
            type=KINDS,
            accept_multiple_files=True,
            key="files",
        )
        _buttons("upload", bool(files), lambda is_dry_run: _load_uploaded(files or [], is_dry_run))
    with path:
        named = st.text_input("Folder or file", key="load_path", placeholder="/home/me/exports", width=560)
        _buttons("path", bool(named), lambda is_dry_run: load_paths([Path(named).expanduser()], is_dry_run))
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
        is_refused = refusal() is not None
        if st.button("Load", key=f"load_button_{key}", disabled=not is_ready or is_refused, type="primary"):
            work(False)


def _load_uploaded(files: Sequence[Any], is_dry_run: bool) -> None:
    with tempfile.TemporaryDirectory(prefix="goodpull-") as folder:
        load_paths(written(files, Path(folder)), is_dry_run)


def written(files: Sequence[Any], folder: Path) -> list[Path]:
    """Write what was uploaded into a folder. Only the last part of a name is kept, so that nothing lands outside it.

    A name that stands twice gets a folder of its own, so that no file takes another's place.
    """
    paths = []
    for n, file in enumerate(files):
        last = Path(file.name.replace("\\", "/").replace("\0", "")).name
        target = folder / (last if last not in ("", ".", "..") else "file")
        if target.exists():
            target = folder / f"{n}" / target.name
            target.parent.mkdir()
        target.write_bytes(file.getbuffer())
        paths.append(target)
    return paths


def load_paths(
    paths: list[Path],
    is_dry_run: bool,
    mapping: Mapping | None = None,
    done: Callable[[Any], None] | None = None,
) -> None:
    """Load, or say what a load would do, with progress; the report is shown when the page is drawn again.

    done: told of the report before that; not when the load as a whole was refused.
    """
    from pipelines.loading import load

    if not roles.may_load():
        raise roles.NotAllowed("Only the service manager may load records.")
    if not is_dry_run and refusal() is not None:
        # The button is off; a home that became a demo since the page was drawn is refused here.
        st.error(words.plain(refusal()))
        return
    try:
        with stoppable.bar("Reading the files") as progress:
            report = load(
                store_access.home(),
                paths,
                settings=store_access.settings(),
                progress=progress,
                is_dry_run=is_dry_run,
                mapping=mapping,
            )
    except GoodpullError as error:
        st.error(words.plain(error))
        return
    st.session_state["load_report"] = (report, is_dry_run)
    if done is not None:
        done(report)
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
                    for number in (file.n_rows, file.n_accepted, file.n_revised, file.n_held_back, file.n_duplicates)
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
            ("of them revised", "number"),
            ("Held back", "number"),
            ("Duplicates", "number"),
            ("Remark", "text"),
        )
        page.rows(columns, lines, "No file was found there.")
        for said in report.notices:
            st.warning(words.plain(said))
        if report.passed_over:
            named = ", ".join(report.passed_over)
            st.caption(words.plain(f"Passed over, no kind of file records come in: {named}."))


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
    ordered = sorted(file.reasons.items(), key=lambda one: (-one[1], one[0]))
    parts += [_told(file, reason, n) for reason, n in ordered[:REASONS_SHOWN]]
    if len(ordered) > REASONS_SHOWN:
        parts.append(f"And {words.plural(len(ordered) - REASONS_SHOWN, 'other reason')}; see Held back after a load.")
    parts += [message for message in file.messages if message not in parts]
    return " ".join(parts)


def _told(file: Any, reason: str, n: int) -> str:
    """How many cells were refused for one reason, and the sentence of the first of them, with its line."""
    example = file.examples.get(reason, "").removeprefix(file.file_name).removesuffix(WHAT_NEXT).strip()
    if not example:
        return f"{words.plural(n, 'cell')} held back."
    all_words = file.unknown_words.get(reason)
    return f"{words.plural(n, 'cell')} held back, such as {example}" + (f" In all: {all_words}." if all_words else "")


def refusal() -> str | None:
    """Why nothing may be loaded here: the home holds the invented fleet. None where loading is allowed."""
    if not (store_access.home() / DEMO_MARKER).exists():
        return None
    return (
        "This home holds the invented demo fleet; own records would mix with it. Open another folder, "
        "such as: goodpull open --home company. Checking files is allowed; it changes nothing."
    )
