"""A mapping proposed for files nobody described: from the names of their columns and the values in them.

Every line says how sure it is; a person looks through all of them. No request leaves the machine.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from pipelines.contract.fields import Field, Table
from pipelines.contract.tables import TABLE_BY_NAME, TABLES
from pipelines.intake.headers import is_personal
from pipelines.mapping.column_signs import ColumnSigns, share_likely, signs_of
from pipelines.mapping.declared import ColumnRule, Mapping, Source, TableMap, folded_text
from pipelines.mapping.file_patterns import pattern_beside, pattern_of_name
from pipelines.mapping.names import bare, is_short_and_exact, likeness, names_rows
from pipelines.mapping.proposed_tables import settled, share_translated, table_map
from pipelines.mapping.repeated_groups import later_groups, siblings
from pipelines.mapping.samples import Sample
from pipelines.mapping.spellings import choices, is_understood, spellings_of
from pipelines.mapping.value_signs import decimal_comma, formats_fitting, is_measured, share_fitting

# A column is proposed from this confidence on, and a table when its least certain required column reaches it.
LEAST_CONFIDENCE = 0.55
# What a name counts beside the values; a name alone never reaches certainty.
_NAME_SHARE = 0.65
_MUCH_SURER = 0.15
_SURER_ID = 0.05
_SURE_BY_ITSELF = 0.85
_MAY_SHARE = ({"visit_id", "job_id"}, {"site_id", "appliance_id"})
# A short name that is the very word of one field is no misspelling of another's.
_LEAST_BESIDE_EXACT = 0.9
# At most so sure is a number of a job taken for that of the visit; a name whose values tell nothing; codes not known.
_JOB_AS_VISIT = 0.8
_NAME_ALONE = 0.95
_OWN_CODES = 0.8
_MOST_CODES = 40


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
    for alike in _of_one_kind(samples):
        sample = replace(alike[0], rows=[row for one in alike for row in one.rows])
        tables, nearest = [], ""
        matches = _matches(sample, has_comma, formats)
        for table in TABLES:
            if table.is_entered_here:
                continue
            found = matches[table.name]
            made, lacking = table_map(table, sample, found)
            if not lacking:
                tables.append(made)
            elif len(lacking) <= 2 and len(found) >= 2:
                nearest = f"; nearest is {table.name}, without {', '.join(lacking)}"
        kept = _with_later_groups(settled(tables), sample, matches)
        for made in kept:
            for field, rule in made.columns:
                key = (len(sources), made.table_name, field)
                if key in remarks:
                    # Of a later group of the same columns: as sure as the first.
                    continue
                match = matches[made.table_name].get(field)
                confidence[key] = match[1] if match else 0.5
                remarks[key] = _remark(made.table.by_name[field], rule, confidence[key], sample, match)
        if kept:
            own = {one.file for one in alike}
            file = pattern_beside(sample.file, [other.file for other in samples if other.file not in own])
            sources.append(Source(kept, file, sample.sheet, columns=tuple(sample.columns)))
        else:
            untold.append(f"{sample.shown}: no table could be proposed{nearest}")
    blank = tuple(sorted({word for sample in samples for word in sample.words_for_blank()}))
    mapping = Mapping(name, tuple(sources), date_formats=tuple(formats), has_decimal_comma=has_comma, blank=blank)
    return Proposal(mapping, confidence, remarks, tuple(untold))


def _of_one_kind(samples: Sequence[Sample]) -> list[list[Sample]]:
    """The samples, those of several months of one export together: the same columns, and names that differ in numbers only."""
    found: dict[tuple, list[Sample]] = {}
    for sample in samples:
        key = (pattern_of_name(sample.file), sample.sheet, tuple(map(folded_text, sample.columns)))
        found.setdefault(key, []).append(sample)
    return list(found.values())


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
    return table_map(table, sample, found)[0]


def _with_later_groups(
    tables: tuple[TableMap, ...], sample: Sample, matches: dict[str, dict[str, tuple[int, float]]]
) -> tuple[TableMap, ...]:
    """The tables, each followed by those of the later groups of its columns."""
    read = {column for table in tables for column in table.sources()}
    made: list[TableMap] = []
    for table in tables:
        made += [table, *later_groups(table, sample, matches[table.table_name], read)]
    return tuple(made)


def _matches(sample: Sample, has_comma: bool, formats: Sequence[str]) -> dict[str, dict[str, tuple[int, float]]]:
    """The matches of every table; a column that is much surer elsewhere is not what a doubtful match takes it for."""
    matches = {table.name: _match(table, sample, has_comma, formats) for table in TABLES if not table.is_entered_here}
    surest: dict[int, tuple[float, str]] = {}
    for found in matches.values():
        for field, (at, sure) in found.items():
            surest[at] = max(surest.get(at, (0.0, "")), (sure, field))

    alike = siblings(sample.columns)

    def holds(name: str, field: str, at: int, sure: float) -> bool:
        best, other = surest[at]
        # The second of two columns, such as "Draft after", is not a doubtful something else.
        is_second = any(surest[one][0] > best and surest[one][1] != field for one in alike[at] if one in surest)
        if is_second and sure < _SURE_BY_ITSELF:
            return False
        # One column identifies one kind of thing, in whatever table; but a visit and its job, or a site and its only appliance, may share one.
        is_id = TABLE_BY_NAME[name].by_name[field].kind == "id"
        if is_id and field == other:
            return True
        is_other = is_id and not any({field, other} <= pair for pair in _MAY_SHARE)
        return sure >= best - (_SURER_ID if is_other else _MUCH_SURER)

    kept = {
        name: {field: (at, sure) for field, (at, sure) in found.items() if holds(name, field, at, sure)}
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
        fitting = share_translated(entry, cells)
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


def _remark(entry: Field, rule: ColumnRule, sure: float, sample: Sample, found: tuple[int, float] | None) -> str:
    if found is None and rule.number_within:
        return "counted, because no column of the file numbers them"
    if found is None and entry.name in ("unit", "pressure_unit", "currency", "taken"):
        return "likely: it stands in the name of a column"
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
