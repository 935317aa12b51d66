"""The buttons that take a table, a picture or a printed pack away. Each file is made when it is asked for, not before."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from typing import Any, TypeVar

import pandas as pd
import streamlit as st
from streamlit.errors import StreamlitDuplicateElementKey

from dashboard import code_names, exports, reader_choice, roles, shown_cells
from dashboard.charts.picture import Picture
from dashboard.printed import pack_names
from models.figures.scope import Scope

XLSX_MIME = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
ICON = ":material/download:"
Result = TypeVar("Result")


def later(work: Callable[..., Result]) -> Callable[..., Result]:
    """What makes a file, for the click: as the reader of this run, with the rights they have by then, in their units."""
    return roles.as_reader(reader_choice.keeping(work))


def table(frame: Callable[[], pd.DataFrame], name: str, key: str) -> None:
    """Three buttons: the table as CSV, as XLSX, as Parquet. frame: gives the whole of it when asked."""
    kinds: tuple[tuple[str, str, str, Callable[[pd.DataFrame], bytes]], ...] = (
        ("Export as CSV", "csv", "text/csv", exports.csv_bytes),
        ("XLSX", "xlsx", XLSX_MIME, exports.xlsx_bytes),
        ("Parquet", "parquet", "application/vnd.apache.parquet", exports.parquet_bytes),
    )
    for label, ending, mime, made in kinds:
        st.download_button(
            label,
            data=later(lambda made=made: made(exports.canonical_frame(frame()))),  # type: ignore[misc]
            file_name=f"{name}.{ending}",
            mime=mime,
            on_click="ignore",
            key=f"export_{key}" + ("" if ending == "csv" else f"_{ending}"),
            type="tertiary",
            icon=ICON,
        )


def shown_table(columns: Sequence[tuple[str, str]], body: Sequence[Sequence[Any]], caption: str) -> None:
    """The same for a table of text, folded away. A second table of the same content on a page has no buttons of its own."""
    separators = reader_choice.separators()
    told = hashlib.sha256(repr((columns, body, caption)).encode("utf-8", "replace")).hexdigest()[:16]
    try:
        with st.popover("Export", type="tertiary", icon=ICON):
            table(lambda: shown_cells.shown_frame(columns, body, separators), "table", told)
    except StreamlitDuplicateElementKey:
        return


def picture(drawn: Picture, key: str) -> None:
    """The chart as PNG and as SVG."""

    def png() -> bytes:
        from dashboard.printed import drawing

        return drawing.png(drawn)

    def svg() -> bytes:
        from dashboard.printed import drawing

        return drawing.svg(drawn, 1000).encode()

    with st.container(horizontal=True, gap="small"):
        for label, made, mime in (("PNG", png, "image/png"), ("SVG", svg, "image/svg+xml")):
            st.download_button(
                label,
                data=later(made),
                file_name=f"{key}.{label.lower()}",
                mime=mime,
                on_click="ignore",
                key=f"picture_{key}_{label.lower()}",
                type="tertiary",
                icon=ICON,
                help="The picture as a file.",
            )


def pack(kind: str, scope: Scope, technician_id: str | None = None, claim_id: str | None = None) -> None:
    """The printed pack of this page as PDF in both sizes of paper and as one web page, over the filters in force."""
    # Fixed now: the file is made after the page has been drawn.
    name_of = code_names.naming()

    def made(size: str | None) -> bytes:
        from dashboard.printed import drawing, packs, typeset, web_page

        font = drawing.FONT if size else None
        document = packs.document(kind, scope, name_of, technician_id, claim_id, font)
        return typeset.pdf(document, size) if size else web_page.web_page(document)

    name = pack_names.before_made(kind, scope, name_of, technician_id, claim_id)
    with st.container(horizontal=True, gap="small", vertical_alignment="center"):
        st.markdown("Printed pack:", width="content")
        for label, size, ending, mime in (
            ("PDF, A4", "a4", "_a4.pdf", "application/pdf"),
            ("PDF, US Letter", "letter", "_letter.pdf", "application/pdf"),
            ("Web page, one file", None, ".html", "text/html"),
        ):
            st.download_button(
                label,
                data=later(lambda size=size: made(size)),  # type: ignore[misc]
                file_name=name + ending,
                mime=mime,
                on_click="ignore",
                key=f"pack_{kind}_{size or 'html'}",
                type="tertiary",
                icon=":material/print:",
            )
