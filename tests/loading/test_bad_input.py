"""Bad files are met with a message in words, and nothing is lost: every row is accepted, held back or a duplicate."""

from __future__ import annotations

import json

import pytest

from pipelines.store import Store


def test_an_empty_file_is_refused(desk):
    assert "is empty" in desk.load_text("visits.csv", "").error
    assert Store(desk.home).current() is None


def test_a_header_alone_is_no_error(desk):
    file = desk.load_text("visits.csv", "visit_id,site_id,technician_id,arrived_at,visit_kind\n")
    assert file.error is None and file.n_rows == 0
    assert "has a header and no rows." in file.messages


def test_a_missing_required_column_refuses_the_file_and_names_what_is_like_it(desk, table, row):
    header = "visit_id,site_id,techician_id,arrived_at,visit_kind,notes"
    good = desk.write("sites.csv", "site_id\nS1\n")
    refused, loaded = sorted(
        desk.load(desk.write("visits.csv", table(row(1), header=header)), good).files, key=lambda file: file.file_name
    )[::-1]
    assert "lacks the required column technician_id" in refused.error
    assert "'techician_id' looks like technician_id" in refused.error
    assert loaded.n_accepted == 1, "the other files of a load go on"
    assert desk.rows("SELECT count(*) FROM delivered.visits") == [(0,)]


def test_unknown_columns_are_left_out_and_the_nearest_name_told(desk, table, row):
    file = desk.load_text("visits.csv", table(row(1) + ",leak,7", header=table().strip() + ",symptm,Colour"))
    assert file.unknown_columns == ("symptm", "Colour")
    assert "column 'symptm' is not in the contract and was left out; did you mean symptom?" in file.messages
    assert "column 'Colour' is not in the contract and was left out." in file.messages
    assert file.n_accepted == 1


def test_header_names_may_differ_in_case_spaces_and_marks(desk, row):
    header = "\ufeffVisit ID, Site-Id ,TECHNICIAN_ID,Arrived At,visit kind,Notes"
    assert desk.load_text("visits.csv", f"{header}\n{row(1)}\n").n_accepted == 1


def test_a_title_above_the_header_is_passed_over(desk, table, row):
    file = desk.load_text("visits.csv", "Export of last week\n\n" + table(row(1), row(2, kind="odd")))
    assert (file.n_accepted, file.n_held_back) == (1, 1)
    assert desk.reasons()[0][0] in (5, None)


@pytest.mark.parametrize("mark", [";", "\t", "|", "~", "^"])
def test_any_delimiter_is_found(desk, table, row, mark):
    file = desk.load_text("visits.csv", table(row(1), row(2)).replace(",", mark))
    assert (file.n_accepted, file.delimiter) == (2, mark)


def test_rows_with_another_delimiter_than_the_header_refuse_the_file(desk, table, row):
    file = desk.load_text("visits.csv", table(row(1).replace(",", ";"), row(2).replace(",", ";")))
    assert "line 2" in file.error and "as many fields as the header" in file.error and "';'" not in file.error
    assert "V1;S1" in file.error


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"])
def test_encodings_give_the_same_text(desk, table, row, encoding):
    file = desk.load_text("visits.csv", table(row(1, notes="Grüße é – 20 °C"), row(2)), encoding)
    assert file.n_accepted == 2
    assert desk.rows("SELECT notes FROM delivered.visits WHERE visit_id = 'V1'") == [("Grüße é – 20 °C",)]
    assert ("read as cp1252." in file.messages) == (encoding == "cp1252")


def test_line_ends_may_be_mixed(desk, table, row):
    body = table(row(1), row(2, notes='"two\nlines"'), row(3)).replace("V2", "V2").split("\n")
    mixed = "\r\n".join(body[:2]) + "\n" + "\n".join(body[2:4]) + "\r\n" + body[4] + "\r\n"
    assert desk.load_text("visits.csv", mixed).n_accepted == 3
    assert desk.rows("SELECT notes FROM delivered.visits WHERE visit_id = 'V2'") == [("two\nlines",)]


def test_ragged_rows_are_held_back_one_by_one_with_their_line_and_text(desk, table, row):
    body = table(row(1), "V9,S1", row(4, notes='"two\nlines"'), row(2) + ",x,y", row(3, kind="nope"))
    file = desk.load_text("visits.csv", body)
    assert (file.n_rows, file.n_accepted, file.n_held_back) == (5, 2, 3)
    found = desk.rows("SELECT line_no, reason_code, raw, reason FROM held_back ORDER BY line_no")
    assert [(line, code) for line, code, _, _ in found] == [(3, "ragged_row"), (6, "ragged_row"), (7, "not_a_code")]
    assert json.loads(found[0][2]) == {"row": "V9,S1"}
    assert found[0][3].startswith("visits.csv line 3: the row has fewer fields; the header has 6 fields.")
    assert "more fields" in found[1][3]


def test_blank_lines_are_no_rows_and_lines_that_cannot_be_told_are_not(desk, table, row):
    file = desk.load_text("visits.csv", table(row(1), "", row(2, kind="nope")))
    assert (file.n_rows, file.n_held_back) == (2, 1)
    line, _, reason = desk.reasons()[0]
    assert line is None and reason.startswith("visits.csv row 2: ")


@pytest.mark.parametrize(
    "rows",
    [
        pytest.param(['"open', None, '"closed"', None], id="closed by the next quote"),
        pytest.param(['"open', None, '",x', None], id="closed before a comma"),
        pytest.param(['"open', None, None], id="never closed"),
    ],
)
def test_a_quote_that_swallows_rows_refuses_the_file_with_its_line(desk, table, row, rows):
    body = table(row(8), *(row(i, notes=notes or "fine") for i, notes in enumerate(rows)))
    file = desk.load_text("visits.csv", body)
    assert "swallows the rows after it" in file.error
    assert "line 3" in file.error or "row 2" in file.error
    assert Store(desk.home).current() is None


def test_a_swallowed_row_inside_a_valid_cell_is_found(desk, table, row):
    body = table(row(1, notes='"open'), row(2, notes="x"), row(3, notes='y"'), row(4))
    assert "swallows the rows after it" in desk.load_text("visits.csv", body).error


def test_long_notes_over_several_lines_are_no_swallowed_rows(desk, table, row):
    note = "first\nhose, port, trap, vent, fan, wiring, board, label\n" + "so on, and so forth; " * 200
    file = desk.load_text("visits.csv", table(row(1, notes=f'"{note}"'), row(2)))
    assert (file.error, file.n_accepted) == (None, 2)


def test_inch_marks_are_no_quotation_marks(desk):
    body = 'visit_id,reading_no,quantity,value,unit\nV1,1,draft_at_switch,0.82",\nV1,2,draft_at_switch,-.5,"WC"\n'
    file = desk.load_text("readings.csv", body)
    assert (file.error, file.n_accepted) == (None, 2)
    found = desk.rows("SELECT value, unit, round(value_pa, 3), sign FROM delivered.readings ORDER BY reading_no")
    # 249.08891 Pa: conventional inch of water, NIST SP 811.
    assert found == [(0.82, "[in_i'H2O]", 204.253, 1), (-0.5, "[in_i'H2O]", 124.544, -1)]


@pytest.mark.parametrize(
    ("arrived", "code", "said"),
    [
        ("5014-09-15", "date_out_of_range", "arrived_at is 5014-09-15; must lie between 1990 and tomorrow."),
        ("31/02", "not_a_time", "arrived_at is 31/02; must be a date and time"),
        ("2023-02-29T10:00", "not_a_time", "arrived_at is 2023-02-29T10:00; must be"),
        ("45306.5", "not_a_time", "arrived_at is 45306.5; must be"),
    ],
)
def test_impossible_times_are_told_with_line_got_allowed_and_what_next(desk, table, row, arrived, code, said):
    file = desk.load_text("visits.csv", table(row(1), row(2, arrived=arrived)))
    assert (file.n_accepted, file.n_held_back, file.reasons) == (1, 1, {f"arrived_at: {code}": 1})
    ((line, found, reason),) = desk.reasons()
    assert (line, found) == (3, code)
    assert reason.startswith(f"visits.csv line 3: {said}") and reason.endswith("see Records → Held back.")


@pytest.mark.parametrize(
    ("value", "code"),
    [("NaN", "not_finite"), ("inf", "not_finite"), ("1e308", "out_of_range"), ("1,234", "ambiguous_number")],
)
def test_numbers_that_are_none_are_held_back(desk, value, code):
    body = f'visit_id,reading_no,quantity,value,unit\nV1,1,draft_at_switch,"{value}",Pa\nV1,2,draft_at_switch,1,Pa\n'
    file = desk.load_text("readings.csv", body)
    assert (file.n_accepted, file.reasons) == (1, {f"value: {code}": 1})


def test_identifiers_may_hold_spaces_quotes_and_emoji_but_not_ten_thousand_characters(desk):
    header = "visit_id,site_id,technician_id,arrived_at,visit_kind,notes"
    body = f'{header}\n"V ""1"" 😀 x",S 1,T\'1,2024-01-01,No heat,=cmd()\n{"x" * 10_000},S1,T1,2024-01-01,no-heat,<b>hi</b>\n'
    file = desk.load_text("visits.csv", body)
    assert (file.n_accepted, file.reasons) == (1, {"visit_id: too_long": 1})
    assert desk.rows("SELECT visit_id, site_id, technician_id, visit_kind, notes FROM delivered.visits") == [
        ('V "1" 😀 x', "S 1", "T'1", "no_heat", "=cmd()")
    ]
    assert "visit_id has 10,000 characters; at most 200 are allowed" in desk.reasons()[0][2]


def test_html_and_formulas_in_notes_are_kept_as_text(desk, table, row):
    notes = ["<script>alert(1)</script>", "=HYPERLINK(1)", "+1", "@x"]
    desk.load_text("visits.csv", table(*(row(i, notes=text) for i, text in enumerate(notes))))
    assert [text for (text,) in desk.rows("SELECT notes FROM delivered.visits ORDER BY visit_id")] == notes


@pytest.mark.parametrize(("got", "meant"), [("no heat call", "no_heat"), ("maintenace", "maintenance"), ("zzz", None)])
def test_the_code_most_alike_is_proposed(desk, table, row, got, meant):
    desk.load_text("visits.csv", table(row(1, kind=got), row(2)))
    ((sentence,),) = desk.rows("SELECT reason FROM held_back")
    assert (f"inspection, other; did you mean {meant}? Row" if meant else "inspection, other. Row") in sentence
