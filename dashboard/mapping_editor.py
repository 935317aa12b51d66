"""The lines of a mapping as a person puts them right: a source column a field, a code a spelling."""

from __future__ import annotations

from typing import Any

import streamlit as st

from dashboard import words
from pipelines.contract.fields import Field
from pipelines.mapping.declared import ColumnRule, Mapping, Source, TableMap, folded_text
from pipelines.mapping.editing import is_plain, with_code, with_column, without_table
from pipelines.mapping.samples import Sample
from pipelines.mapping.spellings import choices, is_understood, spellings_of

_NOT_FILLED = "– not filled –"
_HELD_BACK = "– not translated: held back –"
_MOST_SPELLINGS = 40


def edited(draft: Any) -> Mapping:
    """Draw every table of the draft; the mapping with the change that was made, if any."""
    mapping: Mapping = draft.mapping
    for n, source in enumerate(mapping.sources):
        sample = _sample_of(source, draft.samples)
        for m, table in enumerate(source.tables):
            title = f"{sample.shown if sample else source.name or source.file} → {table.table_name}"
            with st.container(border=True):
                st.markdown(f"**{words.plain(title)}**")
                if table.rows or table.is_distinct:
                    st.caption(words.plain(_which_rows(table)))
                changed = _table(draft, (n, m), table, sample)
            if changed is not None:
                return changed
    return mapping


def _sample_of(source: Source, samples: tuple[Sample, ...]) -> Sample | None:
    for sample in samples:
        if source.fits_file(sample.file) and (sample.sheet is None or source.fits_sheet(sample.sheet)):
            return sample
    return None


def _table(draft: Any, at: tuple[int, int], table: TableMap, sample: Sample | None) -> Mapping | None:
    rules = dict(table.columns)
    others = [name for name in table.table.by_name if name not in rules]
    for name, rule in table.columns:
        changed = _field(draft, at, table.table.by_name[name], rule, sample)
        if changed is not None:
            return changed
    if sample is not None and others:
        added = st.selectbox(
            "Fill another column of the contract", [_NOT_FILLED, *others], key=f"{_key(draft, at)}_more", width=420
        )
        if added != _NOT_FILLED:
            return with_column(draft.mapping, at, added, sample.columns[0])
    if st.button("Leave this table out", key=f"{_key(draft, at)}_out"):
        return without_table(draft.mapping, at)
    return None


def _field(draft: Any, at: tuple[int, int], entry: Field, rule: ColumnRule, sample: Sample | None) -> Mapping | None:
    table_name = draft.mapping.sources[at[0]].tables[at[1]].table_name
    remark = draft.remarks.get((at[0], table_name, entry.name), "")
    title = f"{entry.name}{' (required)' if entry.is_required else ''}: {entry.about}"
    if sample is None:
        st.markdown(words.plain(f"{title} = {_told(rule)}"))
    columns = list(sample.columns) if sample is not None else []
    if sample is not None:
        current = rule.columns[0] if is_plain(rule) else _NOT_FILLED
        at_now = next((i for i, column in enumerate(columns) if folded_text(column) == folded_text(current)), None)
        keeps = [_NOT_FILLED] if is_plain(rule) else [f"as it stands: {_told(rule)}"]
        options = [*keeps, *columns]
        if entry.is_required and is_plain(rule) and at_now is not None:
            options = columns
        picked = st.selectbox(
            title,
            options,
            index=options.index(columns[at_now]) if at_now is not None else 0,
            key=f"{_key(draft, at)}_{entry.name}_{_told(rule)}",
            width=560,
        )
        if remark:
            # What is left to translate is asked for below, as it stands now.
            st.caption(words.plain(remark.partition("; still")[0]))
        if at_now is None and picked in columns:
            return with_column(draft.mapping, at, entry.name, picked)
        if at_now is not None and picked != columns[at_now]:
            return with_column(draft.mapping, at, entry.name, None if picked == _NOT_FILLED else picked)
    if choices(entry) and is_plain(rule) and sample is not None and rule.otherwise is None:
        return _codes(draft, at, entry, rule, sample)
    return None


def _codes(draft: Any, at: tuple[int, int], entry: Field, rule: ColumnRule, sample: Sample) -> Mapping | None:
    """A choice for each spelling met in the first rows that is no code yet."""
    codes = choices(entry)
    place = next((i for i, one in enumerate(sample.columns) if folded_text(one) == folded_text(rule.columns[0])), None)
    if place is None:
        return None
    told = dict(rule.codes)
    spellings = [one for one in spellings_of(sample.cells(place)) if not is_understood(entry, one)]
    if len(spellings) > _MOST_SPELLINGS:
        st.caption(
            f"{words.count(len(spellings))} spellings or more; the first {_MOST_SPELLINGS} are shown, the others by text."
        )
    for spelling in spellings[:_MOST_SPELLINGS]:
        options = [_HELD_BACK, *codes]
        now = told.get(spelling, _HELD_BACK)
        picked = st.selectbox(
            f"{entry.name}: “{spelling}” means",
            options,
            index=options.index(now),
            key=f"{_key(draft, at)}_{entry.name}_{spelling}",
            width=420,
        )
        if picked != now:
            return with_code(draft.mapping, at, entry.name, spelling, None if picked == _HELD_BACK else picked)
    return None


def _key(draft: Any, at: tuple[int, int]) -> str:
    return f"map_{draft.round}_{at[0]}_{at[1]}"


def _told(rule: ColumnRule) -> str:
    """A rule in words, as far as it takes no single column."""
    if rule.value is not None:
        return f"“{rule.value}” in every row"
    if rule.is_row_number:
        return f"“{rule.prefix}” and the number of the row" if rule.prefix else "the number of the row"
    if rule.number_within:
        return f"counted within {', '.join(rule.number_within)}"
    return " + ".join(rule.columns)


def _which_rows(table: TableMap) -> str:
    said = []
    for one in table.rows:
        if one.is_filled:
            said.append(f"rows with {one.column} filled")
        if one.is_in:
            said.append(f"rows with {one.column} one of {', '.join(one.is_in)}")
        if one.is_not_in:
            said.append(f"no rows with {one.column} one of {', '.join(one.is_not_in)}")
    if table.is_distinct:
        said.append("equal rows count once")
    return "; ".join(said)[:1].upper() + "; ".join(said)[1:] + "."
