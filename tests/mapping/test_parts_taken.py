"""What a rule takes of the first cells, shown as a load would do it."""

from __future__ import annotations

from pipelines.contract.tables import TABLE_BY_NAME
from pipelines.mapping.declared import ColumnRule, Mapping
from pipelines.mapping.parts_taken import parts_taken
from pipelines.mapping.samples import Sample

SAMPLE = Sample("jobs.csv", None, ["Job", "Flat", "Draft"], [
    ("WO-1 ", "a", "0,42 in"), ("WO-1", "a", None), (None, "b", "-"), ("x", None, "none"),
])  # fmt: skip
FIELDS = TABLE_BY_NAME["visits"].by_name | {"value": TABLE_BY_NAME["readings"].by_name["value"]}


def taken(field: str, rule: ColumnRule, n: int = 5, **more) -> list:
    return parts_taken(Mapping("jobs", (), **more), FIELDS[field], rule, SAMPLE, n)


def test_each_different_filled_cell_stands_once_with_its_part():
    rule = ColumnRule(columns=("job",), pattern=r"WO-(\d+)")
    assert taken("visit_id", rule) == [("WO-1", "1"), ("x", None)]
    assert taken("visit_id", rule, 1) == [("WO-1", "1")]


def test_joined_cells_are_joined_first_and_words_for_blank_are_none():
    rule = ColumnRule(columns=("Job", "Flat"), join="/", pattern="/(.)")
    assert taken("site_id", rule, blank=("b",)) == [("WO-1/a", "a"), ("x", None)]


def test_a_cell_of_a_number_that_does_not_fit_stays_as_it_is():
    rule = ColumnRule(columns=("Draft",), pattern=r"^(\S+) in", blank=("-",))
    assert taken("value", rule) == [("0,42 in", "0,42"), ("none", "none")]


def test_a_column_that_is_not_there_shows_nothing():
    assert taken("visit_id", ColumnRule(columns=("Call",), pattern="(.)")) == []
