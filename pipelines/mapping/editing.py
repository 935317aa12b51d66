"""One change at a time to a mapping, as a person makes them on a page; the mapping itself never changes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from pipelines.mapping.declared import ColumnRule, Mapping, TableMap, folded_text


def is_plain(rule: ColumnRule) -> bool:
    """Whether a rule takes one source column, so that another can be chosen in its place."""
    return len(rule.columns) == 1


def with_column(mapping: Mapping, at: tuple[int, int], field: str, column: str | None) -> Mapping:
    """The mapping with another source column for a field, or without the field where column is None.

    at: number of the source, and of the table in it. What else the rule of the field says is kept, but for a constant.
    """

    def changed(table: TableMap) -> TableMap:
        rules = dict(table.columns)
        if column is None:
            rules.pop(field, None)
        else:
            before = rules.get(field, ColumnRule())
            rules[field] = replace(before, columns=(column,), value=None, is_row_number=False, number_within=())
        in_order = [name for name in table.table.by_name if name in rules]
        return replace(table, columns=tuple((name, rules[name]) for name in in_order))

    return _with_table(mapping, at, changed)


def with_code(mapping: Mapping, at: tuple[int, int], field: str, spelling: str, code: str | None) -> Mapping:
    """The mapping with a translation of one spelling; None takes it away, so that its rows are held back."""
    key = folded_text(spelling)

    def changed(table: TableMap) -> TableMap:
        rules = dict(table.columns)
        pairs = {one: value for one, value in rules[field].codes if one != key}
        if code is not None:
            pairs[key] = code
        rules[field] = replace(rules[field], codes=tuple(pairs.items()))
        return replace(table, columns=tuple(rules.items()))

    return _with_table(mapping, at, changed)


def without_table(mapping: Mapping, at: tuple[int, int]) -> Mapping:
    """The mapping without one table; a source without tables goes with it."""
    source = mapping.sources[at[0]]
    tables = tuple(table for n, table in enumerate(source.tables) if n != at[1])
    sources = [replace(source, tables=tables) if n == at[0] else other for n, other in enumerate(mapping.sources)]
    return replace(mapping, sources=tuple(source for source in sources if source.tables))


def _with_table(mapping: Mapping, at: tuple[int, int], changed: Callable[[TableMap], TableMap]) -> Mapping:
    sources = list(mapping.sources)
    tables = list(sources[at[0]].tables)
    tables[at[1]] = changed(tables[at[1]])
    sources[at[0]] = replace(sources[at[0]], tables=tuple(tables))
    return replace(mapping, sources=tuple(sources))
