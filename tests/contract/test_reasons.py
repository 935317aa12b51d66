"""The sentence for every column and every reason that can befall it says what was got and what is allowed."""

from __future__ import annotations

import pytest

from pipelines.contract.examples import violations
from pipelines.contract.reasons import REASONS, sentence_template
from pipelines.contract.tables import TABLE_BY_NAME, TABLES


@pytest.mark.parametrize("table", TABLES, ids=lambda table: table.name)
def test_sentences_are_whole(table):
    for entry in table.fields:
        for _, reason in violations(entry):
            sentence = sentence_template(table, entry, reason)
            assert sentence.startswith(entry.name)
            assert "{" not in sentence.replace("{got}", ""), sentence
            assert "must lie ;" not in sentence and not sentence.endswith(("must lie ", "one of "))


def test_sentences_as_people_read_them():
    visits, parts = TABLE_BY_NAME["visits"], TABLE_BY_NAME["parts"]

    def sentence(table, column, reason):
        return sentence_template(table, table.by_name[column], reason)

    assert sentence(visits, "arrived_at", "date_out_of_range") == (
        "arrived_at is {got}; must lie between 1990 and tomorrow"
    )
    assert sentence(visits, "visit_id", "missing_required") == "visit_id is blank; must be filled"
    assert "must be one of no_heat, other_fault," in sentence(visits, "visit_kind", "not_a_code")
    assert sentence(parts, "rated_make_pressure", "out_of_range").endswith("must lie between 0 and 20,000 Pa")
    assert "V," not in sentence(parts, "pressure_unit", "not_a_unit"), "a volt is no unit of pressure"


def test_an_unknown_reason_is_an_error():
    with pytest.raises(KeyError):
        sentence_template(TABLES[0], TABLES[0].fields[0], "because")
    assert "because" not in REASONS
