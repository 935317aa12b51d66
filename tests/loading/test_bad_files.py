"""Files, folders and disks that cannot be read or written are named, and what was in force stays."""

from __future__ import annotations

import os
import subprocess
import sys
import zipfile

import duckdb
import pytest

from pipelines.errors import StoreError
from pipelines.store import Store


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


def test_a_mapping_given_as_records_says_how_it_is_given(desk, table, row):
    mapping, gone = desk.write("jobs.mapping.toml", "name = 'jobs'\n"), desk.folder / "gone.toml"
    records = desk.write("visits.csv", table(row(1)))
    told = desk.load(mapping, gone, records).files
    assert "is a mapping or settings, no records" in told[0].error and "--map" in told[0].error
    assert "there is no such file" in told[1].error and told[2].n_accepted == 1


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


def test_files_of_other_kinds_in_a_folder_are_named(desk):
    folder = desk.folder / "exports"
    folder.mkdir()
    for name in ("letter.docx", "plan.pdf", ".hidden", "sites.csv"):
        (folder / name).write_text("site_id\nS1\n")
    report = desk.load(folder)
    assert report.passed_over == ("letter.docx", "plan.pdf") and len(report.files) == 1
    assert desk.load(folder / "sites.csv").passed_over == ()


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
