"""Rows held back, put right in place: mended cell by cell, judged as a file would be, or dismissed with a reason."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard import own_entry, store_access, words
from pipelines.contract.tables import TABLE_BY_NAME
from pipelines.errors import GoodpullError
from pipelines.mapping.spellings import choices
from pipelines.own_entries import HeldRow, dismiss_rows, held_rows, mend_rows

# Most rows of one reason offered at a time; more come up as these are done.
ROWS_OFFERED = 200
_OF_REASON = "table_name = ? AND column_name IS NOT DISTINCT FROM ? AND reason_code = ?"


def show(reasons: pd.DataFrame) -> None:
    """The section. reasons: see record_lookups.held_back_reasons, at least one."""
    st.subheader("Put rows right")
    named = {
        f"{line.table_name}.{line.column_name or 'row'}: {words.label(line.reason_code)} ({words.count(line.n_rows)})": line
        for line in reasons.itertuples()
    }
    chosen = named[st.selectbox("Which reason", list(named), key="held_reason")]
    column = None if words.is_missing(chosen.column_name) else chosen.column_name
    rows = _rows([chosen.table_name, column, chosen.reason_code])
    if not rows:
        st.markdown(
            "Every row listed for this reason is mended or dismissed, and waits to be brought into the figures."
        )
        return
    key = own_entry.form_of("mending")
    places = {_place(row): row for row in rows}
    row = places[st.selectbox("Which row", list(places), key=f"held_row_{key}")]
    form = f"{key}_{row.row_key}"
    for said in row.reasons.values():
        st.markdown(words.plain(said))
    changes = _changes(row, form)
    alike = [other for other in rows if column and _cell(other, column) == _cell(row, column)]
    # One identifier in many rows would make one row of them.
    is_key = column in TABLE_BY_NAME[row.table].key
    is_all = (
        len(alike) > 1
        and not is_key
        and st.checkbox(f"The same in all {words.count(len(alike))} rows listed with this cell", key=f"all_{form}")
    )
    reason = st.text_input("Why", key=f"why_{form}", max_chars=2000)
    name = own_entry.who(form)
    is_signed = bool(reason.strip() and name.strip())
    with st.container(horizontal=True):
        if st.button("Mend", key=f"mend_{form}", type="primary", disabled=not (changes and is_signed)):
            # Of several rows only the cell they share is changed: the others tell them apart.
            shared = {cell: text for cell, text in changes.items() if cell == _delivered(row, column or "")}
            _mend(alike if is_all else [row], shared if is_all else changes, reason, name)
        if st.button("Dismiss: not wanted", key=f"dismiss_{form}", disabled=not is_signed):
            _dismiss(alike if is_all else [row], reason, name)
    if not is_signed:
        st.caption("Say why, and your name. To mend, change a cell; to dismiss, the reason is enough.")


def _rows(of_reason: list[str | None]) -> list[HeldRow]:
    """Rows of the reason that nobody has put right since the figures were made."""
    done = {
        kept.entry.about for kept in own_entry.own().entries("mended_row", "dismissed_row") if kept.is_in_force
    }  # fmt: skip
    found = held_rows(store_access.reader(), _OF_REASON, of_reason, ROWS_OFFERED + len(done))
    return [row for row in found if row.row_key not in done][:ROWS_OFFERED]


def _place(row: HeldRow) -> str:
    line = f" line {row.line_no}" if row.line_no else ""
    return f"{row.file_name}{line}: {', '.join(cell for cell in row.cells.values() if cell)[:80]} [{row.row_key[:8]}]"


def _cell(row: HeldRow, column: str) -> str | None:
    return row.cells.get(_delivered(row, column) or "")


def _delivered(row: HeldRow, column: str) -> str | None:
    """The name in the file of a column of the contract."""
    from pipelines.intake.headers import folded

    return next((name for name in row.columns if folded(name) == column), None)


def _changes(row: HeldRow, form: str) -> dict[str, str]:
    """The cells that were changed. Those refused come first."""
    refused = [name for name in (_delivered(row, column) for column in row.reasons) if name]
    if not refused:
        needed = TABLE_BY_NAME[row.table].required()
        refused = [name for name in row.columns if name in needed] or row.columns[:6]
    others = [name for name in row.columns if name not in refused]
    typed = {name: _input(row, name, form) for name in refused}
    if others:
        with st.expander("Other cells of the row", key=f"others_{form}"):
            typed |= {name: _input(row, name, form) for name in others}
    return {name: cell for name, cell in typed.items() if cell != row.cells.get(name, "")}


def _input(row: HeldRow, name: str, form: str) -> str:
    cell, key = row.cells.get(name, ""), f"cell_{form}_{name}"
    entry = next((one for one in TABLE_BY_NAME[row.table].fields if _delivered(row, one.name) == name), None)
    codes = choices(entry) if entry is not None else []
    if not codes:
        return st.text_input(name, value=cell, key=key)
    options = list(dict.fromkeys([cell, "", *codes]))
    return st.selectbox(name, options, key=key, format_func=lambda code: code or "– blank –")


def _mend(rows: list[HeldRow], changes: dict[str, str], reason: str, name: str) -> None:
    if not changes:
        st.error("The cell these rows share is as it was. Change it, or mend the rows one by one.")
        return
    try:
        n = mend_rows(store_access.reader(), own_entry.own(), store_access.settings(), rows, changes, reason, name)
    except GoodpullError as error:
        st.error(words.plain(error))
        return
    own_entry.kept("mending", f"{words.plural(n, 'row')} mended and kept.")
    st.rerun()


def _dismiss(rows: list[HeldRow], reason: str, name: str) -> None:
    try:
        n = dismiss_rows(own_entry.own(), rows, reason, name)
    except GoodpullError as error:
        st.error(words.plain(error))
        return
    own_entry.kept("mending", f"{words.plural(n, 'row')} dismissed; the rows and the reason are kept.")
    st.rerun()
