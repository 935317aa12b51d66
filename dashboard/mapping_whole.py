"""What holds for a whole export: time zone, decimal mark, words for blank, dates; chosen on the page."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import streamlit as st

from dashboard import mapping_shapes, store_access, words
from pipelines.mapping.declared import Mapping, MappingError
from pipelines.mapping.mapping_values import unit_of, zone_of

_MARKS = ("point, as in 0.45", "comma, as in 0,45")


def edited(draft: Any) -> Mapping:
    """Draw them; the mapping with what was changed, or as it was where that cannot be."""
    mapping: Mapping = draft.mapping
    with st.container(horizontal=True):
        mark = st.selectbox(
            "Decimal mark", _MARKS, index=int(mapping.has_decimal_comma), key=f"map_{draft.round}_mark", width=220
        )
        zone = st.text_input(
            "Time zone (blank: that of the settings)",
            mapping.time_zone or "",
            key=f"map_{draft.round}_zone",
            placeholder=store_access.settings().time_zone,
            width=260,
        ).strip()
        blank = st.text_input(
            "Words that mean: nothing entered",
            ", ".join(mapping.blank),
            key=f"map_{draft.round}_blank",
            placeholder="n/a, --",
            width=260,
        )
        unit = st.text_input(
            "Unit of pressures without one (blank: that of the settings)",
            mapping.default_pressure_unit or "",
            key=f"map_{draft.round}_unit",
            placeholder="Pa",
            width=360,
        ).strip()
    formats = mapping_shapes.dates("Dates are written like", mapping.date_formats, f"map_{draft.round}_formats")
    try:
        return replace(
            mapping,
            has_decimal_comma=mark == _MARKS[1],
            date_formats=formats,
            time_zone=zone_of(zone or None),
            default_pressure_unit=unit_of(unit or None),
            blank=tuple(one.strip() for one in blank.split(",") if one.strip()),
        )
    except MappingError as error:
        st.error(words.plain(error))
        return mapping
