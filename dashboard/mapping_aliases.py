"""Other spellings of technicians, parts, sites and appliances: which identifier each stands for."""

from __future__ import annotations

from typing import Any

import streamlit as st

from dashboard import words
from pipelines.mapping.declared import (
    APPLIANCE_FIELDS,
    PART_FIELDS,
    SITE_FIELDS,
    TECHNICIAN_FIELDS,
    Mapping,
    MappingError,
    folded_text,
)
from pipelines.mapping.editing import ALIASES, with_alias

_FIELDS = {
    "technicians": TECHNICIAN_FIELDS, "parts": PART_FIELDS, "sites": SITE_FIELDS, "appliances": APPLIANCE_FIELDS,
}  # fmt: skip
_MOST_SHOWN = 40
_MOST_OFFERED = 500


def edited(draft: Any) -> Mapping | None:
    """Draw the lists, shut at first; the mapping where one was changed."""
    with st.expander("Other spellings of technicians, parts, sites, appliances", key="map_aliases"):
        of = st.selectbox("Spellings of", list(ALIASES), key=f"map_{draft.round}_alias_of", width=260)
        pairs = getattr(draft.mapping, ALIASES[of])
        for n, (spelling, target) in enumerate(pairs[:_MOST_SHOWN]):
            with st.container(horizontal=True, vertical_alignment="center"):
                st.markdown(words.plain(f"“{spelling}” stands for “{target}”"))
                if st.button("Take away", key=f"map_{draft.round}_alias_{of}_{n}_{spelling}"):
                    return with_alias(draft.mapping, of, spelling, None)
        if len(pairs) > _MOST_SHOWN:
            st.caption(f"The first {_MOST_SHOWN} of {words.count(len(pairs))}; the others by text.")
        return _form(draft, of, len(pairs))


def _form(draft: Any, of: str, n_known: int) -> Mapping | None:
    key = f"map_{draft.round}_alias_{of}_{n_known}"
    with st.form(key):
        spelling = st.selectbox(
            "As it stands in the export", _met(draft, of), index=None, placeholder="choose or type",
            accept_new_options=True, key=f"{key}_spelling", width=420,
        )  # fmt: skip
        target = st.text_input("Stands for", key=f"{key}_target", width=420).strip()
        is_sent = st.form_submit_button("Keep this spelling")
    if not is_sent:
        return None
    if not spelling or not target:
        st.error("Give the spelling and what it stands for.")
        return None
    try:
        return with_alias(draft.mapping, of, spelling, target)
    except MappingError as error:
        st.error(words.plain(error))
        return None


def _met(draft: Any, of: str) -> list[str]:
    """The spellings in the first rows of the columns that fill such identifiers."""
    wanted = {
        folded_text(rule.columns[0])
        for source in draft.mapping.sources
        for table in source.tables
        for field, rule in table.columns
        if field in _FIELDS[of] and len(rule.columns) == 1
    }
    cells = (
        cell.strip()
        for sample in draft.samples
        for at, column in enumerate(sample.columns)
        if folded_text(column) in wanted
        for cell in sample.cells(at)
    )
    return list(dict.fromkeys(cells))[:_MOST_OFFERED]
