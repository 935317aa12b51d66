"""What people entered goes with its visit when a later mapping numbers the visits otherwise; what cannot is said."""

from __future__ import annotations

import pytest

from pipelines import build, loading
from pipelines.mapping.mapping_file import mapping_of
from pipelines.own_entries import enter_bench_test, enter_correction
from pipelines.own_work import OwnWork, new_id
from pipelines.relations import read_relations
from pipelines.settings import Settings
from pipelines.store import Store

MAPPING = """
name = "jobs"
confirmed = true
[[source]]
file = "jobs*.csv"
[[source.table]]
table = "visits"
distinct = true
[source.table.columns]
visit_id = "Job"
site_id = "Site"
technician_id = "Tech"
arrived_at = "Came"
visit_kind = { value = "no_heat" }
symptom = { value = "draft_not_proven" }
[[source.table]]
table = "part_lines"
[source.table.columns]
visit_id = "Job"
line_no = { value = "1" }
part_class = { value = "draft_switch" }
quantity = { value = "1" }
"""
OTHER_NUMBERS = MAPPING.replace('visit_id = "Job"', 'visit_id = { column = "Job", prefix = "C" }')


@pytest.fixture
def home(tmp_path):
    rows = [f"J{n},S{n},T{n % 3},2025-01-{10 + n} 08:00" for n in range(15)]
    # Two visits that nothing tells apart but their number.
    rows += ["J20,S9,T1,2025-02-01 08:00", "J21,S9,T1,2025-02-01 08:00"]
    (tmp_path / "jobs.csv").write_text("\n".join(["Job,Site,Tech,Came", *rows]) + "\n")
    home = tmp_path / "home"
    loading.load(home, [tmp_path / "jobs.csv"], mapping=mapping_of(MAPPING))
    con = Store(home).open_reader()
    try:
        for visit_id, field, value in (
            ("J1", "cause_code", "hose_water"), ("J2", "cause_code", "fan_worn"), ("J20", "cause_code", "fan_worn")
        ):  # fmt: skip
            enter_correction(con, OwnWork(home), Settings(), visit_id, field, value, "seen", "chief")
    finally:
        con.close()
    cells = {"visit_id": "J3", "tested_at": "2025-02-10T10:00:00Z", "pressure_unit": "Pa", "make_1": "200",
             "rated_make_pressure": "200", "make_tolerance": "10"}  # fmt: skip
    enter_bench_test(OwnWork(home), Settings(), cells, "chief", new_id())
    loading.load(home, [])
    return home


def _query(home, query):
    con = Store(home).open_reader()
    try:
        return con.execute(query).fetchall()
    finally:
        con.close()


def _facts_of(home):
    con = Store(home).open_reader()
    try:
        names = read_relations(con, build.FOLDERS)
        return {name: sorted(map(repr, con.execute(f'SELECT * FROM "{name}"').fetchall())) for name in names}
    finally:
        con.close()


CAUSES = "SELECT visit_id, cause_code FROM visit WHERE cause_code IS NOT NULL ORDER BY 1"


def test_corrections_and_tests_go_with_their_visits_under_other_numbers(home, tmp_path):
    assert _query(home, CAUSES) == [("J1", "hose_water"), ("J2", "fan_worn"), ("J20", "fan_worn")]
    report = loading.load(home, [tmp_path / "jobs.csv"], mapping=mapping_of(OTHER_NUMBERS))
    assert _query(home, CAUSES) == [("CJ1", "hose_water"), ("CJ2", "fan_worn")]
    assert _query(home, "SELECT count(*) FROM correction") == [(2,)], "only those that change something count"
    assert _query(home, "SELECT visit_id FROM bench_result JOIN swap USING (swap_id)") == [("CJ3",)]
    assert report.notices == (
        "1 correction names a visit that is not on record any more and changes nothing; see Corrections, or: goodpull check",
    )


def test_the_same_again_under_the_old_numbers_and_every_step_is_a_full_build(home, tmp_path, monkeypatch):
    sessions = tmp_path / "coaching_sessions.csv"
    for turn, toml in enumerate((OTHER_NUMBERS, MAPPING)):
        loading.load(home, [tmp_path / "jobs.csv"], mapping=mapping_of(toml))
        stepwise = _facts_of(home)
        with monkeypatch.context() as whole:
            # A load that touches no visit, with everything built anew.
            whole.setattr(loading, "changes_since", lambda *_: None)
            sessions.write_text(f"session_id,technician_id,held_on\nc{turn},T9,2025-01-01\n")
            loading.load(home, [sessions])
        differing = [name for name, rows in _facts_of(home).items() if stepwise[name] != rows]
        assert set(differing) <= {"coaching_session"}
    assert _query(home, CAUSES) == [("J1", "hose_water"), ("J2", "fan_worn"), ("J20", "fan_worn")], "as they were"


def test_corrections_survive_another_mapping_that_keeps_the_numbers(home, tmp_path):
    other = MAPPING.replace('symptom = { value = "draft_not_proven" }', 'symptom = { value = "no_heat_other" }')
    report = loading.load(home, [tmp_path / "jobs.csv"], mapping=mapping_of(other))
    assert report.is_changed and not report.notices
    assert _query(home, "SELECT DISTINCT symptom FROM visit") == [("no_heat_other",)]
    assert _query(home, CAUSES) == [("J1", "hose_water"), ("J2", "fan_worn"), ("J20", "fan_worn")]


def _assert_full_build(home, monkeypatch, tmp_path):
    """The facts now are those of everything built anew."""
    stepwise = _facts_of(home)
    sessions = tmp_path / "coaching_sessions.csv"
    with monkeypatch.context() as whole:
        whole.setattr(loading, "changes_since", lambda *_: None)
        n = len(sessions.read_text().splitlines()) if sessions.exists() else 1
        held = "\n".join(f"c{i},T9,2025-01-01" for i in range(n))
        sessions.write_text(f"session_id,technician_id,held_on\n{held}\n")
        loading.load(home, [sessions])
    assert {name for name, rows in _facts_of(home).items() if stepwise[name] != rows} <= {"coaching_session"}


def test_undone_delivered_and_doubtful_corrections_reach_the_renumbered_visits(home, tmp_path, monkeypatch):
    loading.load(home, [tmp_path / "jobs.csv"], mapping=mapping_of(OTHER_NUMBERS))
    own = OwnWork(home)
    for kept in own.entries("correction", "bench_test"):
        if kept.entry.about in ("J1", "J3"):
            own.undo(kept.entry.entry_id, "was wrong", "chief")
    loading.load(home, [])
    assert _query(home, CAUSES) == [("CJ2", "fan_worn")] and _query(home, "SELECT count(*) FROM bench_result") == [(0,)]
    _assert_full_build(home, monkeypatch, tmp_path)
    (tmp_path / "corrections.csv").write_text(
        "correction_id,visit_id,corrected_field,new_value,reason,corrected_by,corrected_at\n"
        "c1,J5,cause_code,trap_fouled,seen,chief,2025-02-01T00:00:00Z\n"
    )
    loading.load(home, [tmp_path / "corrections.csv"])
    assert _query(home, CAUSES) == [("CJ2", "fan_worn"), ("CJ5", "trap_fouled")]
    _assert_full_build(home, monkeypatch, tmp_path)
    # One of the two visits that nothing told apart is left out: the other is meant now.
    one_less = OTHER_NUMBERS.replace(
        'table = "visits"\n', 'table = "visits"\nrows = [{ column = "Job", is_not = ["J21"] }]\n'
    )
    loading.load(home, [tmp_path / "jobs.csv"], mapping=mapping_of(one_less))
    assert _query(home, CAUSES) == [("CJ2", "fan_worn"), ("CJ20", "fan_worn"), ("CJ5", "trap_fouled")]
    _assert_full_build(home, monkeypatch, tmp_path)
