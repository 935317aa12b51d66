"""Changes to a mapping, one at a time."""

from __future__ import annotations

from foreign_company import CALLS

from pipelines.mapping.declared import ColumnRule
from pipelines.mapping.editing import with_code, with_column, without_table
from pipelines.mapping.mapping_file import mapping_of

AT = (0, 0)


def columns(mapping) -> dict[str, ColumnRule]:
    return dict(mapping.sources[0].tables[0].columns)


def test_another_column_keeps_what_else_the_rule_says():
    mapping = mapping_of(CALLS)
    changed = columns(with_column(mapping, AT, "visit_kind", "Site"))["visit_kind"]
    assert (changed.columns, changed.codes) == (("Site",), (("pm", "maintenance"),))
    assert columns(mapping)["visit_kind"].columns == ("Kind",)


def test_a_field_is_added_in_the_order_of_the_contract_and_taken_away():
    added = with_column(mapping_of(CALLS), AT, "appliance_id", "Tech")
    assert list(columns(added))[:3] == ["visit_id", "site_id", "appliance_id"]
    assert columns(with_column(added, AT, "appliance_id", None)) == columns(mapping_of(CALLS))


def test_a_constant_gives_way_to_a_column():
    mapping = mapping_of(CALLS.replace('technician_id = "Tech"', 'technician_id = { value = "none" }'))
    assert columns(with_column(mapping, AT, "technician_id", "Tech"))["technician_id"] == ColumnRule(columns=("Tech",))


def test_a_code_is_told_and_taken_back():
    told = with_code(mapping_of(CALLS), AT, "visit_kind", " Tune  Up", "maintenance")
    assert columns(told)["visit_kind"].codes == (("pm", "maintenance"), ("tune up", "maintenance"))
    assert with_code(told, AT, "visit_kind", "TUNE UP", None) == mapping_of(CALLS)


def test_the_last_table_takes_its_source_along():
    assert without_table(mapping_of(CALLS), AT).sources == ()
