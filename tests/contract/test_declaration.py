"""The declaration agrees with itself, and the example cells cover every column of it."""

from __future__ import annotations

import re

import pytest

from pipelines.contract import codes
from pipelines.contract.examples import blank_row, either_of_rows, example_row, full_row, good_value, violations
from pipelines.contract.fields import KINDS
from pipelines.contract.limits import allowed_units
from pipelines.contract.reasons import REASONS
from pipelines.contract.tables import TABLE_BY_NAME, TABLES
from pipelines.contract.units import OTHER_UNITS, PASCAL_PER_UNIT, UNIT_CODES, UNIT_SPELLINGS

COLUMNS = [pytest.param(table, entry, id=f"{table.name}.{entry.name}") for table in TABLES for entry in table.fields]
KIND_OF_SUFFIX = {"_at": ("timestamp",), "_on": ("date",), "_id": ("id",)}
KIND_OF_PREFIX = {"is_": ("flag",), "has_": ("flag",)}


@pytest.mark.parametrize(("table", "entry"), COLUMNS)
def test_column_is_declared_whole(table, entry):
    assert re.fullmatch(r"[a-z][a-z0-9_]*", entry.name)
    assert entry.kind in KINDS
    assert entry.about
    assert (entry.code_list is not None) == (entry.kind == "code")
    for suffix, kinds in KIND_OF_SUFFIX.items():
        assert not entry.name.endswith(suffix) or entry.kind in kinds
    for prefix, kinds in KIND_OF_PREFIX.items():
        assert not entry.name.startswith(prefix) or entry.kind in kinds
    if entry.references:
        other, column = entry.references.split(".")
        assert TABLE_BY_NAME[other].key == (column,), "a reference points to the key of a table"
    if entry.unit_field:
        assert table.by_name[entry.unit_field].kind == ("currency" if entry.kind == "number" else "unit")
    if entry.kind == "pressure":
        assert entry.unit_field
        assert set(allowed_units(table, table.by_name[entry.unit_field])) == set(PASCAL_PER_UNIT)


@pytest.mark.parametrize(("table", "entry"), COLUMNS)
def test_column_has_a_good_and_a_violating_cell(table, entry):
    good = good_value(entry)
    assert good.strip()
    if entry.code_list is not None:
        assert good in entry.code_list.values()
    bad = violations(entry)
    assert bad, "a column that nothing can violate is not checked"
    assert {reason for _, reason in bad} <= set(REASONS)
    assert good not in {text for text, _ in bad}
    assert ("", "missing_required") in bad or not entry.is_required
    assert example_row(table, entry.name, "x")[entry.name] == "x"


@pytest.mark.parametrize("table", TABLES, ids=lambda table: table.name)
def test_table_is_declared_whole(table):
    names = [entry.name for entry in table.fields]
    assert len(names) == len(set(names))
    for key in table.key:
        assert table.by_name[key].is_required, "a key column may not be blank"
    for group in table.either_of:
        assert all(not table.by_name[name].is_required for name in group)
    rows = [blank_row(table, number) for number in range(1, 6)]
    assert len({tuple(row[key] for key in table.key) for row in rows}) == len(rows)
    assert all(full_row(table).values())
    assert len(either_of_rows(table)) == len(table.either_of)


def test_tables_of_the_contract():
    assert " ".join(table.name for table in TABLES) == (
        "sites appliances technicians visits visit_crew checks readings gauges parts part_lines "
        "bench_tests warranty_claims coaching_sessions weather_days corrections"
    )


def test_causes_and_families():
    known = set(codes.CAUSE_CODE.values())
    assert len(codes.CAUSES) == len(known) == 29
    assert set(codes.CONDENSATE_FAMILY) | set(codes.BLOCKAGE_FAMILY) <= known
    assert not set(codes.CONDENSATE_FAMILY) & set(codes.BLOCKAGE_FAMILY)
    escalated = {cause.code for cause in codes.CAUSES if cause.must_escalate}
    assert {"exchanger_restricted", "exchanger_breached", "safety_bypassed"} <= escalated
    for cause in codes.CAUSES:
        assert (cause.days_low is None) == (cause.days_high is None)
        assert cause.days_low is None or 0 <= cause.days_low < cause.days_high


def test_code_lists_hold_each_code_once():
    for table in TABLES:
        for entry in table.fields:
            if entry.code_list is not None:
                assert len(entry.code_list.values()) == len(set(entry.code_list.values())), entry.name


def test_every_unit_has_spellings_and_every_spelling_a_unit():
    assert set(UNIT_SPELLINGS.values()) == set(UNIT_CODES) == set(PASCAL_PER_UNIT) | set(OTHER_UNITS)
    for spelling in UNIT_SPELLINGS:
        assert spelling == spelling.lower().replace(" ", "").replace(".", ""), f"{spelling!r} can never be found"
