"""`goodpull own-work coached`: refused in words, kept, listed, taken in, taken back by its first letters."""

from __future__ import annotations

from pipelines.loading import load
from pipelines.store import Store


def test_a_session_is_written_down_by_a_command(goodpull, tmp_path):
    visits = tmp_path / "visits.csv"
    visits.write_text(
        "visit_id,site_id,technician_id,arrived_at,visit_kind,symptom\n"
        "V1,S1,T1,2025-01-10T10:00:00Z,no_heat,draft_not_proven\n"
    )
    load(tmp_path / "home", [visits])
    home = ("--home", tmp_path / "home")

    def sessions() -> list[tuple]:
        con = Store(tmp_path / "home").open_reader()
        try:
            return con.execute(
                "SELECT technician_id, held_on::VARCHAR, topic, coach_id FROM coaching_session"
            ).fetchall()
        finally:
            con.close()

    for cells, said in (
        (("T9", "2025-02-01", "hose"), "no such technician is on record"),
        (("T1", "2025-02-01", "manners"), "must be one of hose"),
        (("T1", "2999-02-01", "hose"), "must lie between"),
    ):
        refused = goodpull("own-work", "coached", *cells, *home)
        assert refused.returncode == 1 and said in " ".join(refused.stderr.split())
        assert "Traceback" not in refused.stderr
    assert goodpull("own-work", "list", *home).stdout == ""
    done = goodpull("own-work", "coached", "T1", "2025-02-01", "hose", "--remark", "both ports", "--by", "Ann", *home)
    assert done.returncode == 0 and "goodpull own-work take-in" in done.stderr
    listed = goodpull("own-work", "list", *home)
    assert "coaching_session  T1  held on 2025-02-01 by Ann, hose  Ann  both ports" in listed.stdout
    assert "1 not in the figures yet" in listed.stderr
    assert goodpull("own-work", "take-in", *home).returncode == 0
    assert sessions() == [("T1", "2025-02-01", "hose", "Ann")]
    undone = goodpull("own-work", "undo", listed.stdout[:8], "--reason", "another day", *home)
    assert undone.returncode == 0 and goodpull("own-work", "take-in", *home).returncode == 0
    assert sessions() == []
