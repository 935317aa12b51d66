"""How one column of the contract is filled, as a person chooses it: a source column, one value, a count, its codes."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import streamlit as st

from dashboard import words
from pipelines.contract.fields import Field
from pipelines.mapping.declared import ColumnRule, Mapping, TableMap, folded_text
from pipelines.mapping.editing import is_plain, with_code, with_column, with_otherwise, with_rule
from pipelines.mapping.samples import Sample
from pipelines.mapping.spellings import choices, is_understood, spellings_of

NOT_FILLED = "– not filled –"
SAME = "– the same in every row –"
COUNTED = "– counted within each visit –"
ROW_NUMBER = "– the file and the number of the row –"
_HELD_BACK = "– not translated: held back –"
_MOST_SPELLINGS = 40
# Of the cells beside a choice: how many, from how many rows, how long; and spellings side by side.
CELLS_SHOWN, _ROWS_SHOWN_OF, _CELL_LENGTH, _SIDE_BY_SIDE = 3, 500, 28, 3
# Kinds of which every row may have the same, and what stands there until a person writes it.
FIRST_VALUE = {"id": "not recorded", "text": "", "flag": "yes", "whole": "1", "unit": "Pa", "currency": "USD"}
COUNTS = ("line_no", "reading_no")


def field(draft: Any, at: tuple[int, int], entry: Field, rule: ColumnRule, sample: Sample | None) -> Mapping | None:
    """Draw one column of the contract; the mapping where it was changed."""
    table = draft.mapping.sources[at[0]].tables[at[1]]
    title = f"{entry.name}{' (required)' if entry.is_required else ''}: {entry.about}"
    if sample is None:
        st.markdown(words.plain(f"{title} = {told(rule)}"))
        return None
    now = _now(rule, sample)
    options = [*([] if entry.is_required else [NOT_FILLED]), *_special(entry, table), *sample.columns]
    if now not in options:
        options = [now, *options]
    choice, beside = st.columns((3, 2), gap="medium", vertical_alignment="bottom")
    with choice:
        picked = st.selectbox(
            title, options, index=options.index(now), key=f"{key_of(draft, at)}_{entry.name}_{told(rule)}"
        )
    # What is left to translate is asked for below, as it stands now.
    remark = draft.remarks.get((at[0], table.table_name, entry.name), "").partition("; still")[0]
    said = "; ".join(part for part in (remark, stands_there(rule, sample), also_said(rule)) if part)
    if said:
        beside.caption(words.plain(said))
    if picked != now:
        return _chosen(draft.mapping, at, entry, table, picked)
    if rule.value is not None:
        return _value(draft, at, entry, rule)
    if choices(entry) and is_plain(rule):
        return _codes(draft, at, entry, rule, sample)
    return None


def stands_there(rule: ColumnRule, sample: Sample) -> str:
    """The first different cells of the columns a rule reads, so that a person sees what they choose; blank for none."""
    places = [i for i, one in enumerate(sample.columns) if folded_text(one) in map(folded_text, rule.columns)]
    rows = dict.fromkeys(
        " + ".join(str(row[i]).strip() for i in places if row[i] is not None and str(row[i]).strip())
        for row in sample.rows[:_ROWS_SHOWN_OF]
    )
    cells = [_shortened(cell) for cell in rows if cell][:CELLS_SHOWN]
    if not places:
        return ""
    if cells:
        return f"such as {' · '.join(cells)}"
    return f"blank in the first {words.plural(len(sample.rows[:_ROWS_SHOWN_OF]), 'row')}"


def also_said(rule: ColumnRule) -> str:
    """What a rule says of its cells that no box beside its column shows; blank for nothing."""
    if not rule.columns:
        return ""
    said = [
        f"{' and '.join(f'“{word}”' for word in rule.blank)} means blank" if rule.blank else "",
        f"part taken: {rule.pattern}" if rule.pattern is not None and rule.split is None else "",
        f"“{rule.prefix}” put before" if rule.prefix else "",
        f"“{rule.default}” where blank" if rule.default is not None else "",
    ]
    return "; ".join(one for one in said if one)


def _shortened(cell: str) -> str:
    return cell if len(cell) <= _CELL_LENGTH else f"{cell[: _CELL_LENGTH - 1]}…"


def prefix_of(entry: Field) -> str:
    """What stands before the number of a row: a word in an identifier, nothing in a number."""
    return "row " if entry.kind == "id" else ""


def key_of(draft: Any, at: tuple[int, int]) -> str:
    """What the keys of a table's widgets begin with."""
    return f"map_{draft.round}_{at[0]}_{at[1]}"


def told(rule: ColumnRule) -> str:
    """A rule in words, as far as it takes no single column."""
    if rule.value is not None:
        return f"“{rule.value}” in every row"
    if rule.is_row_number:
        return f"“{rule.prefix}”, the file and the number of the row" if rule.prefix else "the number of the row"
    if rule.number_within:
        return f"counted within {', '.join(rule.number_within)}"
    return " + ".join(rule.columns)


def _now(rule: ColumnRule, sample: Sample) -> str:
    """The choice a rule stands for; a rule in words where there is none, or its column is not in the file."""
    if is_plain(rule):
        here = next((one for one in sample.columns if folded_text(one) == folded_text(rule.columns[0])), None)
        return here or f"not in the file: {rule.columns[0]}"
    return SAME if rule.value is not None else f"as it stands: {told(rule)}"


def _first_value(entry: Field) -> str | None:
    """What stands in every row until a person writes it; None where the same in every row would mean nothing."""
    if choices(entry):
        return choices(entry)[0]
    # A file of parts without a count tells one of each; no measured value is the same in every row.
    return "1" if entry.name == "quantity" else FIRST_VALUE.get(entry.kind)


def _special(entry: Field, table: TableMap) -> list[str]:
    found = [SAME] if _first_value(entry) is not None else []
    visit = dict(table.columns).get("visit_id")
    if entry.name in COUNTS and visit is not None and visit.columns:
        found.append(COUNTED)
    if entry.kind == "id" and entry.name in table.table.key or entry.name == "visit_id":
        found.append(ROW_NUMBER)
    return found


def _chosen(mapping: Mapping, at: tuple[int, int], entry: Field, table: TableMap, picked: str) -> Mapping:
    if picked == NOT_FILLED:
        return with_column(mapping, at, entry.name, None)
    if picked == SAME:
        return with_rule(mapping, at, entry.name, ColumnRule(value=_first_value(entry)))
    if picked == COUNTED:
        return with_rule(mapping, at, entry.name, ColumnRule(number_within=dict(table.columns)["visit_id"].columns))
    if picked == ROW_NUMBER:
        return with_rule(mapping, at, entry.name, ColumnRule(is_row_number=True, prefix="row "))
    return with_column(mapping, at, entry.name, picked)


def _value(draft: Any, at: tuple[int, int], entry: Field, rule: ColumnRule) -> Mapping | None:
    """The one value of every row."""
    label, key = f"{entry.name} in every row", f"{key_of(draft, at)}_{entry.name}_value"
    codes = choices(entry)
    if codes:
        options = codes if rule.value in codes else [str(rule.value), *codes]
        given = st.selectbox(label, options, index=options.index(str(rule.value)), key=key, width=420)
    else:
        given = st.text_input(label, rule.value or "", key=key, width=420).strip()
    return with_rule(draft.mapping, at, entry.name, replace(rule, value=given)) if given != rule.value else None


def _codes(draft: Any, at: tuple[int, int], entry: Field, rule: ColumnRule, sample: Sample) -> Mapping | None:
    """A choice for each spelling met in the first rows that is no code yet, and one for all others."""
    codes = choices(entry)
    place = next((i for i, one in enumerate(sample.columns) if folded_text(one) == folded_text(rule.columns[0])), None)
    if place is None:
        return None
    known = dict(rule.codes)
    spellings = [one for one in spellings_of(sample.cells(place)) if not is_understood(entry, one)]
    if len(spellings) > _MOST_SPELLINGS:
        st.caption(
            f"{words.count(len(spellings))} spellings or more; the first {_MOST_SPELLINGS} are shown, the others by text."
        )
    options = [_HELD_BACK, *codes]
    columns: Any = ()
    for number, spelling in enumerate(spellings[:_MOST_SPELLINGS]):
        now = known.get(spelling, _HELD_BACK)
        if number % _SIDE_BY_SIDE == 0:
            columns = st.columns(_SIDE_BY_SIDE, gap="small", vertical_alignment="bottom")
        picked = columns[number % _SIDE_BY_SIDE].selectbox(
            f"{entry.name}: “{spelling}” means",
            options,
            index=options.index(now),
            key=f"{key_of(draft, at)}_{entry.name}_{spelling}",
        )
        if picked != now:
            return with_code(draft.mapping, at, entry.name, spelling, None if picked == _HELD_BACK else picked)
    if not spellings and rule.otherwise is None:
        return None
    now = rule.otherwise or _HELD_BACK
    others = st.selectbox(
        f"{entry.name}: every other spelling means",
        options,
        index=options.index(now),
        key=f"{key_of(draft, at)}_{entry.name}_otherwise",
        width=420,
        help="Also of what stands further down in the file. The contract's own codes stay as they are.",
    )
    if others != now:
        return with_otherwise(draft.mapping, at, entry.name, None if others == _HELD_BACK else others)
    return None
