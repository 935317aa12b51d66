"""What a second load changes elsewhere than on its own rows: the facts are those of a full build of the same store."""

from __future__ import annotations

import pytest

from pipelines import build, loading
from pipelines.relations import read_relations
from pipelines.settings import Settings
from pipelines.store import Store

VISITS = "visit_id,job_id,site_id,appliance_id,technician_id,arrived_at,visit_kind,symptom,cause_code,follows_visit_id,notes\n"
APPLIANCES = "appliance_id,site_id,appliance_kind,installed_on,removed_on\n"
LINES = "visit_id,line_no,part_class,quantity\n"
CORRECTIONS = "correction_id,visit_id,corrected_field,new_value,reason,corrected_by,corrected_at\n"
# Enough sites that one of them is a small share.
OTHERS = "".join(f"X{n},,SX{n},,T,2025-01-01T10:00:00,no_heat,noise,,,\n" for n in range(40))
ONE = "v1,A,S1,,T,2025-01-10T10:00:00,no_heat,draft_not_proven,hose_water,,found water in the hose\n"
BACK = "v2,,S1,,T,2025-01-12T10:00:00,return_for_part,,,v1,\n"
NOISE = "v3,,S1,,T,2025-01-14T10:00:00,no_heat,noise,,,water in the hose to the switch\n"
FIRST = {"visits": VISITS + OTHERS + ONE + BACK + NOISE, "appliances": APPLIANCES + "F1,S1,furnace,2020-01-01,\n"}
FOLLOWS = {"corrections": CORRECTIONS + "C1,v3,link,v1,seen,chief,2025-02-01T10:00:00\n"}

CASES = {
    "the visit another follows gets a job number": (
        {"visits": VISITS + ONE.replace(",A,", ",B,")},
        "SELECT job_id FROM visit WHERE visit_id = 'v2'",
        ("A",),
        ("B",),
    ),
    "an appliance leaves the register of a site": (
        {"appliances": APPLIANCES + "F1,S1,furnace,2020-01-01,2024-06-01\n"},
        "SELECT appliance_key FROM visit WHERE visit_id = 'v1'",
        ("F1",),
        (None,),
    ),
    "a correction of the cause": (
        {"corrections": CORRECTIONS + "C2,v1,cause_code,fan_worn,seen,chief,2025-02-02T10:00:00\n"},
        "SELECT cause_code FROM root_cause WHERE draft_fault_id = 'v1'",
        ("hose_water",),
        ("fan_worn",),
    ),
    "the visit that a correction links to moves to another site": (
        {"visits": VISITS + ONE.replace(",S1,", ",SX1,")},
        "SELECT follows_visit_id FROM visit WHERE visit_id = 'v3'",
        ("v1",),
        (None,),
    ),
    "another note": (
        {"visits": VISITS + ONE.replace("found water in the hose", "done")},
        "SELECT n_note_characters FROM root_cause WHERE draft_fault_id = 'v1'",
        (23,),
        (4,),
    ),
    "a part line makes an older visit a draft fault, with the note it had": (
        {"part_lines": LINES + "v3,1,draft_switch,1\n"},
        "SELECT max(n_note_characters) FROM root_cause WHERE draft_fault_id = 'v3'",
        (None,),
        (31,),
    ),
}


def load(home, folder, tables):
    folder.mkdir()
    for name, text in tables.items():
        (folder / f"{name}.csv").write_text(text)
    report = loading.load(home, [folder])
    assert report.is_changed and all(file.n_held_back == 0 and file.error is None for file in report.files), report


def facts(con):
    names = read_relations(con, build.FOLDERS)
    return {name: sorted(map(repr, con.execute(f'SELECT * FROM "{name}"').fetchall())) for name in names}


@pytest.mark.parametrize("case", CASES)
def test_a_change_reaches_what_rests_on_it(tmp_path, monkeypatch, case):
    second, query, before, after = CASES[case]
    reports, whole = [], build.build
    monkeypatch.setattr(loading.build, "build", lambda *given: reports.append(whole(*given)))
    home = tmp_path / "home"
    load(home, tmp_path / "first", FIRST)
    load(home, tmp_path / "links", FOLLOWS)
    with Store(home).new_generation() as generation:
        assert generation.con.execute(query).fetchall() == [before]
    load(home, tmp_path / "second", second)
    assert [report.is_incremental for report in reports] == [False, True, True]
    with Store(home).new_generation() as generation:
        con = generation.con
        assert con.execute(query).fetchall() == [after]
        incremental = facts(con)
        assert not whole(con, Settings()).is_incremental
        assert facts(con) == incremental
