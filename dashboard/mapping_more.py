"""What else can be said of one column: what fills blank cells, what means blank, the part of a cell, what stands before it."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import streamlit as st

from dashboard import mapping_rules, words
from pipelines.contract.fields import Field
from pipelines.mapping.declared import ColumnRule, Mapping, MappingError, TableMap, folded_text
from pipelines.mapping.editing import with_rule
from pipelines.mapping.mapping_values import pattern_of
from pipelines.mapping.parts_taken import parts_taken
from pipelines.mapping.samples import Sample
from pipelines.mapping.spellings import choices, written_spellings

_STAYS_BLANK = "– stays blank –"
_WIDTH = 420


def edited(draft: Any, at: tuple[int, int], table: TableMap, sample: Sample) -> Mapping | None:
    """Draw the choice of a column and what is said of it, shut at first; the mapping where that was changed."""
    rules = {name: rule for name, rule in table.columns if rule.columns or rule.is_row_number}
    key = mapping_rules.key_of(draft, at)
    with st.expander(
        f"{table.table_name}: more about a column (blank cells, part of a cell, what stands before it)",
        key=f"{key}_more",
    ):
        name = st.selectbox(
            "Column to say more about",
            list(rules),
            index=None,
            placeholder="choose",
            key=f"{key}_more_of",
            width=_WIDTH,
        )
        if name is None:
            return None
        changed = _said(draft, at, table, table.table.by_name[name], rules[name], sample)
        return None if changed == rules[name] else with_rule(draft.mapping, at, name, changed)


def _said(
    draft: Any, at: tuple[int, int], table: TableMap, entry: Field, rule: ColumnRule, sample: Sample
) -> ColumnRule:
    """Draw what can be said of one column; its rule as it is then."""
    key = f"{mapping_rules.key_of(draft, at)}_more_{entry.name}"
    title = f"{table.table_name}.{entry.name}"
    told = rule
    if rule.columns:
        told = replace(
            told,
            blank=_blank(f"{title}: cells that mean nothing entered", rule, sample, f"{key}_blank"),
            default=_default(f"{title}: what stands for a blank cell", entry, rule, f"{key}_default"),
            pattern=_pattern(title, rule, f"{key}_pattern"),
        )
    told = replace(told, prefix=st.text_input(
        f"{title}: put before every filled cell", rule.prefix, key=f"{key}_prefix", width=_WIDTH,
        help="A blank between it and the cell counts.",
    ))  # fmt: skip
    if told.pattern is not None and told == rule:
        _show_parts(draft.mapping, entry, rule, sample)
    return told


def _blank(label: str, rule: ColumnRule, sample: Sample, key: str) -> tuple[str, ...]:
    """A choice among the cells met in the first rows, such as 0 where nobody measured; others can be typed."""
    read = [i for i, one in enumerate(sample.columns) if folded_text(one) in map(folded_text, rule.columns)]
    met = written_spellings(
        [str(row[i]) for i in read for row in sample.rows if row[i] is not None and str(row[i]).strip()]
    )
    options = [*rule.blank, *(one for one in met if folded_text(one) not in map(folded_text, rule.blank))]
    return tuple(
        st.multiselect(label, options, list(rule.blank), placeholder="choose or type", accept_new_options=True, key=key,
                       help="Beside the words that mean nothing entered in the whole export.")
    )  # fmt: skip


def _default(label: str, entry: Field, rule: ColumnRule, key: str) -> str | None:
    codes = choices(entry)
    if not codes:
        return st.text_input(label, rule.default or "", key=key, width=_WIDTH).strip() or None
    now = rule.default or _STAYS_BLANK
    options = [_STAYS_BLANK, *codes, *([now] if now not in (_STAYS_BLANK, *codes) else [])]
    picked = st.selectbox(label, options, index=options.index(now), key=key, width=_WIDTH)
    return None if picked == _STAYS_BLANK else picked


def _pattern(title: str, rule: ColumnRule, key: str) -> str | None:
    """The regular expression as it is written; as it was where none can be read, with the reason told."""
    if rule.split is not None:
        st.caption("Its cells are split, and a piece of them is taken. Take the split away to take another part.")
        return rule.pattern
    given = st.text_input(
        f"{title}: part taken of each cell (blank: the whole cell)", rule.pattern or "", key=key, width=_WIDTH,
        placeholder=r"WO-(\d+)",
        help=r"A regular expression with one pair of brackets around the part: `WO-(\d+)` takes 123 of WO-123 / Smith.",
    )  # fmt: skip
    try:
        return pattern_of(given or None, title)
    except MappingError as error:
        st.error(words.plain(rf"{error}. Write it like WO-(\d+). What stood there before still holds."))
        return rule.pattern


def _show_parts(mapping: Mapping, entry: Field, rule: ColumnRule, sample: Sample) -> None:
    """The first cells, each with the part that is taken of it."""
    found = parts_taken(mapping, entry, rule, sample, mapping_rules.CELLS_SHOWN)
    shown = (f"“{cell}” gives “{part}”" if part is not None else f"“{cell}” gives nothing" for cell, part in found)
    st.caption(
        words.plain("Of the first cells: " + "; ".join(shown) if found else "No cell of the first rows is filled.")
    )
