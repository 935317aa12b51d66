"""A mended row never takes the place of another, and a mending can be taken back, before and after it came in."""

from __future__ import annotations

from dataclasses import replace

import pytest

from dashboard import entry_words
from pipelines import build, loading
from pipelines.own_entries import HeldRow, dismiss_rows, held_rows, mend_rows
from pipelines.own_work import Entry, OwnWork, OwnWorkError
from pipelines.relations import read_relations
from pipelines.settings import Settings
from pipelines.store import Store

HEADER = "visit_id,site_id,technician_id,arrived_at,visit_kind"
ROWS = [
    "V1,S1,T1,2025-01-10T08:00:00Z,no_heat",
    "V2,S2,T1,2025-01-11T08:00:00Z,nope",
    ",S3,T1,2025-01-12T08:00:00Z,no_heat",
    ",S4,T1,2025-01-13T08:00:00Z,no_heat",
]


@pytest.fixture
def home(tmp_path):
    (tmp_path / "visits.csv").write_text("\n".join([HEADER, *ROWS]) + "\n")
    loading.load(tmp_path / "home", [tmp_path / "visits.csv"])
    return tmp_path / "home"


def reading(home, work):
    con = Store(home).open_reader()
    try:
        return work(con)
    finally:
        con.close()


def query(home, said):
    return reading(home, lambda con: con.execute(said).fetchall())


def held(home, *sites):
    rows = reading(home, held_rows)
    return [row for row in rows if not sites or row.cells["site_id"] in sites]


def mend(home, rows, **changes):
    return reading(home, lambda con: mend_rows(con, OwnWork(home), Settings(), rows, changes, "typing error", "ben"))


def facts(home):
    def all_of(con):
        names = read_relations(con, build.FOLDERS)
        return {name: sorted(map(repr, con.execute(f'SELECT * FROM "{name}"').fetchall())) for name in names}

    return reading(home, all_of)


def undo_last(home):
    own = OwnWork(home)
    own.undo(own.entries("mended_row")[-1].entry.entry_id, "was wrong", "ben")


def test_an_identifier_of_another_row_on_record_is_refused(home):
    with pytest.raises(OwnWorkError, match="visit_id 'V1' is on record already, as another row of visits"):
        mend(home, held(home, "S3"), visit_id="V1")
    mend(home, held(home, "S3"), visit_id="V3")
    with pytest.raises(OwnWorkError, match="was given to another mended row of visits, which waits"):
        mend(home, held(home, "S4"), visit_id="V3")
    assert len(OwnWork(home).entries()) == 1


def test_one_identifier_for_several_rows_is_refused(home):
    with pytest.raises(OwnWorkError, match="would make one row of 2"):
        mend(home, held(home, "S3", "S4"), visit_id="V9")
    assert OwnWork(home).entries() == []


def test_a_version_of_a_row_on_record_may_take_its_place_and_gives_it_back(home, tmp_path):
    """The key was delivered with it, so that it is that row."""
    (tmp_path / "visits_2.csv").write_text(f"{HEADER}\nV1,S1,T1,2025-01-10T09:00:00Z,nope\n")
    loading.load(home, [tmp_path / "visits_2.csv"])
    before = facts(home)
    mend(home, held(home, "S1"), visit_kind="maintenance")
    loading.load(home, [])
    assert query(home, "SELECT visit_kind FROM visit WHERE visit_id = 'V1'") == [("maintenance",)]
    undo_last(home)
    assert loading.load(home, []).is_changed
    assert query(home, "SELECT visit_kind FROM visit WHERE visit_id = 'V1'") == [("no_heat",)]
    assert facts(home) == before
    assert [row.cells["site_id"] for row in held(home)] == ["S2", "S3", "S4", "S1"]


def test_a_mending_is_taken_back_before_and_after_it_came_in(home):
    before = facts(home)
    mend(home, held(home, "S3"), visit_id="V3")
    undo_last(home)
    loading.load(home, [])
    assert facts(home) == before
    mend(home, held(home, "S3"), visit_id="V3")
    loading.load(home, [])
    assert query(home, "SELECT count(*) FROM visit") == [(2,)] and len(held(home)) == 2
    undo_last(home)
    loading.load(home, [])
    assert query(home, "SELECT count(*) FROM visit") == [(1,)] and len(held(home)) == 3
    assert query(home, "SELECT count(*) FROM delivered_history.visits") == [(1,)], "nothing disappears"
    # It is held back again, and can be mended otherwise.
    mend(home, held(home, "S3"), visit_id="V33")
    loading.load(home, [])
    assert query(home, "SELECT visit_id FROM visit ORDER BY 1") == [("V1",), ("V33",)]
    assert not loading.load(home, []).is_changed


def test_what_was_mended_dismissed_or_decided_is_said_in_a_line(home):
    mend(home, held(home, "S2"), visit_kind="no_heat")
    dismiss_rows(OwnWork(home), held(home, "S4"), "a test row", "ben")
    mended, dismissed = (kept.entry for kept in OwnWork(home).entries())
    assert entry_words.what(mended) == "visits: visit_kind “nope” → “no_heat”"
    assert entry_words.what(dismissed) == "visits: 2025-01-13T08:00:00Z, S4, T1, no_heat"
    decided = {"subject": "appliance", "keep": "A1", "other": "A-1", "decision": "different", "site_id": "S1"}
    assert entry_words.what(Entry("identity", "A1", decided, "ben")) == "appliance A1 is not A-1 at site S1"


def test_the_same_mending_after_it_was_taken_back_comes_in_again(home):
    for _ in range(2):
        mend(home, held(home, "S3"), visit_id="V3")
        mend(home, held(home, "S2"), visit_kind="no_heat")
        loading.load(home, [])
        assert query(home, "SELECT visit_id FROM visit ORDER BY 1") == [("V1",), ("V2",), ("V3",)]
        for kept in OwnWork(home).entries("mended_row"):
            if kept.is_in_force:
                OwnWork(home).undo(kept.entry.entry_id, "was wrong", "ben")
        loading.load(home, [])
        assert query(home, "SELECT visit_id FROM visit") == [("V1",)]


def test_what_was_taken_back_is_no_older_version_when_a_file_delivers_it(home, tmp_path):
    (tmp_path / "visits_2.csv").write_text(f"{HEADER}\nV1,S1,T7,2025-01-10T09:00:00Z,nope\n")
    loading.load(home, [tmp_path / "visits_2.csv"])
    mend(home, held(home, "S1"), visit_kind="maintenance")
    loading.load(home, [])
    undo_last(home)
    loading.load(home, [])
    (tmp_path / "visits_3.csv").write_text(f"{HEADER}\nV1,S1,T7,2025-01-10T09:00:00Z,maintenance\n")
    (file,) = loading.load(home, [tmp_path / "visits_3.csv"]).files
    assert (file.n_accepted, file.n_revised) == (1, 1)
    assert query(home, "SELECT technician_id, visit_kind FROM visit WHERE visit_id = 'V1'") == [("T7", "maintenance")]


@pytest.mark.parametrize("order", [(0, 1), (1, 0), "both"])
def test_two_versions_of_a_row_mended_and_taken_back_leave_the_first(home, tmp_path, order):
    own, before = OwnWork(home), facts(home)
    for turn, technician in enumerate(("T7", "T8")):
        (tmp_path / f"visits_{turn}.csv").write_text(f"{HEADER}\nV1,S1,{technician},2025-01-10T08:00:00Z,nope\n")
        loading.load(home, [tmp_path / f"visits_{turn}.csv"])
        (row,) = [row for row in held(home, "S1") if row.cells["technician_id"] == technician]
        mend(home, [row], visit_kind="maintenance")
        loading.load(home, [])
    assert query(home, "SELECT technician_id FROM visit WHERE visit_id = 'V1'") == [("T8",)]
    entries = [kept.entry.entry_id for kept in own.entries("mended_row")]
    for at in (0, 1) if order == "both" else order:
        own.undo(entries[at], "was wrong", "ben")
        if order != "both":
            loading.load(home, [])
    loading.load(home, [])
    assert query(home, "SELECT technician_id FROM visit WHERE visit_id = 'V1'") == [("T1",)]
    now = facts(home)
    assert [name for name in before if before[name] != now[name] and name not in ("technician", "held_back_open")] == []
    assert len(held(home, "S1")) == 2


def test_a_key_that_is_the_rows_own_or_stands_in_it_may_be_written(home, tmp_path):
    (tmp_path / "visits_2.csv").write_text(f"{HEADER}\nV1,S1,T7,2025-01-10T09:00:00Z,nope\n")
    loading.load(home, [tmp_path / "visits_2.csv"])
    mend(home, held(home, "S1"), visit_id="V1", visit_kind="maintenance")
    # Mended otherwise while it waits: the number is its own.
    mend(home, held(home, "S3"), visit_id="V3")
    mend(home, held(home, "S3"), visit_id="V3", visit_kind="maintenance")
    torn = HeldRow("key", "visits", "visits.csv", 9, {"row": "V1,S1,T7 2025-01-10T09:00:00Z no_heat"}, {"": "torn"})
    whole = {
        "visit_id": "V1",
        "site_id": "S1",
        "technician_id": "T7",
        "arrived_at": "2025-01-10T09:00:00Z",
        "visit_kind": "no_heat",
    }
    mend(home, [torn], **whole)
    with pytest.raises(OwnWorkError, match="is on record already"):
        mend(home, [replace(torn, cells={"row": "X9,S1,T7"})], **whole)
