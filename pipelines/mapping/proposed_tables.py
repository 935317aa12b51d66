"""The table of the contract that matches make of a file: how its columns are filled, and which rows hold one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from pipelines.contract.fields import Field, Table
from pipelines.mapping.column_signs import is_serial
from pipelines.mapping.day_and_time import joined_times
from pipelines.mapping.declared import ColumnRule, RowCondition, TableMap
from pipelines.mapping.names import bare
from pipelines.mapping.said_in_names import told_by_names
from pipelines.mapping.samples import Sample
from pipelines.mapping.spellings import is_understood, spellings_of

# Tables that record what happened; the others are registers.
_EVENTS = ("visits", "part_lines", "readings", "checks", "bench_tests")
# Columns that every row may share when the file says nothing of them.
PLAIN_VALUES = {
    ("readings", "quantity"): "draft_at_switch",
    ("part_lines", "quantity"): "1",
    ("visits", "technician_id"): "not recorded",
    ("visits", "visit_kind"): "other",
}
# Columns one of which tells that a row of a wide sheet holds one of the table: the one filled most often, else the first.
FILLED = {
    "part_lines": ("part_number", "part_class", "description", "quantity"),
    "readings": ("value", "quantity", "contacts"),
}
# Columns a table is proposed for at all: without them it would be made of guesses.
_NEEDED = {"visits": ("arrived_at",), "readings": ("value",), "gauges": ("full_scale",)}
# Yes and no in German; other words of a status are for a person to translate.
_FLAG_WORDS = {"ja": "yes", "j": "yes", "nein": "no"}
_COUNTED = {("part_lines", "line_no"): "visit_id", ("readings", "reading_no"): "visit_id"}


def table_map(table: Table, sample: Sample, found: dict[str, tuple[int, float]]) -> tuple[TableMap, list[str]]:
    """The table as far as it can be proposed, and the required columns nobody knows the source of."""
    rules: dict[str, ColumnRule] = {}
    own = 0
    for entry in table.fields:
        key = (table.name, entry.name)
        if entry.name in found:
            at = found[entry.name][0]
            rules[entry.name] = ColumnRule(columns=(sample.columns[at],), codes=_codes(entry, sample.cells(at)))
            own += entry.name not in ("visit_id", "site_id", "technician_id", *table.key)
        elif entry.is_required and key in PLAIN_VALUES:
            rules[entry.name] = ColumnRule(value=PLAIN_VALUES[key])
        elif entry.is_required and key in _COUNTED and _COUNTED[key] in found:
            rules[entry.name] = ColumnRule(number_within=(sample.columns[found[_COUNTED[key]][0]],))
    if table.name == "visits":
        rules |= joined_times(table, sample, found)
        if "site_id" not in rules and "appliance_id" in rules and not is_serial(bare(rules["appliance_id"].columns[0])):
            rules["site_id"] = ColumnRule(columns=rules["appliance_id"].columns)
        if "visit_id" not in rules:
            rules["visit_id"] = ColumnRule(is_row_number=True, prefix="row ")
    rules |= told_by_names(table, rules)
    rules = {entry.name: rules[entry.name] for entry in table.fields if entry.name in rules}
    lacking = [name for name in table.required() if name not in rules]
    lacking += [name for name in _NEEDED.get(table.name, ()) if name not in found]
    lacking += [" or ".join(group) for group in table.either_of if not any(column in rules for column in group)]
    # A table of nothing but references says nothing of its own; line items need a part.
    if table.name == "part_lines" and not {"part_number", "part_class", "description"} & set(found):
        lacking.append("part_number")
    if own == 0:
        lacking.append("a column of its own")
    made = TableMap(table.name, tuple(rules.items()), _which_rows(table, sample, found))
    return replace(made, is_distinct=_is_repeated(table, sample, found) or _is_one_row_each(made, sample)), lacking


def _which_rows(table: Table, sample: Sample, found: dict[str, tuple[int, float]]) -> tuple[RowCondition, ...]:
    """The rows that hold one of the table, by the fullest column that tells it: a line may lack its part's number."""
    telling = {field: found[field][0] for field in FILLED.get(table.name, ()) if field in found}
    n_filled = {field: len(sample.cells(at)) for field, at in telling.items()}
    if n_filled.get("quantity") == len(sample.rows):
        # Entered everywhere, as a number a form begins with, it tells nothing.
        del n_filled["quantity"]
    most = max(n_filled, key=n_filled.__getitem__, default=None)
    return () if most is None else (RowCondition(sample.columns[telling[most]], is_filled=True),)


def _is_repeated(table: Table, sample: Sample, found: dict[str, tuple[int, float]]) -> bool:
    """Whether the key stands in several rows of the sample, as a visit does on a sheet of its part lines."""
    if len(table.key) != 1 or table.key[0] not in found:
        return False
    keys = sample.cells(found[table.key[0]][0])
    return len(set(keys)) < len(keys)


def _is_one_row_each(table: TableMap, sample: Sample) -> bool:
    """Whether rows are repeated, and all rows of a visit say the same in what the table reads: they are one, told several times.

    Where a visit's rows differ, as those of its part lines do, two that are equal may be two equal lines.
    """
    within = [rule.number_within for _, rule in table.columns if rule.number_within]
    if not within:
        return False
    visit = sample.columns.index(within[0][0])
    read = [sample.columns.index(column) for column in table.sources()]
    own = read.index(visit)
    needed = [sample.columns.index(one.column) for one in table.rows]
    told = [tuple(row[at] for at in read) for row in sample.rows if row[visit] and all(row[at] for at in needed)]
    rows = set(told)
    return len(rows) < len(told) and len(rows) == len({row[own] for row in rows})


def settled(tables: list[TableMap]) -> tuple[TableMap, ...]:
    """The tables of a source without registers that say only what its visits, lines and readings say already.

    Only beside visits are there rows that hold no line or reading; in a file of their own every row is one.
    """
    if not any(table.table_name == "visits" for table in tables):
        tables = [replace(table, rows=()) for table in tables]
    said = {column for table in tables if table.table_name in _EVENTS for column in table.sources()}
    return tuple(table for table in tables if table.table_name in _EVENTS or not said or not _own(table) <= said)


def _own(table: TableMap) -> set[str]:
    """The source columns of what a table says beside its identifiers."""
    return {
        column for field, rule in table.columns if table.table.by_name[field].kind != "id" for column in rule.columns
    }


def _codes(entry: Field, cells: Sequence[str]) -> tuple[tuple[str, str], ...]:
    """A translation of every spelling that is not a code yet to the code most like it; unlike ones stay open."""
    from rapidfuzz import fuzz, process

    if entry.kind == "flag":
        return tuple((key, _FLAG_WORDS[key]) for key in spellings_of(cells) if key in _FLAG_WORDS)
    if entry.code_list is None:
        return ()
    about = {code.code: f"{code.code.replace('_', ' ')} {code.about}" for code in entry.code_list.codes}
    pairs: dict[str, str] = {}
    for key in spellings_of(cells):
        if is_understood(entry, key):
            continue
        near = process.extractOne(key, about, scorer=fuzz.token_set_ratio, score_cutoff=75)
        if near and any(letter.isalpha() for letter in key):
            pairs[key] = near[2]
    return tuple(pairs.items())


def share_translated(entry: Field, cells: Sequence[str]) -> float | None:
    """Share of a column's spellings that are codes of the field, or like one; None for a blank column."""
    spellings = spellings_of(cells)
    if not spellings:
        return None
    n_codes = sum(is_understood(entry, key) for key in spellings)
    return (n_codes + len(_codes(entry, spellings))) / len(spellings)
