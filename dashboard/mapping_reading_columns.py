"""A wide sheet with a column for each reading, such as "Draft start" and "Draft run": one column at a time becomes readings."""

from __future__ import annotations

from typing import Any

import streamlit as st

from dashboard.mapping_rules import NOT_FILLED
from pipelines.contract.tables import TABLE_BY_NAME
from pipelines.contract.units import PASCAL_PER_UNIT
from pipelines.mapping.declared import ColumnRule, Mapping
from pipelines.mapping.editing import with_reading_column
from pipelines.mapping.samples import Sample
from pipelines.mapping.spellings import choices

_FIELDS = {"condition": "Operating condition", "contacts": "Switch contacts", "taken": "Before or after the repair"}


def edited(draft: Any, n: int, sample: Sample) -> Mapping | None:
    """Draw the form of source number n, shut at first; the mapping where it was sent."""
    entries = TABLE_BY_NAME["readings"].by_name
    tables = draft.mapping.sources[n].tables
    visit = next((dict(table.columns)["visit_id"] for table in tables if table.table_name == "visits"), None)
    # Every column that was added makes a new, empty form.
    key = f"map_{draft.round}_{n}_reading_{len(tables)}"
    with st.expander(f"{sample.shown}: a column for each reading", key=f"map_{draft.round}_{n}_reading"), st.form(key):
        column = _choice("Column with the reading", sample.columns, f"{key}_column")
        quantity = _choice("What its gauge read", choices(entries["quantity"]), f"{key}_quantity")
        said = {
            field: st.selectbox(label, [NOT_FILLED, *choices(entries[field])], key=f"{key}_{field}", width=420)
            for field, label in _FIELDS.items()
        }
        said["unit"] = st.selectbox(
            "Unit of every one", [NOT_FILLED, *PASCAL_PER_UNIT, "V", "[ppm]", "Cel", "[degF]"], key=f"{key}_unit", width=420,
            help="Left out where the cells say it, or where the unit of pressures without one holds.",
        )  # fmt: skip
        if visit is None:
            named = _choice("Column that names the visit", sample.columns, f"{key}_visit")
            visit = None if named is None else ColumnRule(columns=(named,))
        is_sent = st.form_submit_button("Make readings of this column")
    if not is_sent:
        return None
    if column is None or quantity is None or visit is None:
        st.error("Choose the column, what was read, and what names the visit.")
        return None
    told = {field: value for field, value in said.items() if value != NOT_FILLED}
    return with_reading_column(draft.mapping, n, column, visit, {"quantity": quantity, **told})


def _choice(label: str, options: list[str], key: str) -> str | None:
    return st.selectbox(label, options, index=None, placeholder="choose", key=key, width=420)
