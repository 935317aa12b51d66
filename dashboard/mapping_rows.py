"""Which rows of a file a table is made of: where a column is filled, and by what stands in other columns."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import streamlit as st

from dashboard import words
from dashboard.mapping_rules import key_of
from pipelines.mapping.declared import Mapping, RowCondition, TableMap, folded_text
from pipelines.mapping.editing import filled_condition, with_condition, with_rows
from pipelines.mapping.samples import Sample
from pipelines.mapping.spellings import written_spellings

_EVERY_ROW = "– every row –"
_LEAVE_OUT, _KEEP_ONLY = "leave out these rows", "keep only these rows"


def edited(draft: Any, at: tuple[int, int], table: TableMap, sample: Sample | None) -> Mapping | None:
    """Draw them; the mapping where they were changed. Of a file that is not at hand they are only told."""
    first = filled_condition(table)
    others = [one for n, one in enumerate(table.rows) if n != first]
    if sample is None:
        if table.rows or table.is_distinct:
            st.caption(words.plain(_in_words(list(table.rows), table.is_distinct)))
        return None
    changed = _filled(draft, at, table, sample)
    if changed is not None:
        return changed
    if others:
        st.caption(words.plain(_in_words(others, False)))
    with st.expander(f"{table.table_name}: leave out rows, such as those of tests", key=f"{key_of(draft, at)}_rows_by"):
        for n, one in enumerate(table.rows):
            changed = None if n == first else _condition(draft, at, table, n, one, sample)
            if changed is not None:
                return changed
        return _another(draft, at, table, sample)


def _filled(draft: Any, at: tuple[int, int], table: TableMap, sample: Sample) -> Mapping | None:
    first = filled_condition(table)
    now = _EVERY_ROW if first is None else table.rows[first].column
    options = [_EVERY_ROW, *sample.columns]
    options = options if now in options else [now, *options]
    key = key_of(draft, at)
    picked = st.selectbox(
        "Only rows where this is filled", options, index=options.index(now), key=f"{key}_rows", width=420
    )
    is_distinct = st.checkbox("Equal rows count once", table.is_distinct, key=f"{key}_distinct")
    if picked == now and is_distinct == table.is_distinct:
        return None
    return with_rows(draft.mapping, at, None if picked == _EVERY_ROW else picked, is_distinct)


def _condition(
    draft: Any, at: tuple[int, int], table: TableMap, n: int, now: RowCondition, sample: Sample
) -> Mapping | None:
    """A condition that stands: its spellings, which can be changed; with none left it is taken away."""
    # Where one goes, the next must not take over what was chosen for it.
    key = f"{key_of(draft, at)}_rows_by_{len(table.rows)}_{n}"
    told = now
    if now.is_not_in:
        label = f"Leave out rows where {now.column} says"
        told = replace(told, is_not_in=_spellings(label, now.column, now.is_not_in, sample, f"{key}_out"))
    if now.is_in:
        label = f"Keep only rows where {now.column} says"
        told = replace(told, is_in=_spellings(label, now.column, now.is_in, sample, f"{key}_in"))
    if now.is_filled:
        is_kept = st.checkbox(f"Only rows where {now.column} is filled", True, key=f"{key}_filled")
        told = replace(told, is_filled=is_kept)
    if told == now:
        return None
    is_empty = told == RowCondition(now.column)
    return with_condition(draft.mapping, at, n, None if is_empty else told)


def _another(draft: Any, at: tuple[int, int], table: TableMap, sample: Sample) -> Mapping | None:
    """One more condition: its column, then what is done with the rows where it says one of some spellings."""
    key = f"{key_of(draft, at)}_rows_by_{len(table.rows)}"
    column = st.selectbox(
        "Choose rows by what stands in", sample.columns, index=None, placeholder="choose a column", key=f"{key}_of", width=420
    )  # fmt: skip
    if column is None:
        return None
    with st.form(f"{key}_{column}"):
        how = st.selectbox("What is done", (_LEAVE_OUT, _KEEP_ONLY), key=f"{key}_{column}_how", width=420)
        spellings = _spellings(f"Where {column} says", column, (), sample, f"{key}_{column}_says")
        is_sent = st.form_submit_button(f"Use for the rows of {table.table_name}")
    if not is_sent:
        return None
    if not spellings:
        st.error("Choose or type at least one spelling.")
        return None
    is_kept = how == _KEEP_ONLY
    condition = RowCondition(column, spellings if is_kept else (), () if is_kept else spellings)
    return with_condition(draft.mapping, at, len(table.rows), condition)


def _spellings(label: str, column: str, now: tuple[str, ...], sample: Sample, key: str) -> tuple[str, ...]:
    """Draw a choice among the spellings of a column in the first rows; others can be typed."""
    place = next((i for i, one in enumerate(sample.columns) if folded_text(one) == folded_text(column)), None)
    met = [] if place is None else written_spellings(sample.cells(place))
    options = [*now, *(one for one in met if folded_text(one) not in map(folded_text, now))]
    return tuple(
        st.multiselect(label, options, list(now), placeholder="choose or type", accept_new_options=True, key=key)
    )


def _in_words(conditions: list[RowCondition], is_distinct: bool) -> str:
    said = []
    for one in conditions:
        if one.is_filled:
            said.append(f"rows with {one.column} filled")
        if one.is_in:
            said.append(f"rows where {one.column} says {' or '.join(one.is_in)}")
        if one.is_not_in:
            said.append(f"no rows where {one.column} says {' or '.join(one.is_not_in)}")
    if is_distinct:
        said.append("equal rows count once")
    joined = "; ".join(said)
    return f"{joined[:1].upper()}{joined[1:]}."
