"""Changes to a mapping, one at a time."""

from __future__ import annotations

from foreign_company import CALLS

from pipelines.mapping.declared import ColumnRule, RowCondition
from pipelines.mapping.editing import with_code, with_column, with_condition, with_rows, without_table
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


def test_rows_that_must_be_filled_leave_the_other_conditions_as_they_are():
    test_rows = RowCondition("Site", is_not_in=("TEST",))
    both = RowCondition("Kind", is_in=("PM",), is_filled=True)
    mapping = with_condition(with_condition(mapping_of(CALLS), AT, 0, test_rows), AT, 1, both)
    filled = with_rows(mapping, AT, "Tech", True).sources[0].tables[0]
    assert filled.rows == (RowCondition("Tech", is_filled=True), test_rows, both) and filled.is_distinct
    assert (
        with_rows(with_rows(mapping, AT, "Tech", False), AT, "Kind", False).sources[0].tables[0].rows[0].column
        == "Kind"
    )
    assert with_rows(with_rows(mapping, AT, "Tech", False), AT, None, False) == mapping


def test_a_condition_is_changed_and_taken_away():
    mapping = with_condition(mapping_of(CALLS), AT, 0, RowCondition("Site", is_not_in=("TEST",)))
    changed = with_condition(mapping, AT, 0, RowCondition("Site", is_not_in=("TEST", "DEMO")))
    assert changed.sources[0].tables[0].rows == (RowCondition("Site", is_not_in=("TEST", "DEMO")),)
    assert with_condition(changed, AT, 0, None) == mapping_of(CALLS)
