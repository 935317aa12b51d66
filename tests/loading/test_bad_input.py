"""Bad files are met with a message in words, and nothing is lost: every row is accepted, held back or a duplicate."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import zipfile

import duckdb
import pytest

from pipelines.errors import StoreError
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


def test_personal_columns_are_dropped_named_and_not_kept_with_rows_held_back(desk, table, row):
    header = table().strip() + ",Customer Name,phone,e-mail"
    file = desk.load_text("visits.csv", table(row(1, kind="nonsense") + ",Ann Doe,555-0100,a@b.test", header=header))
    assert file.dropped_columns == ("Customer Name", "phone", "e-mail")
    assert "personal columns dropped: Customer Name, phone, e-mail." in file.messages
    raw = desk.rows("SELECT raw FROM held_back")[0][0]
    assert json.loads(raw)["visit_kind"] == "nonsense"
    assert "Ann" not in raw and "555" not in raw


PERSONAL = "site_id,region,customer_name,phone\n"


def test_no_text_of_spoiled_rows_is_kept_where_columns_are_personal(desk):
    file = desk.load_text(
        "sites.csv", PERSONAL + 'S1,North,Bob Roe,5\nS2,North,Ann Doe,5,x\nS3,N,"Ann" Doe,5\nS4,Ann Doe\n'
    )
    assert (file.n_accepted, file.n_held_back) == (1, 3)
    kept = desk.rows("SELECT raw, held_back::VARCHAR FROM held_back ORDER BY line_no")
    assert [json.loads(raw).get("fields") for raw, _ in kept] == [5, 4, 2]
    assert not any("Ann" in row or "Doe" in row for _, row in kept)
    lines = '{"site_id": "S1", "customer_name": "Bob Roe"}\n["Ann Doe"]\n'
    assert desk.load_text("sites.jsonl", lines).n_held_back == 1
    assert not any("Ann" in row for (row,) in desk.rows("SELECT held_back::VARCHAR FROM held_back"))


@pytest.mark.parametrize(
    "rows",
    [
        pytest.param("S1;North;Ann Doe;5\nS2;North;Ann Doe;6", id="another delimiter"),
        pytest.param('S1,N,"Ann Doe,5\nS2,N,Cy,6', id="never closed"),
        pytest.param('S1,"Ann,Doe,5\nS2,N",Cy,6\nS3,N,Di,7', id="closed in a later row"),
        pytest.param('S1,N,"Ann Doe,5\nS2,N,Cy",6\nS3,N,Di,7', id="in a personal column"),
    ],
)
def test_no_text_of_a_refused_file_is_quoted_where_columns_are_personal(desk, rows):
    error = desk.load_text("sites.csv", f"{PERSONAL}{rows}\n").error
    assert error and "Ann" not in error and "Doe" not in error


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


def test_a_workbook_named_csv_is_read_as_a_workbook(desk, table, row):
    import xlsxwriter

    path = desk.folder / "visits.csv"
    with xlsxwriter.Workbook(str(path)) as book:
        sheet = book.add_worksheet("visits")
        for at, line in enumerate([table().strip(), row(1)]):
            sheet.write_row(at, 0, line.split(","))
    (file,) = desk.load(path).files
    assert (file.error, file.n_accepted) == (None, 1)
    assert file.messages[0] == "is named .csv but is a workbook; read as that."


def test_an_encrypted_workbook_is_named_as_such(desk):
    # The head of an OLE file and the name of the stream that holds an encrypted package (our reading of [MS-OFFCRYPTO]).
    body = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(504) + "EncryptedPackage".encode("utf-16-le") + bytes(512)
    assert "is encrypted. Open it, save it without a password" in desk.load_text("visits.xlsx", body).error


def test_a_zip_that_is_no_workbook_and_a_cut_parquet_file_are_refused(desk):
    with zipfile.ZipFile(desk.folder / "visits.xlsx", "w") as archive:
        archive.writestr("readme.txt", "no sheets")
    duckdb.sql("SELECT 'S1' AS site_id").write_parquet(str(desk.folder / "sites.parquet"))
    whole = (desk.folder / "sites.parquet").read_bytes()
    desk.write("sites.parquet", whole[: len(whole) // 2])
    files = desk.load(desk.folder / "visits.xlsx", desk.folder / "sites.parquet").files
    assert "is no workbook that can be read" in files[0].error
    assert "is damaged" in files[1].error


def test_bytes_that_are_no_text_are_refused(desk):
    assert desk.load_text("visits.csv", bytes(range(256)) * 20).error


def test_paths_that_are_not_there_are_named_and_the_rest_loads(desk):
    missing, loaded = desk.load(desk.folder / "nowhere", desk.write("sites.csv", "site_id\nS1\n")).files
    assert "there is no such file or folder" in missing.error
    assert loaded.n_accepted == 1


def test_a_folder_without_records_says_what_was_looked_for(desk):
    (desk.folder / "inbox").mkdir()
    (file,) = desk.load(desk.folder / "inbox").files
    assert "holds no records" in file.error and ".csv" in file.error


_UNREADABLE = """
import os, sys
from pathlib import Path
from pipelines.intake.file_kinds import IntakeError, expand, kind_of
if os.geteuid() == 0:
    os.seteuid(65534)
print(list(expand([Path(sys.argv[1])]))[0][1])
try:
    kind_of(Path(sys.argv[2]))
except IntakeError as error:
    print(error)
"""


@pytest.mark.skipif(os.name == "nt", reason="folders are closed by their mode here")
def test_a_folder_or_file_that_may_not_be_read_is_named(desk):
    closed = desk.folder / "closed"
    closed.mkdir()
    secret = desk.write("secret.csv", "site_id\nS1\n")
    closed.chmod(0)
    secret.chmod(0)
    try:
        told = subprocess.run(
            [sys.executable, "-c", _UNREADABLE, closed, secret], capture_output=True, text=True, check=True
        ).stdout.splitlines()
    finally:
        closed.chmod(0o700)
    assert told[0].startswith("may not be read.") and told[1].startswith("may not be read.")


_FULL_DISK = """
import resource, signal, sys
from pathlib import Path
from pipelines.errors import StoreError
from pipelines.loading import load
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (300_000, 300_000))
try:
    load(Path(sys.argv[1]), [Path(sys.argv[2])])
except StoreError as error:
    print(error)
"""


@pytest.mark.skipif(os.name == "nt", reason="needs a limit on the size of files")
def test_a_full_disk_leaves_what_was_in_force(desk, table, row):
    desk.load_text("sites.csv", "site_id\nS1\n")
    before = Store(desk.home).current().name
    rows = (row(i, notes=f"note {i * 7919 % 100_003} {i}") for i in range(20_000))
    path = desk.write("visits.csv", table(*rows))
    told = subprocess.run([sys.executable, "-c", _FULL_DISK, desk.home, path], capture_output=True, text=True)
    assert "the disk is full" in told.stdout, told.stderr[-2000:]
    assert Store(desk.home).current().name == before
    assert desk.rows("SELECT count(*) FROM delivered.sites") == [(1,)]
    assert not list(desk.home.glob("*.tmp*")) and not list(desk.home.glob(".landing-*"))


def test_a_store_of_a_newer_program_is_refused(desk):
    desk.load_text("sites.csv", "site_id\nS1\n")
    con = duckdb.connect(str(Store(desk.home).current()))
    con.execute("UPDATE store_format SET version = 999")
    con.close()
    with pytest.raises(StoreError, match="999"):
        desk.load_text("sites.csv", "site_id\nS2\n")
