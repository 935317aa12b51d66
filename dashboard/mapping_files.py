"""Which files a mapping reads, by a pattern of their names, so that it holds for the next month's export too."""

from __future__ import annotations

from typing import Any

import streamlit as st

from dashboard import words
from pipelines.mapping.declared import Mapping, MappingError
from pipelines.mapping.editing import with_file
from pipelines.mapping.samples import Sample

_HELP = (
    "An asterisk stands for anything: with `jobs_*.csv` the mapping reads `jobs_2025_01.csv`, and next month "
    "`jobs_2025_02.csv`."
)


def edited(draft: Any, n: int, sample: Sample | None) -> Mapping | None:
    """Draw the pattern of source number n; the mapping where another that can be was written. sample: what it reads now."""
    mapping: Mapping = draft.mapping
    now = mapping.sources[n].file
    at_hand = list(dict.fromkeys(one.file for one in draft.samples))
    if sample is None and all(mapping.sources_of(file) for file in at_hand):
        # What is at hand belongs to other sources; nothing tells whether a change would be right.
        return None
    box, beside = st.columns((3, 2), gap="medium", vertical_alignment="bottom")
    pattern = box.text_input("Files it reads", now, key=f"map_{draft.round}_{n}_files", help=_HELP).strip()
    beside.caption(words.plain(f"at hand: {sample.file}" if sample else f"not at hand; given: {', '.join(at_hand)}"))
    if pattern == now:
        return None
    try:
        return with_file(mapping, n, pattern, at_hand)
    except MappingError as error:
        st.error(words.plain(error))
        return None
