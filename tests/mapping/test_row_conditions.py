"""Which rows a table is made of, changed one condition at a time."""

from __future__ import annotations

from foreign_company import CALLS

from pipelines.mapping.declared import RowCondition
from pipelines.mapping.editing import with_condition, with_rows
from pipelines.mapping.mapping_file import mapping_of

AT = (0, 0)


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
