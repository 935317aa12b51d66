"""One change at a time to a mapping, as a person makes them on a page; the mapping itself never changes."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

from pipelines.mapping.declared import ColumnRule, Mapping, MappingError, RowCondition, Source, TableMap, folded_text
from pipelines.mapping.file_patterns import fits_pattern
from pipelines.mapping.mapping_values import aliases_of
from pipelines.mapping.spellings import as_themselves

# Lists of other spellings -> the attribute of a mapping that holds them.
ALIASES = {
    "technicians": "technician_aliases",
    "parts": "part_aliases",
    "sites": "site_aliases",
    "appliances": "appliance_aliases",
}
# Readings of a column of their own are numbered from here where others are counted within their visit.
_BEYOND_COUNTED = 1001
# Columns that count rows within a visit.
_NUMBERS = ("line_no", "reading_no")


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


def with_rule(mapping: Mapping, at: tuple[int, int], field: str, rule: ColumnRule) -> Mapping:
    """The mapping with another rule for a field."""

    def changed(table: TableMap) -> TableMap:
        rules = {**dict(table.columns), field: rule}
        return replace(table, columns=tuple((name, rules[name]) for name in table.table.by_name if name in rules))

    return _with_table(mapping, at, changed)


def with_otherwise(mapping: Mapping, at: tuple[int, int], field: str, code: str | None) -> Mapping:
    """The mapping with a code for every spelling that is not translated; None holds their rows back.

    The codes of the contract are written down as themselves with it, since whatever is not written means `code`.
    """
    table = mapping.sources[at[0]].tables[at[1]]
    rule = dict(table.columns)[field]
    pairs = dict(rule.codes) if code is None else {**as_themselves(table.table.by_name[field]), **dict(rule.codes)}
    return with_rule(mapping, at, field, replace(rule, otherwise=code, codes=tuple(pairs.items())))


def with_rows(mapping: Mapping, at: tuple[int, int], filled: str | None, is_distinct: bool) -> Mapping:
    """The mapping with a table made of the rows where a column is filled (None: of every row), equal ones once or not.

    What else its conditions say is kept.
    """

    def changed(table: TableMap) -> TableMap:
        first = filled_condition(table)
        others = [one for n, one in enumerate(table.rows) if n != first]
        told = [] if filled is None else [RowCondition(filled, is_filled=True)]
        return replace(table, rows=(*told, *others), is_distinct=is_distinct)

    return _with_table(mapping, at, changed)


def filled_condition(table: TableMap) -> int | None:
    """The number of the first condition that asks only that a column be filled."""
    return next((n for n, one in enumerate(table.rows) if one == RowCondition(one.column, is_filled=True)), None)


def with_condition(mapping: Mapping, at: tuple[int, int], n: int, condition: RowCondition | None) -> Mapping:
    """The mapping with condition number n of a table changed, or added where there is none; None takes it away."""

    def changed(table: TableMap) -> TableMap:
        told = () if condition is None else (condition,)
        return replace(table, rows=(*table.rows[:n], *told, *table.rows[n + 1 :]))

    return _with_table(mapping, at, changed)


def with_table(mapping: Mapping, n: int, table: TableMap) -> Mapping:
    """The mapping with one more table made of source number n."""
    sources = list(mapping.sources)
    sources[n] = replace(sources[n], tables=(*sources[n].tables, _numbered_apart(sources[n], table)))
    return replace(mapping, sources=tuple(sources))


def _numbered_apart(source: Source, table: TableMap) -> TableMap:
    """The table with other numbers than an earlier one of the same kind made of the same rows, or its rows would replace those."""
    number = table.table.key[-1]
    taken = [dict(other.columns).get(number) for other in source.tables if other.table_name == table.table_name]
    if number not in _NUMBERS or dict(table.columns).get(number) not in taken:
        return table
    used = {rule.prefix for rule in taken if rule is not None}
    prefix = next(f"{n}00" for n in range(2, len(taken) + 3) if f"{n}00" not in used)
    rules = {name: replace(rule, prefix=prefix) if name == number else rule for name, rule in table.columns}
    return replace(table, columns=tuple(rules.items()))


def with_source(mapping: Mapping, file: str, sheet: str | None, columns: Sequence[str], table: TableMap) -> Mapping:
    """The mapping with a table of a file or sheet that no source of it reads yet."""
    source = Source((table,), file, sheet, columns=tuple(columns))
    return replace(mapping, sources=(*mapping.sources, source))


def with_file(mapping: Mapping, n: int, pattern: str, at_hand: Sequence[str]) -> Mapping:
    """The mapping with a pattern of the files that source number n reads, and every other source of the same files.

    at_hand: names of the files it is tried on. Raises MappingError where the pattern reads none of those the sources read
    (of those no source reads, where theirs are not at hand), or one that another source reads.
    """
    before = mapping.sources[n].file
    changed = [source for source in mapping.sources if source.query is None and source.file == before]
    others = [source for source in mapping.sources if source not in changed]
    read = [file for file in at_hand if mapping.sources[n].fits_file(file)]
    elsewhere = [file for file in at_hand if file not in read and any(one.fits_file(file) for one in others)]
    meant = read or [file for file in at_hand if file not in elsewhere]
    if not any(fits_pattern(file, pattern) for file in meant):
        named = " or ".join(dict.fromkeys(meant)) or "any file at hand"
        raise MappingError(
            f"{pattern!r} does not fit {named}. Write its name, with * for what changes from file to file."
        )
    taken = [file for file in elsewhere if fits_pattern(file, pattern)]
    if taken:
        raise MappingError(
            f"{pattern!r} would also read {' and '.join(dict.fromkeys(taken))}, which has tables of its own. Write more of "
            "the name."
        )
    return replace(
        mapping,
        sources=tuple(replace(source, file=pattern) if source in changed else source for source in mapping.sources),
    )


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


def with_alias(mapping: Mapping, of: str, spelling: str, target: str | None) -> Mapping:
    """The mapping with an identifier that a spelling stands for; None takes the spelling away. of: a key of ALIASES.

    Raises MappingError where the spellings would go round in a circle.
    """
    key = folded_text(spelling)
    pairs = {one: value for one, value in getattr(mapping, ALIASES[of]) if one != key}
    if target is not None:
        pairs[key] = target
    changed: dict[str, Any] = {ALIASES[of]: aliases_of(pairs, f"aliases.{of}")}
    return replace(mapping, **changed)


def with_reading_column(mapping: Mapping, n: int, column: str, visit: ColumnRule, said: dict[str, str]) -> Mapping:
    """The mapping with a table of readings made of one source column of source number n.

    visit: how their visit is named. said: what holds for each of them, such as quantity and condition. Each such column
    has a number of its own, so that a visit keeps one reading of each; rows where the column is blank hold none.
    """
    numbers = [dict(table.columns)["reading_no"] for source in mapping.sources for table in source.tables
               if table.table_name == "readings"]  # fmt: skip
    fixed = [int(rule.value) for rule in numbers if rule.value is not None and rule.value.isdecimal()]
    first = 1 if len(fixed) == len(numbers) else _BEYOND_COUNTED
    rules = {
        "visit_id": visit,
        "reading_no": ColumnRule(value=str(max([first - 1, *fixed]) + 1)),
        "value": ColumnRule(columns=(column,)),
        **{field: ColumnRule(value=value) for field, value in said.items()},
    }
    table = TableMap("readings", tuple(rules.items()), (RowCondition(column, is_filled=True),), is_distinct=True)
    in_order = tuple((name, rules[name]) for name in table.table.by_name if name in rules)
    return with_table(mapping, n, replace(table, columns=in_order))


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
