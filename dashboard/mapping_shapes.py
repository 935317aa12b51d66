"""How the cells of one column are made: several source columns joined, a cell split, the form of its dates."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from typing import Any

import streamlit as st

from dashboard import mapping_rules
from pipelines.mapping.declared import EXCEL_SERIAL, ColumnRule, Mapping, TableMap, folded_text
from pipelines.mapping.editing import with_rule
from pipelines.mapping.samples import Sample
from pipelines.mapping.value_signs import FORMATS

_PIECES = {1: "first", 2: "second", 3: "third", 4: "fourth", -1: "last", -2: "last but one"}
# A day past the twelfth shows which number is the day.
_EXAMPLE = datetime(2025, 12, 31, 14, 30)
_SERIAL_START = datetime(1899, 12, 30)


def edited(draft: Any, at: tuple[int, int], table: TableMap, sample: Sample) -> Mapping | None:
    """Draw the form, shut at first; the mapping where it was sent."""
    told = dict(table.columns)
    rules = {name: told.get(name, ColumnRule()) for name in table.table.by_name}
    key = mapping_rules.key_of(draft, at)
    with st.expander(f"{table.table_name}: join or split columns, form of dates", key=f"{key}_shapes"):
        name = st.selectbox(
            "Column to shape", list(rules), index=None, placeholder="choose", key=f"{key}_shape_of", width=420
        )
        if name is None:
            return None
        return _form(
            draft,
            at,
            f"{table.table_name}.{name}",
            rules[name],
            table.table.by_name[name].kind in ("date", "timestamp"),
            sample,
        )


def _form(
    draft: Any, at: tuple[int, int], title: str, rule: ColumnRule, is_time: bool, sample: Sample
) -> Mapping | None:
    here = {folded_text(column): column for column in sample.columns}
    now = [here[folded_text(column)] for column in rule.columns if folded_text(column) in here]
    pieces = _PIECES if rule.part in _PIECES else {**_PIECES, rule.part: f"number {rule.part}"}
    # What is said already begins the key, so that the form shows it after every change.
    key = f"{mapping_rules.key_of(draft, at)}_shape_{title}_{hash(rule)}"
    with st.form(key):
        columns = st.multiselect(f"{title}: made of, in this order", sample.columns, now, key=f"{key}_columns")
        join = st.text_input(f"{title}: joined by", rule.join, key=f"{key}_join", width=260)
        split = st.text_input(
            f"{title}: split at (blank: the whole cell)", rule.split or "", key=f"{key}_split", width=260
        )
        piece = st.selectbox(
            f"{title}: piece taken, where it is split", list(pieces), list(pieces).index(rule.part), format_func=pieces.__getitem__,
            key=f"{key}_piece", width=260,
        )  # fmt: skip
        formats = dates(f"{title}: dates are written like", rule.formats, f"{key}_formats") if is_time else rule.formats
        is_sent = st.form_submit_button(f"Use for {title}")
    if not is_sent:
        return None
    if not columns:
        st.error("Choose at least one column it is made of.")
        return None
    changed = replace(
        rule,
        columns=tuple(columns),
        value=None,
        is_row_number=False,
        number_within=(),
        join=join,
        split=split or None,
        part=piece if split else 1,
        # Of a cell that is split a piece is taken, and no other part.
        pattern=None if split else rule.pattern,
        formats=formats,
    )
    return None if changed == rule else with_rule(draft.mapping, at, title.partition(".")[2], changed)


def dates(label: str, now: tuple[str, ...], key: str) -> tuple[str, ...]:
    """Draw a choice of the forms dates may have, each shown by an example; the forms chosen."""
    options = list(dict.fromkeys([*FORMATS, EXCEL_SERIAL, *now]))
    return tuple(
        st.multiselect(
            label, options, list(now), format_func=example, key=key,
            help="ISO dates, such as 2025-12-31 14:30, are always read. Where several are chosen, the first that fits counts.",
        )
    )  # fmt: skip


def example(form: str) -> str:
    """The last day of 2025, half past two in the afternoon, written in that form."""
    if form == EXCEL_SERIAL:
        return f"{(_EXAMPLE - _SERIAL_START).days} (days as a workbook counts them)"
    return _EXAMPLE.strftime(form)
