"""A stray quotation mark makes one cell of many rows; no row may vanish in it, however few the columns are."""

from __future__ import annotations

import random

import pytest

from pipelines.intake.text_facts import blank_lines, text_facts
from pipelines.store import Store

SWALLOWED = [
    pytest.param("sites", "site_id,region", 'S1,"North\nS2,South\nS3,East"\nS4,West', id="last of two columns"),
    pytest.param("sites", "site_id,region", 'S1,"North\nS2,South"\nS4,West', id="a single row"),
    pytest.param("sites", "site_id,region", '"S1,North\nS2",South\nS4,West', id="first of two columns"),
    pytest.param("technicians", "technician_id,technician_name,branch", 'T1,"B,A\nT2,C,B\nT3,D",B', id="middle of three"),
    pytest.param("technicians", "technician_id,technician_name,branch", 'T1,"B,A\nT2,C",B\nT3,D,B', id="one of three"),
    pytest.param("technicians", "technician_id,colour", 'T1,"red\nT2,green\nT3,blue"\nT4,red', id="column left out"),
    pytest.param("technicians", "technician_id,phone", 'T1,"5\nT2,6\nT3,7"\nT4,8', id="personal column"),
    pytest.param(
        "warranty_claims", "claim_id,visit_id,refusal_reason", 'C1,V1,"no\nC2,V2,late\nC3,V3,x"\nC4,V4,', id="prose"
    ),
]  # fmt: skip


@pytest.mark.parametrize(("name", "header", "rows"), SWALLOWED)
@pytest.mark.parametrize("line_end", ["\n", "\r\n", "\r"])
def test_rows_in_a_cell_refuse_the_file(desk, name, header, rows, line_end):
    file = desk.load_text(f"{name}.csv", f"{header}\n{rows}\n".replace("\n", line_end))
    assert "swallows the rows after it" in (file.error or "")
    assert Store(desk.home).current() is None


def test_several_lines_are_for_prose_alone(desk):
    header = "claim_id,visit_id,refusal_reason"
    file = desk.load_text("warranty_claims.csv", f'{header}\nC1,V1,"first, and\nsecond, third, and"\nC2,V2,late\n')
    assert (file.error, file.n_accepted) == (None, 2)
    file = desk.load_text("technicians.csv", 'technician_id,technician_name,branch\nT1,"A\nB",N\nT2,C,N\n')
    assert (file.n_accepted, file.reasons) == (1, {"technician_name: control_characters": 1})
    assert [(line, code) for line, code, _ in desk.reasons()] == [(2, "control_characters")]


def test_a_row_held_back_after_notes_of_several_lines_is_told_by_its_line(desk, table, row):
    body = table(row(1, notes='"one\ntwo\nthree"', kind="nope"), row(2, kind="nope"))
    desk.load_text("visits.csv", body)
    assert [line for line, _, _ in desk.reasons()] == [2, 5]


def test_rows_lost_between_the_pieces_of_a_large_file_refuse_it(desk, table, row):
    """Past the size of the reader's first piece (32 MB) it begins anew, and what the open mark swallowed is told nowhere."""
    rows = [row(i) for i in range(900_000)]
    rows[0] = row(0, notes='"open')
    file = desk.load_text("visits.csv", table(*rows))
    assert "lines are in no row that can be read" in (file.error or "") or "swallows" in (file.error or "")
    assert Store(desk.home).current() is None


def test_a_line_too_long_for_the_reader_is_not_passed_over(desk, table, row):
    file = desk.load_text("visits.csv", table(row(1, notes="x" * 40_000_000), row(2)))
    assert "1 of its 3 lines are in no row" in file.error


@pytest.mark.parametrize("line_end", ["\n", "\r\n"])
def test_blank_lines_and_lines_of_columns_left_out_are_not_lost(desk, table, line_end):
    header = "visit_id,site_id,technician_id,arrived_at,visit_kind,is_after_hours,phone,Colour,notes"
    rows = [
        'V1,S,T,"2024-01-05\n","no\nheat","yes\n","5\n6","a\n\nb, c","d\n\n\ne\n"',
        "",
        'V2,S,T,2024-01-05,other,,,,"x"',
        "",
        "",
    ]
    file = desk.load_text("visits.csv", table(*rows, header=header).replace("\n", line_end))
    assert (file.error, file.n_rows, file.n_accepted) == (None, 2, 2)


def test_blank_lines_are_counted(tmp_path):
    numbers = random.Random(7)
    for end in (b"\n", b"\r\n"):
        lines = [numbers.choice([b"", b"a", b" ", b"b,c"]) for _ in range(500)]
        path = tmp_path / "some.csv"
        path.write_bytes(end.join(lines) + end)
        assert blank_lines(path) == lines.count(b"")
        assert text_facts(path).n_lines == 500
        path.write_bytes(end.join([*lines, b"last"]))
        assert (blank_lines(path), text_facts(path).n_lines) == (lines.count(b""), 501)
