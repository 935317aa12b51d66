"""The lines of a mapping as a person puts them right: tables, the rows they are made of, and their columns."""

from __future__ import annotations

from typing import Any

import streamlit as st

from dashboard import (
    mapping_files,
    mapping_more,
    mapping_new_table,
    mapping_reading_columns,
    mapping_rows,
    mapping_rules,
    mapping_shapes,
    words,
)
from pipelines.mapping.declared import Mapping, Source, TableMap
from pipelines.mapping.editing import with_column, with_source, with_table, without_table
from pipelines.mapping.file_patterns import pattern_beside
from pipelines.mapping.names import likeness
from pipelines.mapping.samples import Sample


def edited(draft: Any) -> Mapping:
    """Draw every table of the draft; the mapping with the change that was made, if any."""
    mapping: Mapping = draft.mapping
    for n, source in enumerate(mapping.sources):
        sample = _sample_of(source, draft.samples)
        shown = sample.shown if sample else source.name or source.file
        if source.query is None and source.file not in {one.file for one in mapping.sources[:n] if one.query is None}:
            changed = mapping_files.edited(draft, n, sample)
            if changed is not None:
                return changed
        for m, table in enumerate(source.tables):
            with st.container(border=True):
                st.markdown(f"**{words.plain(f'{shown} → {table.table_name}')}**")
                changed = _table(draft, (n, m), table, sample)
            if changed is not None:
                return changed
        if sample is not None:
            changed = mapping_reading_columns.edited(draft, n, sample)
            if changed is not None:
                return changed
            key = f"map_{draft.round}_{n}_another_{len(source.tables)}"
            added = mapping_new_table.asked(draft, f"Make another table of {shown}", key, sample)
            if added is not None:
                return with_table(mapping, n, added)
    for sample in draft.samples:
        if not any(_sample_of(source, (sample,)) for source in mapping.sources):
            key = f"map_{draft.round}_{sample.shown}_first"
            added = mapping_new_table.asked(draft, f"Make a table of {sample.shown}", key, sample)
            if added is not None:
                file = pattern_beside(sample.file, [other.file for other in draft.samples])
                return with_source(mapping, file, sample.sheet, sample.columns, added)
    return mapping


def _sample_of(source: Source, samples: tuple[Sample, ...]) -> Sample | None:
    for sample in samples:
        if source.fits_file(sample.file) and (sample.sheet is None or source.fits_sheet(sample.sheet)):
            return sample
    return None


def _table(draft: Any, at: tuple[int, int], table: TableMap, sample: Sample | None) -> Mapping | None:
    changed = mapping_rows.edited(draft, at, table, sample)
    if changed is not None:
        return changed
    rules = dict(table.columns)
    others = [name for name in table.table.by_name if name not in rules]
    for name, rule in table.columns:
        changed = mapping_rules.field(draft, at, table.table.by_name[name], rule, sample)
        if changed is not None:
            return changed
    if sample is not None and others:
        added = st.selectbox(
            "Fill another column of the contract",
            [mapping_rules.NOT_FILLED, *others],
            key=f"{mapping_rules.key_of(draft, at)}_more_{len(rules)}",
            width=420,
        )
        if added != mapping_rules.NOT_FILLED:
            return with_column(draft.mapping, at, added, _most_like(table, added, sample))
    if sample is not None:
        changed = mapping_shapes.edited(draft, at, table, sample) or mapping_more.edited(draft, at, table, sample)
        if changed is not None:
            return changed
    if st.button("Leave this table out", key=f"{mapping_rules.key_of(draft, at)}_out"):
        return without_table(draft.mapping, at)
    return None


def _most_like(table: TableMap, field: str, sample: Sample) -> str:
    """The source column to begin with: the one named most like the field, of those not read for the table yet if they are alike."""
    read = set(table.sources())
    entry = table.table.by_name[field]
    return max(sample.columns, key=lambda column: (likeness(entry, column), column not in read))
