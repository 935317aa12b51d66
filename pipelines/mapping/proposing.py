"""A mapping proposed for files nobody described: from the names of their columns and the values in them.

Every line says how sure it is; a person looks through all of them. No request leaves the machine.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from pipelines.contract.fields import Field, Table
from pipelines.contract.tables import TABLE_BY_NAME, TABLES
from pipelines.intake.headers import is_personal
from pipelines.mapping.column_signs import ColumnSigns, is_serial, share_likely, signs_of
from pipelines.mapping.day_and_time import joined_times
from pipelines.mapping.declared import ColumnRule, Mapping, RowCondition, Source, TableMap
from pipelines.mapping.names import bare, is_short_and_exact, likeness, names_rows
from pipelines.mapping.samples import Sample
from pipelines.mapping.spellings import choices, is_understood, spellings_of
from pipelines.mapping.value_signs import decimal_comma, formats_fitting, is_measured, share_fitting

# A column is proposed from this confidence on, and a table when its least certain required column reaches it.
LEAST_CONFIDENCE = 0.55
# What a name counts beside the values; a name alone never reaches certainty.
_NAME_SHARE = 0.65
_MUCH_SURER = 0.15
# A short name that is the very word of one field is no misspelling of another's.
_LEAST_BESIDE_EXACT = 0.9
# At most so sure is a number of a job taken for that of the visit; a name whose values tell nothing; codes not known.
_JOB_AS_VISIT = 0.8
_NAME_ALONE = 0.95
_OWN_CODES = 0.8
_MOST_CODES = 40
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
_FILLED = {
    "part_lines": ("part_number", "part_class", "description", "quantity"),
    "readings": ("value", "quantity", "contacts"),
}
# Columns a table is proposed for at all: without them it would be made of guesses.
_NEEDED = {"visits": ("arrived_at",), "readings": ("value",), "gauges": ("full_scale",)}
# Yes and no in German; other words of a status are for a person to translate.
_FLAG_WORDS = {"ja": "yes", "j": "yes", "nein": "no"}
_COUNTED = {("part_lines", "line_no"): "visit_id", ("readings", "reading_no"): "visit_id"}


@dataclass(frozen=True)
class Proposal:
    """A proposed mapping. confidence: (source number, table, column) -> 0..1. remarks: the same keys -> words."""

    mapping: Mapping
    confidence: dict[tuple[int, str, str], float]
    remarks: dict[tuple[int, str, str], str]
    untold: tuple[str, ...]


def propose(samples: Sequence[Sample], name: str) -> Proposal:
    """A mapping for the samples, not confirmed. untold: files that no table could be proposed for, with the reason."""
    cells = [cell for sample in samples for column in range(len(sample.columns)) for cell in sample.cells(column)]
    has_comma = decimal_comma(cells)
    formats = formats_fitting(cells)
    sources: list[Source] = []
    untold: list[str] = []
    confidence: dict[tuple[int, str, str], float] = {}
    remarks: dict[tuple[int, str, str], str] = {}
    for sample in samples:
        tables, nearest = [], ""
        matches = _matches(sample, has_comma, formats)
        for table in TABLES:
            if table.is_entered_here:
                continue
            found = matches[table.name]
            made, lacking = _table_map(table, sample, found)
            if not lacking:
                tables.append(made)
            elif len(lacking) <= 2 and len(found) >= 2:
                nearest = f"; nearest is {table.name}, without {', '.join(lacking)}"
        kept = _settled(tables)
        for made in kept:
            for field, rule in made.columns:
                key = (len(sources), made.table_name, field)
                match = matches[made.table_name].get(field)
                confidence[key] = match[1] if match else 0.5
                remarks[key] = _remark(made.table.by_name[field], rule, confidence[key], sample, match)
        if kept:
            sources.append(Source(kept, sample.file, sample.sheet, columns=tuple(sample.columns)))
        else:
            untold.append(f"{sample.shown}: no table could be proposed{nearest}")
    blank = tuple(sorted({word for sample in samples for word in sample.words_for_blank()}))
    mapping = Mapping(name, tuple(sources), date_formats=tuple(formats), has_decimal_comma=has_comma, blank=blank)
    return Proposal(mapping, confidence, remarks, tuple(untold))


def table_by_hand(sample: Sample, table_name: str, mapping: Mapping) -> TableMap:
    """A table a person wants made of the sample, as it would be proposed; what nothing speaks for stays open, also if required.

    Source columns that the mapping reads for the same table already are not guessed again.
    """
    read = {
        column
        for source in mapping.sources
        if source.fits_file(sample.file)
        for table in source.tables
        if table.table_name == table_name
        for field, rule in table.columns
        if table.table.by_name[field].kind != "id"
        for column in rule.columns
    }
    table = TABLE_BY_NAME[table_name]
    found = {
        field: (at, sure)
        for field, (at, sure) in _match(table, sample, mapping.has_decimal_comma, mapping.date_formats).items()
        if sample.columns[at] not in read
    }
    return _table_map(table, sample, found)[0]


def _matches(sample: Sample, has_comma: bool, formats: Sequence[str]) -> dict[str, dict[str, tuple[int, float]]]:
    """The matches of every table; a column that is much surer elsewhere is not what a doubtful match takes it for."""
    matches = {table.name: _match(table, sample, has_comma, formats) for table in TABLES if not table.is_entered_here}
    surest: dict[int, float] = {}
    for found in matches.values():
        for at, sure in found.values():
            surest[at] = max(surest.get(at, 0), sure)
    kept = {
        name: {field: (at, sure) for field, (at, sure) in found.items() if sure >= surest[at] - _MUCH_SURER}
        for name, found in matches.items()
    }
    for found in kept.values():
        if "job_id" in found and "visit_id" not in found:
            # The only number a call has is the call's.
            at, sure = found.pop("job_id")
            found["visit_id"] = at, min(sure, _JOB_AS_VISIT)
    return kept


def _match(table: Table, sample: Sample, has_comma: bool, formats: Sequence[str]) -> dict[str, tuple[int, float]]:
    """Field -> (source column, confidence): the surest pairs first, every source column once."""
    pairs = []
    for at, column in enumerate(sample.columns):
        cells, name = sample.cells(at), bare(column)
        signs = signs_of(cells)
        if signs.is_running and names_rows(name):
            continue
        least = _LEAST_BESIDE_EXACT if is_short_and_exact(column) else 0.5
        for entry in table.fields:
            like = likeness(entry, column)
            # A personal column may name a site, as an account number does, and nothing else.
            if like < least or (is_personal(column) and (entry.kind != "id" or like < 0.95)):
                continue
            pairs.append((_sureness(table, entry, like, cells, signs, name, formats), entry.name, at))
    found: dict[str, tuple[int, float]] = {}
    taken: set[int] = set()
    for sure, field, at in sorted(pairs, key=lambda pair: (-pair[0], pair[1], pair[2])):
        if sure >= LEAST_CONFIDENCE and field not in found and at not in taken:
            found[field] = at, min(sure, 0.99)
            taken.add(at)
    return found


def _sureness(
    table: Table, entry: Field, like: float, cells: Sequence[str], signs: ColumnSigns, name: str, formats: Sequence[str]
) -> float:
    """How sure it is that a column is a field, 0..1, by its name and its values."""
    fitting = share_fitting(entry, cells, formats)
    if choices(entry):
        fitting = _share_translated(entry, cells)
        if not fitting and cells and entry.kind == "code" and signs.n_distinct <= _MOST_CODES and not signs.is_unique:
            # Codes of the company's own: few, and met again and again.
            return like * _OWN_CODES
    if entry.kind == "id" and like < 1 and is_measured(cells):
        fitting = 0.0
    likely = share_likely(table, entry, name, signs)
    if likely is not None:
        fitting = likely if fitting is None else min(fitting, likely)
    if fitting is None:
        return like if not cells else like * _NAME_ALONE
    sure = _NAME_SHARE * like + (1 - _NAME_SHARE) * fitting
    return 0.6 * sure if fitting < 0.2 else sure


def _table_map(table: Table, sample: Sample, found: dict[str, tuple[int, float]]) -> tuple[TableMap, list[str]]:
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
        rules = {entry.name: rules[entry.name] for entry in table.fields if entry.name in rules}
    lacking = [name for name in table.required() if name not in rules]
    lacking += [name for name in _NEEDED.get(table.name, ()) if name not in found]
    lacking += [" or ".join(group) for group in table.either_of if not any(column in rules for column in group)]
    # A table of nothing but references says nothing of its own; line items need a part.
    if table.name == "part_lines" and not {"part_number", "part_class", "description"} & set(found):
        lacking.append("part_number")
    if own == 0:
        lacking.append("a column of its own")
    return TableMap(
        table.name, tuple(rules.items()), _which_rows(table, sample, found), _is_repeated(table, sample, found)
    ), lacking


def _which_rows(table: Table, sample: Sample, found: dict[str, tuple[int, float]]) -> tuple[RowCondition, ...]:
    """The rows that hold one of the table, by the fullest column that tells it: a line may lack its part's number."""
    telling = {field: found[field][0] for field in _FILLED.get(table.name, ()) if field in found}
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


def _settled(tables: list[TableMap]) -> tuple[TableMap, ...]:
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


def _share_translated(entry: Field, cells: Sequence[str]) -> float | None:
    """Share of a column's spellings that are codes of the field, or like one; None for a blank column."""
    spellings = spellings_of(cells)
    if not spellings:
        return None
    n_codes = sum(is_understood(entry, key) for key in spellings)
    return (n_codes + len(_codes(entry, spellings))) / len(spellings)


def _remark(entry: Field, rule: ColumnRule, sure: float, sample: Sample, found: tuple[int, float] | None) -> str:
    if found is None:
        return "doubtful: no column of the file is like it, so this stands for it; put it right"
    word = "sure" if sure >= 0.85 else "likely" if sure >= 0.7 else "doubtful"
    said = f"{word} ({sure:.0%})"
    if choices(entry):
        told = {key for key, _ in rule.codes}
        spellings = spellings_of(sample.cells(found[0]))
        open_ones = sorted(key for key in spellings if key not in told and not is_understood(entry, key))
        if open_ones:
            said += f"; still to translate: {', '.join(open_ones[:8])}".replace("\n", " ")
    return said
