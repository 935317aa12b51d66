"""Own work in the figures: the facts after every step are those of a full build, and loading anew loses nothing."""

from __future__ import annotations

import shutil

import pytest

from pipelines import build, loading
from pipelines.entry_checks import accepted, bench_verdict
from pipelines.own_entries import dismiss_rows, enter_bench_test, enter_correction, held_rows, mend_rows
from pipelines.own_records import n_waiting
from pipelines.own_work import OwnWork, OwnWorkError, new_id
from pipelines.relations import read_relations
from pipelines.settings import Settings
from pipelines.store import Store

SETTINGS = Settings()


@pytest.fixture
def home(tmp_path):
    """Forty sites with a swap each, so that one is a small share; one tag stands on two sites; two rows held back."""
    records = tmp_path / "records"
    records.mkdir()
    visits = [
        "visit_id,site_id,appliance_id,technician_id,arrived_at,visit_kind,symptom,cause_code,is_declared_complete"
    ]
    lines = ["visit_id,line_no,part_number,part_class,quantity,removed_tag"]
    for n in range(40):
        visits.append(f"V{n},S{n},A{n},T1,2025-01-10T10:00:00Z,no_heat,draft_not_proven,fan_worn,yes")
        visits.append(f"W{n},S{n},A{n},T2,2025-01-15T10:00:00Z,no_heat,draft_not_proven,,yes")
        lines.append(f"V{n},1,SW,draft_switch,1,TAG{n if n != 7 else 6}")
    visits += ["X0,S0,A0,T1,2025-01-20,nope,draft_not_proven,,yes", "X1,S1,A1,T1,2025-01-20,nope,draft_not_proven,,yes"]
    (records / "visits.csv").write_text("\n".join(visits) + "\n")
    (records / "part_lines.csv").write_text("\n".join(lines) + "\n")
    (records / "technicians.csv").write_text("technician_id\nT1\nT2\n")
    (records / "parts.csv").write_text(
        "part_number,part_class,rated_make_pressure,make_tolerance,pressure_unit\nSW,draft_switch,200,10,Pa\n"
    )
    loading.load(tmp_path / "home", [records])
    return tmp_path / "home"


def facts(con):
    names = read_relations(con, build.FOLDERS)
    return {name: sorted(map(repr, con.execute(f'SELECT * FROM "{name}"').fetchall())) for name in names}


def reading(home, work):
    con = Store(home).open_reader()
    try:
        return work(con)
    finally:
        con.close()


def mend(home, settings, *what):
    con = Store(home).open_reader()
    try:
        return mend_rows(con, OwnWork(home), settings, *what)
    finally:
        con.close()


def correct(home, *what):
    return reading(home, lambda con: enter_correction(con, OwnWork(home), SETTINGS, *what, "seen", "chief"))


def test_cells(tag, *makes, when="2025-01-12T10:00:00Z"):
    readings = {f"make_{turn}": make for turn, make in enumerate(makes, 1)}
    return {"removed_tag": tag, "tested_at": when, "pressure_unit": "Pa", "handling": "as_removed", **readings}


test_cells.__test__ = False


def undo_all(home):
    own = OwnWork(home)
    for kept in own.entries("correction", "bench_test"):
        own.undo(kept.entry.entry_id, "no", "ben")


STEPS = {
    "cause": lambda home: correct(home, "V3", "cause_code", "hose_water"),
    "class of the visit after": lambda home: correct(home, "W4", "callback_class", "maintenance"),
    "link": lambda home: correct(home, "W5", "link", "none"),
    "owner": lambda home: correct(home, "V5", "owner", "T2"),
    "part class": lambda home: correct(home, "V8", "part_class", "1:hose"),
    "bench test": lambda home: enter_bench_test(
        OwnWork(home), SETTINGS, test_cells("TAG9", "200", "201", "199"), "t", "B"
    ),
    "test of a tag on two sites": lambda home: enter_bench_test(
        OwnWork(home), SETTINGS, test_cells("TAG6", "100"), "t", "C"
    ),
    "bench result": lambda home: correct(home, "V9", "bench_result", "TAG9:faulty"),
    "all taken back": undo_all,
}


def test_every_step_gives_the_facts_of_a_full_build(home, monkeypatch):
    reports, whole = [], build.build
    monkeypatch.setattr(loading.build, "build", lambda *given: reports.append(whole(*given)))
    before = reading(home, facts)
    first = before
    for name, step in STEPS.items():
        step(home)
        assert loading.load(home, []).is_changed, name
        assert reports[-1].is_incremental, name
        with Store(home).new_generation() as generation:
            now = facts(generation.con)
            assert now != before, name
            whole(generation.con, SETTINGS)
            assert facts(generation.con) == now, name
        before = now
    assert before == first, "everything was taken back"
    assert not loading.load(home, []).is_changed


def test_records_loaded_anew_include_everything_entered(home):
    correct(home, "V3", "cause_code", "hose_water")
    enter_bench_test(OwnWork(home), SETTINGS, test_cells("TAG9", "200", "201", "199"), "t", "B")
    one, other = reading(home, held_rows)
    mend(home, SETTINGS, [one], {"visit_kind": "no_heat"}, "typing error", "ben")
    dismiss_rows(OwnWork(home), [other], "a test row", "ben")
    assert reading(home, lambda con: n_waiting(con, OwnWork(home))) == 4
    loading.load(home, [])
    assert reading(home, lambda con: n_waiting(con, OwnWork(home))) == 0
    entered = reading(home, facts)
    assert reading(home, held_rows) == []
    for path in home.glob("store-*"):
        shutil.rmtree(path) if path.is_dir() else path.unlink()
    (home / "current").unlink()
    report = loading.load(home, [home.parent / "records"])
    assert all(file.n_rows == file.n_accepted + file.n_held_back + file.n_duplicates for file in report.files)
    assert reading(home, facts) == entered
    counted = reading(home, lambda con: con.execute("SELECT count(*) FROM visit WHERE visit_id = 'X0'").fetchone())
    assert counted == (1,)


def test_a_row_dismissed_is_taken_up_again_by_an_undo(home):
    rows = reading(home, held_rows)
    dismiss_rows(OwnWork(home), rows, "test rows", "ben")
    assert dismiss_rows(OwnWork(home), rows, "again", "ben") == 0
    loading.load(home, [])
    assert reading(home, held_rows) == []
    own = OwnWork(home)
    own.undo(own.entries("dismissed_row")[0].entry.entry_id, "wanted", "ben")
    loading.load(home, [])
    assert [row.row_key for row in reading(home, held_rows)] == [rows[0].row_key]


def test_what_is_refused_is_told_and_not_kept(home):
    for what, told in (
        (("V3", "cause_code", "nonsense"), "must be one of board_input"),
        (("V3", "link", "V4"), "another visit to the same site"),
        (("V3", "owner", "T9"), "is no technician on record"),
        (("gone", "cause_code", "fan_worn"), "no such visit is on record"),
        (("V3", "colour", "red"), "must be one of cause_code"),
        (("V3", "bench_result", "good"), "No bench test of a switch from visit V3 is on record"),
        (("V3", "cause_code", " "), "To take a correction back, undo it"),
    ):
        with pytest.raises(OwnWorkError, match=told):
            correct(home, *what)
    with pytest.raises(OwnWorkError, match="make_1 is abc; must be a number"):
        enter_bench_test(OwnWork(home), SETTINGS, test_cells("TAG9", "abc"), "t", new_id())
    row = reading(home, held_rows)[0]
    with pytest.raises(OwnWorkError, match="visits.csv line 82: visit_kind is nah; must be one of"):
        mend(home, SETTINGS, [row], {"visit_kind": "nah"}, "why", "ben")
    with pytest.raises(OwnWorkError, match="colour: no column of that row"):
        mend(home, SETTINGS, [row], {"colour": "red"}, "why", "ben")
    assert OwnWork(home).entries() == []


@pytest.mark.parametrize("makes", [("200", "201", "199"), ("150",), ("190", "209", "200"), ()])
def test_the_verdict_of_what_is_typed_is_the_one_on_record_afterwards(home, makes):
    cells = test_cells("TAG9", *makes) | {"contact_ohms": "1"}
    stored = accepted(SETTINGS, "bench_tests", [{**cells, "bench_test_id": "B", "tester_id": "t"}])[0].stored
    typed = reading(home, lambda con: bench_verdict(con, stored))
    enter_bench_test(OwnWork(home), SETTINGS, cells, "t", "B")
    loading.load(home, [])

    def on_record(con):
        cursor = con.execute("SELECT * FROM bench_result WHERE removed_tag = 'TAG9'")
        return dict(zip([column[0] for column in cursor.description], cursor.fetchone(), strict=True))

    assert reading(home, on_record) == typed


def test_sent_twice_with_the_same_id_is_one_and_with_other_content_is_refused(home):
    own = OwnWork(home)
    for _ in range(2):
        enter_bench_test(own, SETTINGS, test_cells("TAG9", "200"), "t", "B")
    with pytest.raises(OwnWorkError, match="says something else"):
        enter_bench_test(own, SETTINGS, test_cells("TAG9", "150"), "t", "B")
    assert len(own.entries()) == 1
