"""A row held back counts as open until it, or a later version of it, came in."""

from __future__ import annotations

import pytest

from pipelines import loading
from pipelines.mapping.mapping_file import mapping_of
from pipelines.own_entries import dismiss_rows, held_rows, mend_rows
from pipelines.own_work import OwnWork
from pipelines.settings import Settings
from pipelines.store import Store

HEADER = "Visit ID,site_id,appliance_id,technician_id,arrived_at,visit_kind,symptom,is_declared_complete\n"
BAD = "V1,S1,A1,T1,2025-01-10,nope,draft_not_proven,yes\n"
OTHER_BAD = "V2,S1,A1,T1,2025-01-11,nope,draft_not_proven,yes\n"
OTHER_GOOD = OTHER_BAD.replace("nope", "no_heat")
GOOD = " V1 ,S1,A1,T1,2025-01-10,no_heat,draft_not_proven,yes\n"
LINES = "visit_id,line_no,part_number,part_class,quantity\n"


@pytest.fixture
def home(tmp_path):
    (tmp_path / "exports").mkdir()
    return tmp_path / "home"


def load(home, file_name, text):
    path = home.parent / "exports" / file_name
    path.write_text(text)
    report = loading.load(home, [path])
    assert not report.files[0].error, report
    return report


def reading(home, query):
    con = Store(home).open_reader()
    try:
        return con.execute(query).fetchall()
    finally:
        con.close()


def mend(home, settings, *what):
    con = Store(home).open_reader()
    try:
        return mend_rows(con, OwnWork(home), settings, *what)
    finally:
        con.close()


def open_keys(home):
    return sorted(key for (key,) in reading(home, "SELECT DISTINCT raw ->> 'Visit ID' FROM held_back_open"))


def held(home):
    con = Store(home).open_reader()
    try:
        return held_rows(con)
    finally:
        con.close()


def kind_of(home, visit_id):
    return reading(home, f"SELECT visit_kind FROM visit WHERE visit_id = '{visit_id}'")


def test_a_later_version_that_is_accepted_settles_the_row_and_only_that_row(home):
    load(home, "visits_1.csv", HEADER + BAD + OTHER_BAD)
    assert open_keys(home) == ["V1", "V2"]
    load(home, "visits_2.csv", HEADER + GOOD)
    assert open_keys(home) == ["V2"]
    assert [row.cells["Visit ID"] for row in held(home)] == ["V2"]
    assert reading(home, "SELECT count(*) FROM held_back") == [(2,)], "what was delivered is kept"


def test_a_bad_version_of_a_row_on_record_stays_open(home):
    load(home, "visits_1.csv", HEADER + GOOD)
    load(home, "visits_2.csv", HEADER + BAD)
    load(home, "visits_3.csv", HEADER + "V9,S1,A1,T1,2025-01-12,no_heat,draft_not_proven,yes\n")
    assert open_keys(home) == ["V1"]


def test_of_files_loaded_together_the_later_counts(home):
    for file_name, text in (("visits_1.csv", BAD), ("visits_2.csv", GOOD + OTHER_GOOD), ("visits_3.csv", OTHER_BAD)):
        (home.parent / "exports" / file_name).write_text(HEADER + text)
    loading.load(home, [home.parent / "exports"])
    assert open_keys(home) == ["V2"]


def test_an_old_file_that_comes_again_does_not_open_the_row_again(home):
    load(home, "visits_1.csv", HEADER + BAD)
    load(home, "visits_2.csv", HEADER + GOOD)
    load(home, "visits_3.csv", HEADER + BAD + OTHER_BAD)
    assert open_keys(home) == ["V2"]


def test_a_key_of_several_columns_must_agree_in_all_of_them(home):
    load(home, "visits_1.csv", HEADER + GOOD)
    load(home, "part_lines_1.csv", LINES + "V1,1,SW,draft_switch,many\nV1,02,SW,draft_switch,many\nV1,x,SW,hose,1\n")
    load(home, "part_lines_2.csv", LINES + "V1,2,SW,draft_switch,1\n")
    assert reading(home, "SELECT DISTINCT raw ->> 'line_no' FROM held_back_open ORDER BY 1") == [("1",), ("x",)]


def test_a_mended_row_that_came_in_counts_no_longer(home):
    load(home, "visits_1.csv", HEADER + BAD)
    mend(home, Settings(), held(home), {"visit_kind": "no_heat"}, "typing error", "ben")
    assert open_keys(home) == ["V1"], "until it came in"
    loading.load(home, [])
    assert open_keys(home) == [] and kind_of(home, "V1") == [("no_heat",)]


def test_a_mended_row_never_takes_the_place_of_a_later_version_when_everything_is_loaded_anew(home):
    load(home, "visits_1.csv", HEADER + BAD + OTHER_BAD)
    mended = [row for row in held(home) if row.cells["Visit ID"] == "V1"]
    mend(home, Settings(), mended, {"visit_kind": "no_heat"}, "typing error", "ben")
    loading.load(home, [])
    load(home, "visits_2.csv", HEADER + GOOD.replace("no_heat", "maintenance"))
    assert kind_of(home, "V1") == [("maintenance",)]
    for path in home.iterdir():
        if path.name.startswith("store-") or path.name == "current":
            path.unlink()
    loading.load(home, [home.parent / "exports"])
    assert kind_of(home, "V1") == [("maintenance",)]
    assert open_keys(home) == ["V2"]


def test_a_row_dismissed_and_replaced_is_not_opened_by_the_undo(home):
    load(home, "visits_1.csv", HEADER + BAD)
    own = OwnWork(home)
    dismiss_rows(own, held(home), "a test row", "ben")
    load(home, "visits_2.csv", HEADER + GOOD)
    own.undo(own.entries("dismissed_row")[0].entry.entry_id, "wanted", "ben")
    loading.load(home, [])
    assert open_keys(home) == []


def test_a_mended_file_that_is_refused_leaves_its_rows_open(home, monkeypatch):
    load(home, "visits_1.csv", HEADER + BAD)
    mend(home, Settings(), held(home), {"visit_kind": "no_heat"}, "typing error", "ben")
    with monkeypatch.context() as patched:
        patched.setattr("pipelines.mended_rows.csv.writer", lambda file, quoting: _Blank())
        load(home, "visits_2.csv", HEADER + OTHER_GOOD)
    assert open_keys(home) == ["V1"]
    loading.load(home, [])
    assert open_keys(home) == [], "tried again"


class _Blank:
    def writerow(self, row):
        """Leaves the file empty."""

    writerows = writerow


MAPPED = """
name = "calls"
confirmed = true
[[source]]
file = "calls*.csv"
[[source.table]]
table = "visits"
[source.table.columns]
visit_id = "Call"
site_id = "Site"
technician_id = "Tech"
arrived_at = "In"
visit_kind = { column = "Kind", codes = { "PM" = "maintenance" } }
"""


def test_a_row_held_back_under_two_versions_of_a_mapping_is_held_back_once(tmp_path):
    rows = ["1,S1,T1,2025-01-05 08:00,PM", "2,S1,T1,never,PM", "3,S1,T1,2025-01-06 08:00,XYZ"]
    path, home = tmp_path / "calls.csv", tmp_path / "home"
    path.write_text("\n".join(["Call,Site,Tech,In,Kind", *rows, ""]), "utf-8")

    def n_open() -> int:
        return reading(home, "SELECT count(*) FROM held_back_open")[0][0]

    assert loading.load(home, [path], mapping=mapping_of(MAPPED)).files[0].n_held_back == 2 and n_open() == 2
    wider = mapping_of(MAPPED.replace('"PM" = "maintenance"', '"PM" = "maintenance", "XYZ" = "no_heat"'))
    assert loading.load(home, [path], mapping=wider).files[0].n_held_back == 1
    assert n_open() == 1, "the date alone, and once"
    other = tmp_path / "calls_2.csv"
    other.write_text(f"Call,Site,Tech,In,Kind\n{rows[1]}\n4,S9,T1,2025-01-07 08:00,PM\n", "utf-8")
    loading.load(home, [other], mapping=wider)
    assert n_open() == 2, "an equal row of another file is another row"


def test_a_row_is_open_again_when_the_mapping_that_replaced_it_is_put_right(tmp_path):
    """A wrong mapping gave another row its key; once that is gone, the row is neither on record nor out of sight."""
    home, export = tmp_path / "home", tmp_path / "jobs.csv"
    export.write_text("Job,Other,Site,Came,Kind\nA1,B1,S1,2025-01-10,nope\n")
    more = tmp_path / "jobs_2.csv"
    more.write_text("Job,Other,Site,Came,Kind\nB2,A1,S2,2025-01-11,no_heat\n")
    right = (
        'name = "jobs"\nconfirmed = true\n[[source]]\nfile = "jobs*.csv"\n[[source.table]]\ntable = "visits"\n'
        '[source.table.columns]\nvisit_id = "Job"\nsite_id = "Site"\ntechnician_id = { value = "T1" }\n'
        'arrived_at = "Came"\nvisit_kind = "Kind"\n'
    )
    wrong = right.replace('visit_id = "Job"', 'visit_id = "Other"')
    loading.load(home, [export], mapping=mapping_of(right))
    loading.load(home, [more], mapping=mapping_of(wrong))
    assert open_keys(home) == [], "taken for a later version"
    loading.load(home, [more], mapping=mapping_of(right))
    assert reading(home, "SELECT raw ->> 'visit_id' FROM held_back_open") == [("A1",)]
