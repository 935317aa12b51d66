"""Records loaded in two steps give the facts that a full build of the same store gives."""

from __future__ import annotations

import pytest

from pipelines import build, loading
from pipelines.relations import read_relations
from pipelines.settings import Settings
from pipelines.store import Store

VISITS = "visit_id,site_id,technician_id,arrived_at,visit_kind,symptom,is_declared_complete\n"
LINES = "visit_id,line_no,part_class,quantity,removed_tag\n"
TESTS = "bench_test_id,removed_tag,tested_at,pressure_unit,make_1,rated_make_pressure\n"
# Enough sites that two of them are a small share.
OTHERS = "".join(f"X{n},SX{n},T,2025-01-01T10:00:00,no_heat,noise,yes\n" for n in range(40))


def facts(con):
    return {
        name: sorted(map(repr, con.execute(f'SELECT * FROM "{name}"').fetchall()))
        for name in read_relations(con, build.FOLDERS)
    }


def load(home, folder, **texts):
    folder.mkdir()
    for name, text in texts.items():
        (folder / f"{name}.csv").write_text(text)
    assert loading.load(home, [folder]).is_changed


@pytest.mark.parametrize(
    ("second", "matched"),
    [
        ({"part_lines": LINES + "v2,1,draft_switch,1,OTHER\n"}, "v1#1"),
        ({"part_lines": LINES + "v2,1,draft_switch,1,\n"}, "v1#1"),
        ({"part_lines": LINES + "v1,1,draft_switch,1,OTHER\n"}, "v2#1"),
        ({"bench_tests": TESTS + "B,T-1,2025-01-11T10:00:00,Pa,200,200\n"}, "v1#1"),
    ],
)
def test_a_tag_or_test_that_changes_moves_the_result_of_another_site(tmp_path, second, matched):
    """Two sites with the same tag, one bench test: it belongs to the latest swap of that tag before it."""
    home = tmp_path / "home"
    visits = "v1,S1,T,2025-01-10T10:00:00,no_heat,draft_not_proven,yes\n"
    visits += "v2,S2,T,2025-01-12T10:00:00,no_heat,draft_not_proven,yes\n"
    load(
        home,
        tmp_path / "first",
        visits=VISITS + OTHERS + visits,
        part_lines=LINES + "v1,1,draft_switch,1,T-1\nv2,1,draft_switch,1,T-1\n",
        bench_tests=TESTS + "B,T-1,2025-01-15T10:00:00,Pa,200,200\n",
    )
    load(home, tmp_path / "second", **second)
    with Store(home).new_generation() as generation:
        con = generation.con
        incremental = facts(con)
        assert con.execute("SELECT swap_id FROM bench_result").fetchall() == [(matched,)]
        assert not build.build(con, Settings()).is_incremental
        assert facts(con) == incremental
