"""A table that a person wants made of a file: each required column is asked for, and nothing is filled in silently."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import streamlit as st

from dashboard import mapping_rules, words
from pipelines.contract.fields import Field
from pipelines.contract.tables import TABLES
from pipelines.mapping.declared import ColumnRule, TableMap
from pipelines.mapping.proposed_tables import PLAIN_VALUES
from pipelines.mapping.proposing import table_by_hand
from pipelines.mapping.samples import Sample
from pipelines.mapping.spellings import choices

_NO_TABLE = "– no other –"
_MADE = [table.name for table in TABLES if not table.is_entered_here]
_ASK = "choose"


def asked(draft: Any, label: str, key: str, sample: Sample) -> TableMap | None:
    """Draw the choice of a table and what its required columns are filled with; the table once all of it is told."""
    picked = st.selectbox(label, [_NO_TABLE, *_MADE], key=key, width=420)
    if picked == _NO_TABLE:
        return None
    begun = table_by_hand(sample, picked, draft.mapping)
    rules: dict[str, ColumnRule | None] = dict(begun.columns)
    with st.container(border=True):
        st.markdown(f"**{words.plain(picked)}**: say where each required column comes from.")
        for name in begun.table.required():
            rules |= _asked(key, begun.table.by_name[name], begun, sample, is_needed=True)
        for group in begun.table.either_of:
            st.caption(f"At least one of {', '.join(group)}:")
            for name in group:
                rules |= _asked(key, begun.table.by_name[name], begun, sample, is_needed=False)
        for name in _others_left_out(key, begun):
            rules.pop(name, None)
        is_told = all(rules.get(name) for name in begun.table.required()) and all(
            any(rules.get(name) for name in group) for group in begun.table.either_of
        )
        is_wanted = st.button("Make this table", key=f"{key}_make", disabled=not is_told)
    if not is_wanted:
        return None
    return replace(begun, columns=_counted(rules, list(begun.table.by_name)))


def _others_left_out(key: str, begun: TableMap) -> set[str]:
    """Draw the columns that seem to be there too; those a person takes away."""
    needed = {*begun.table.required(), *(name for group in begun.table.either_of for name in group)}
    seen = {name: rule for name, rule in begun.columns if name not in needed}
    if not seen:
        return set()
    kept = st.multiselect(
        "Seems to be there too; take away what is wrong", list(seen), list(seen), key=f"{key}_{begun.table_name}_others",
        format_func=lambda name: f"{name} from {mapping_rules.told(seen[name])}",
    )  # fmt: skip
    return set(seen) - set(kept)


def _asked(key: str, entry: Field, begun: TableMap, sample: Sample, is_needed: bool) -> dict[str, ColumnRule | None]:
    """Draw one column; the rule it was given, None for none."""
    options: dict[str, ColumnRule | None] = {**_options(entry, begun, sample)}
    if not is_needed:
        options = {mapping_rules.NOT_FILLED: None, **options}
    proposed = dict(begun.columns).get(entry.name)
    at = next((n for n, rule in enumerate(options.values()) if rule == proposed), None)
    picked = st.selectbox(
        picked_title(begun.table_name, entry),
        list(options),
        index=None if is_needed and proposed is None else at,
        placeholder=_ASK,
        key=f"{key}_{begun.table_name}_{entry.name}",
        width=560,
    )
    return {entry.name: None if picked is None else options[picked]}


def picked_title(table_name: str, entry: Field) -> str:
    """The label of the question for one column of a table to be made."""
    return f"{table_name}.{entry.name} comes from: {entry.about}"


def _options(entry: Field, begun: TableMap, sample: Sample) -> dict[str, ColumnRule]:
    """What a column can be filled with -> the rule. A proposed rule keeps its translations."""
    proposed = dict(begun.columns).get(entry.name)
    found = {column: ColumnRule(columns=(column,)) for column in sample.columns}
    if proposed is not None and len(proposed.columns) == 1:
        found[proposed.columns[0]] = proposed
    elif proposed is not None:
        found = {f"– {mapping_rules.told(proposed)} –": proposed, **found}
    usual = PLAIN_VALUES.get((begun.table_name, entry.name)) or mapping_rules.FIRST_VALUE.get(entry.kind)
    values = choices(entry) or ([usual] if usual else [])
    for value in values:
        found.setdefault(f"– “{value}” in every row –", ColumnRule(value=value))
    if entry.name in mapping_rules.COUNTS and "visit_id" in begun.table.by_name:
        # Within which column is known once the visit is told.
        found.setdefault(mapping_rules.COUNTED, ColumnRule(number_within=("",)))
    if entry.name in begun.table.key or entry.name == "visit_id":
        found.setdefault(
            mapping_rules.ROW_NUMBER, ColumnRule(is_row_number=True, prefix=mapping_rules.prefix_of(entry))
        )
    return found


def _counted(rules: dict[str, ColumnRule | None], names: list[str]) -> tuple[tuple[str, ColumnRule], ...]:
    """The rules told, in the order of the names; what is counted within each visit is counted in the columns that name it."""
    visit = rules.get("visit_id")
    within = visit.columns if visit is not None else ()
    numbered = ColumnRule(number_within=within) if within else ColumnRule(is_row_number=True)
    told = ((name, rules.get(name)) for name in names)
    return tuple((name, numbered if rule.number_within else rule) for name, rule in told if rule is not None)
