"""What a mapping does to an export, on the page: rows in, rows out, what is held back, how much is understood."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard import long_list, page, words
from dashboard.frame_text import FrameText
from dashboard.printing import file_lines
from pipelines.mapping.preview import Preview, TablePreview

# Rows of one part where they stand one under the other: they have many columns.
NARROW_SHOWN = 2


def show(tried: Preview) -> None:
    """Every table of the preview; then the files that would be refused."""
    for n, made in enumerate(tried.tables):
        with st.container(border=True):
            _table(made, n)
    for said in tried.unread:
        st.caption(words.plain(said))
    for error in tried.errors:
        st.error(words.plain(error))


def _table(made: TablePreview, n: int) -> None:
    st.markdown(f"**{words.plain(f'{made.shown} → {made.table_name}')}**")
    report = made.report
    if report is not None:
        page.told(
            f"{words.plural(report.n_rows, 'row')} = {words.count(report.n_accepted)} accepted + "
            f"{words.count(report.n_held_back)} held back + {words.count(report.n_duplicates)} exact duplicates."
        )
        for line in file_lines(report):
            st.markdown(f"- {words.plain(line)}")
    lines = [
        (column, words.count(made.n_filled.get(column, 0)), "blank" if share is None else words.share(share))
        for column, share in made.share_understood.items()
    ]
    page.rows((("Column", "text"), ("Filled cells", "number"), ("Understood", "number")), lines, "No column is filled.")
    st.caption(f"First {len(made.rows_in)} rows in")
    _rows(_frame(made.rows_in, made.columns_in), f"map_rows_in_{n}")
    st.caption(f"First {len(made.rows_out)} rows out, each with the number of the row it came from")
    _rows(_frame(made.rows_out, ["row", *made.columns_out]), f"map_rows_out_{n}")


def _rows(frame: pd.DataFrame, key: str) -> None:
    """The rows as a grid; in a narrow window a few at a time, one under the other."""
    with st.container(key=f"on_wide_{key}"):
        st.dataframe(frame, hide_index=True, key=key, alt=f"Table of {words.plural(len(frame), 'row')}")
    with st.container(key=f"on_narrow_{key}"):
        text = FrameText(frame)
        long_list.parts(text.columns(), text, f"narrow_{key}", "No row.", n_shown=NARROW_SHOWN)


def _frame(rows: list[tuple], columns: list[str]) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=columns, dtype="string")
