"""A mapping as SQL: the cells of a source in, the text of the contract's columns out.

Nothing is lost on the way: a cell that a rule cannot read stays as it is, so that the acceptance holds its row back and
shows what was got.
"""

from __future__ import annotations

from collections.abc import Mapping as Places

from pipelines.contract.fields import Field
from pipelines.contract.limits import NUMBER_KINDS
from pipelines.intake.sql_text import layered, name, text, texts
from pipelines.mapping.declared import (
    EXCEL_SERIAL,
    ColumnRule,
    Mapping,
    RowCondition,
    TableMap,
    folded_text,
)

# Thousands parted by points, and a number with a decimal comma; what stands behind the number is kept.
_THOUSANDS = r"^([-+−–]?\s*)([1-9]\d{0,2}(?:\.\d{3})+)($|[^\d.].*$)"
_COMMA = r"^([-+−–]?\s*\d*),(\d+)"
# With a decimal point, a comma before three digits parts thousands.
_POINT_THOUSANDS = r"^([-+−–]?\s*)([1-9]\d{0,2}(?:,\d{3})+)($|[^\d,].*$)"


_SPACES = r"[\s\x{0b}\x{1c}-\x{1f}\x{85}\x{a0}\x{1680}\x{2000}-\x{200a}\x{2028}\x{2029}\x{202f}\x{205f}\x{3000}]+"

# Ids of things that happened once, of which two rows with the same one take each other's place; and a departure, which by
# its day alone would lie at midnight, before the arrival.
_NEED_EVERY_PART = ("visit_id", "bench_test_id", "claim_id", "left_at")


def canonical_sql(mapping: Mapping, table: TableMap, places: Places[str, int], source: str, shown: str) -> str:
    """A query of n (row of the source) and one text column a contract column, named as it, in the order of the source.

    places: source column -> its number i in the relation `source`, whose columns are n, c0, c1, ... shown: the name of the
    file, and of the sheet.
    """
    where = conditions_sql(mapping, table, places)
    is_counted = any(rule.number_within for _, rule in table.columns)
    if table.is_distinct and is_counted:
        # Counted rows differ by their number; what is equal, outer spaces aside, is put together before it is counted.
        read = sorted({places[column] for _, rule in table.columns for column in (*rule.columns, *rule.number_within)})
        cells = ", ".join(f"stripped(c{i}) AS c{i}" for i in read)
        source = f"(SELECT min(n) AS n, {cells} FROM {source} WHERE {where} GROUP BY {', '.join(f'stripped(c{i})' for i in read)})"
        where = "true"
    parts = {
        column: _Column(mapping, table.table.by_name[column], rule, places, shown) for column, rule in table.columns
    }
    query = layered(
        f"SELECT * FROM {source} WHERE {where}",
        [f"{part.taken()} AS {name('a_' + column)}" for column, part in parts.items()],
        [f"{part.picked(name('a_' + column))} AS {name('b_' + column)}" for column, part in parts.items()],
        [f"{part.translated(name('b_' + column))} AS {name('e_' + column)}" for column, part in parts.items()],
        [f"{part.finished(name('e_' + column))} AS {name(column)}" for column, part in parts.items()],
    )
    columns = ", ".join(name(column) for column in parts)
    if table.is_distinct and not is_counted:
        return f"SELECT min(n) AS n, {columns} FROM ({query}) GROUP BY {columns} ORDER BY 1"
    return f"SELECT n, {columns} FROM ({query})"


def picked_sql(mapping: Mapping, entry: Field, rule: ColumnRule, places: Places[str, int], source: str) -> str:
    """A query of n, what a rule takes of each row as `taken`, and the part it picks of that as `picked`."""
    part = _Column(mapping, entry, rule, places)
    query = layered(f"SELECT * FROM {source}", [f"{part.taken()} AS taken"], [f"{part.picked('taken')} AS picked"])
    return f"SELECT n, taken, picked FROM ({query}) ORDER BY n"


def conditions_sql(mapping: Mapping, table: TableMap, places: Places[str, int]) -> str:
    """Which rows of the source a table is made of, as a condition; places as in canonical_sql."""
    return " AND ".join(_condition(mapping, one, places) for one in table.rows) or "true"


def told_sql(
    mapping: Mapping, table: TableMap, places: Places[str, int], source: str
) -> tuple[list[tuple[str, str]], str]:
    """What a mapping would otherwise change in silence: sentences, and a query of the number before each, in one row.

    Both empty where no figure can stand for blank, no column has words for blank of its own, and none has aliases.
    """
    said, counts, taken, picked, translated = [], [], [], [], []
    where = conditions_sql(mapping, table, places)
    if not table.is_distinct and any(rule.number_within for _, rule in table.columns):
        equal = ", ".join(f"stripped(c{places[column]})" for column in table.sources())
        whose = f"one of {table.table_name} of the same visit"
        remedy = "where rows stand twice by mistake, let equal rows count once."
        said.append(
            (
                f"row equals {whose} and counts as another; {remedy}",
                f"rows equal {whose} and count as another; {remedy}",
            )
        )
        counts.append(f"count(*) - count(DISTINCT [{equal}])")
    for column, rule in table.columns:
        part = _Column(mapping, table.table.by_name[column], rule, places)
        blank = list(dict.fromkeys((*rule.blank, *filter(_is_figure, mapping.blank))))
        if blank and rule.columns:
            folded = texts(folded_text(word) for word in blank)
            cells = (f"{_folded(f'c{places[one]}')} IN ({folded})" for one in rule.columns)
            means = f"{' or '.join(map(repr, blank))}, which means blank here."
            said.append((f"cell of {column} says {means}", f"cells of {column} say {means}"))
            counts.append(f"count_if({' OR '.join(cells)})")
        if part.needs_every_part and rule.default is None:
            why = f"blank, because one of the columns {' and '.join(rule.columns)} is."
            said.append((f"cell of {column} stays {why}", f"cells of {column} stay {why}"))
            some = " OR ".join(f"({cell}) IS NOT NULL" for cell in part.cells())
            counts.append(f"count_if({part.part_is_blank()} AND ({some}))")
        aliases = mapping.aliases_of(column)
        if aliases:
            a, b, e = (name(letter + column) for letter in ("a_", "b_", "e_"))
            taken.append(f"{part.taken()} AS {a}")
            picked.append(f"{part.picked(a)} AS {b}")
            translated.append(f"{part.translated(b)} AS {e}")
            renamed = "renamed by the aliases of the mapping."
            said.append((f"cell of {column} was {renamed}", f"cells of {column} were {renamed}"))
            counts.append(f"count_if({_looked_up(aliases, e)} <> {e})")
    if not counts:
        return [], ""
    query = layered(f"SELECT * FROM {source} WHERE {where}", taken, picked, translated)
    return said, f"SELECT {', '.join(counts)} FROM ({query})"


def _is_figure(word: str) -> bool:
    return any(character.isdigit() for character in word)


class _Column:
    """The steps of one column: the cell is taken, picked apart, translated, and filled where blank."""

    def __init__(
        self, mapping: Mapping, entry: Field, rule: ColumnRule, places: Places[str, int], shown: str = ""
    ) -> None:
        self.mapping, self.entry, self.rule, self.places, self.shown = mapping, entry, rule, places, shown

    def taken(self) -> str:
        rule = self.rule
        if rule.value is not None:
            return f"{text(rule.value)}::VARCHAR"
        if rule.is_row_number:
            # Every file has a first row: an identifier holds the file's name too, or the next file would replace this one's.
            return f"({text(f'{self.shown} ')} || n)" if self.entry.kind == "id" else "CAST(n AS VARCHAR)"
        if rule.number_within:
            cells = ", ".join(f"c{self.places[column]}" for column in rule.number_within)
            return f"CAST(row_number() OVER (PARTITION BY {cells} ORDER BY n) AS VARCHAR)"
        cells_read = self.cells()
        if len(cells_read) == 1:
            return cells_read[0]
        joined = f"nullif(concat_ws({text(rule.join)}, {', '.join(cells_read)}), '')"
        return f"CASE WHEN {self.part_is_blank()} THEN NULL ELSE {joined} END" if self.needs_every_part else joined

    def cells(self) -> list[str]:
        return [_filled(self.mapping, f"c{self.places[column]}", self.rule.blank) for column in self.rule.columns]

    @property
    def needs_every_part(self) -> bool:
        """A key joined of two columns with one of them blank would be the same for all such rows, and make one of many.

        A site without the number of a flat, or half of a person's name, is still a site or a person.
        """
        return len(self.rule.columns) > 1 and self.entry.name in _NEED_EVERY_PART

    def part_is_blank(self) -> str:
        return "(" + " OR ".join(f"({cell}) IS NULL" for cell in self.cells()) + ")"

    def picked(self, cell: str) -> str:
        rule = self.rule
        if rule.split is not None:
            return f"nullif(trim(string_split({cell}, {text(rule.split)})[{rule.part}]), '')"
        if rule.pattern is not None:
            found = f"nullif(regexp_extract({cell}, {text(rule.pattern)}, 1), '')"
            # Of prose a part is taken where there is one; any other cell that does not fit is shown as it is.
            return found if self.entry.kind in ("id", "text") else f"coalesce({found}, {cell})"
        return cell

    def translated(self, cell: str) -> str:
        rule, kind = self.rule, self.entry.kind
        if rule.codes or rule.otherwise is not None:
            instead = (
                cell if rule.otherwise is None else f"CASE WHEN {cell} IS NOT NULL THEN {text(rule.otherwise)} END"
            )
            return f"coalesce({_looked_up(rule.codes, cell)}, {instead})" if rule.codes else instead
        if kind in ("date", "timestamp"):
            return self._time(cell)
        if kind in NUMBER_KINDS:
            return _number(cell, self.mapping.has_decimal_comma)
        return cell

    def finished(self, cell: str) -> str:
        aliases = self.mapping.aliases_of(self.entry.name)
        found = f"coalesce({_looked_up(aliases, cell)}, {cell})" if aliases else cell
        if self.rule.prefix:
            found = f"({text(self.rule.prefix)} || {found})"
        return found if self.rule.default is None else f"coalesce({found}, {text(self.rule.default)})"

    def _time(self, cell: str) -> str:
        formats = self.rule.formats or self.mapping.date_formats
        shape = "%Y-%m-%d" if self.entry.kind == "date" else "%Y-%m-%dT%H:%M:%S"
        read = []
        if EXCEL_SERIAL in formats:
            # Days since the last day of 1899, as workbooks count them from March 1900 on.
            read.append(
                f"CASE WHEN regexp_full_match({cell}, '[1-9]\\d{{0,4}}(\\.\\d+)?') THEN strftime(TIMESTAMP '1899-12-30' + "
                f"to_seconds(round(CAST({cell} AS DOUBLE) * 86400)), {text(shape)}) END"
            )
        written = [one for one in formats if one != EXCEL_SERIAL]
        if written:
            read.append(f"strftime(try_strptime({cell}, [{texts(written)}]), {text(shape)})")
        if self.entry.kind == "date":
            # A workbook gives a day as a time at midnight.
            read.append(f"CASE WHEN regexp_full_match({cell}, '.*[T ]00:00(:00(\\.0+)?)?') THEN left({cell}, 10) END")
        return f"coalesce({', '.join([*read, cell])})"


def _filled(mapping: Mapping, cell: str, blank: tuple[str, ...]) -> str:
    """The cell without outer white space, NULL where it is blank or one of the words for blank."""
    words = {folded_text(word) for word in (*mapping.blank, *blank)}
    nothing = f"stripped({cell}) = ''" + (f" OR {_folded(cell)} IN ({texts(sorted(words))})" if words else "")
    return f"CASE WHEN {nothing} THEN NULL ELSE stripped({cell}) END"


def _folded(cell: str) -> str:
    # As folded_text folds: Python's white space, which holds more than that of the database's expressions.
    return f"lower(trim(regexp_replace(replace({cell}, chr(65279), ''), '{_SPACES}', ' ', 'g')))"


def _looked_up(pairs: tuple[tuple[str, str], ...], cell: str) -> str:
    keys, values = (texts(column) for column in zip(*pairs, strict=True))
    return f"map([{keys}], [{values}])[{_folded(cell)}]"


def _condition(mapping: Mapping, one: RowCondition, places: Places[str, int]) -> str:
    cell = _filled(mapping, f"c{places[one.column]}", ())
    said = []
    if one.is_in:
        said.append(f"coalesce({_folded(cell)} IN ({texts(folded_text(word) for word in one.is_in)}), false)")
    if one.is_not_in:
        said.append(f"coalesce({_folded(cell)} NOT IN ({texts(folded_text(word) for word in one.is_not_in)}), true)")
    if one.is_filled:
        said.append(f"{cell} IS NOT NULL")
    return f"({' AND '.join(said)})"


def _number(cell: str, has_decimal_comma: bool) -> str:
    """The number with a decimal point and no thousands; what the mark of the mapping cannot settle stays as it is."""
    if has_decimal_comma:
        joined = f"CASE WHEN regexp_matches({cell}, {text(_THOUSANDS)}) THEN {_joined(cell, _THOUSANDS, '.')} ELSE {cell} END"
        return f"regexp_replace({joined}, {text(_COMMA)}, '\\1.\\2')"
    return (
        f"CASE WHEN regexp_matches({cell}, {text(_POINT_THOUSANDS)}) THEN {_joined(cell, _POINT_THOUSANDS, ',')} "
        f"ELSE {cell} END"
    )


def _joined(cell: str, shape: str, mark: str) -> str:
    """The cell with the thousands marks of its number taken out."""
    digits = f"replace(regexp_extract({cell}, {text(shape)}, 2), {text(mark)}, '')"
    return f"(regexp_extract({cell}, {text(shape)}, 1) || {digits} || regexp_extract({cell}, {text(shape)}, 3))"
