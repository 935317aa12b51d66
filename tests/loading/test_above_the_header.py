"""Lines above the header, whatever they hold, take no rows with them."""

from __future__ import annotations

import pytest

ABOVE = [
    pytest.param('"Export, of\n 2025"\n', id="title over two lines in quotes"),
    pytest.param('"Export of\n', id="quote never closed"),
    pytest.param('Report "x"\n\n', id="quote within a title"),
    pytest.param('"a\nb"\n"c\nd"\n', id="two titles over two lines"),
    pytest.param("A\x0bB\u2028C\x85\n", id="marks that some count as line ends"),
    pytest.param("\n\n", id="blank lines"),
]


@pytest.mark.parametrize("line_end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("above", ABOVE)
def test_no_row_is_lost_and_every_line_is_told(desk, table, row, above, line_end):
    body = above + table(row(1), "V9,S1", row(2, kind="nope"), row(3))
    file = desk.load_text("visits.csv", body.replace("\n", line_end))
    first = above.count("\n") + 2
    assert (file.n_rows, file.n_accepted, file.reasons) == (4, 2, {"ragged_row": 1, "visit_kind: not_a_code": 1})
    assert [(line, code) for line, code, _ in desk.reasons()] == [(first + 1, "ragged_row"), (first + 2, "not_a_code")]


def test_no_row_is_lost_in_another_encoding(desk, table, row):
    file = desk.load_text("visits.csv", '"Übersicht\n' + table(row(1), row(2)), "utf-16")
    assert (file.n_rows, file.n_accepted) == (2, 2)


def test_a_line_is_cut_where_the_header_is_looked_for(desk, table, row):
    file = desk.load_text("visits.csv", table(row(1, notes="x" * 300_000), row(2)))
    assert (file.n_accepted, file.reasons) == (1, {"notes: too_long": 1})
