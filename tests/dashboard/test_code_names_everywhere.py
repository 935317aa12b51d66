"""Code names are asked for once: on every page, in the address, and only by readers who may see names."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from page_texts import APP, SECONDS, assert_drawn, opened, said, text_tables
from streamlit.testing.v1 import AppTest

from dashboard import code_names, roles, sign_in, store_access
from pipelines.loading import load

EMAIL = "{}@company.example"
PAGES = ("coaching", "parts_waste", "seasons", "bench", "records", "corrections", "method", "this_week")


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
def test_code_names_hold_in_the_address_on_every_page(served_home: Path) -> None:
    with roles.whoever_has_the_files():
        names = store_access.frame("SELECT technician_name AS one FROM technician")["one"].dropna()
    test = opened("this_week", code_names="true")
    for name in PAGES:
        test.switch_page(f"views/{name}.py").run()
        for _ in range(2):
            assert_drawn(test)
            assert test.query_params[code_names.SWITCH_KEY] == "true", name
            assert test.toggle(key=code_names.SWITCH_KEY).value is True, name
            text = said(test)
            assert not [one for one in names if one in text], name
            test.run()


@pytest.mark.parametrize(("role", "n"), [("trainer", 1), ("owner", 0), ("technician", 0)])
def test_the_switch_is_for_whoever_sees_names(
    role: str, n: int, fleet_home: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    home = tmp_path / "home"
    shutil.copytree(fleet_home, home)
    monkeypatch.setenv("GOODPULL_HOME", str(home))
    with roles.whoever_has_the_files():
        one = store_access.row("SELECT min(technician_id) AS one FROM technician")["one"]
    own = f'technician_id = "{one}"\n' if role == "technician" else ""
    (home / "settings.toml").write_text(f'[people."{EMAIL.format(role)}"]\nrole = "{role}"\n{own}', "utf-8")
    monkeypatch.setenv(sign_in.FLAG, "on")
    test = AppTest.from_file(str(APP), default_timeout=SECONDS)
    test.user = {"is_logged_in": True, "email": EMAIL.format(role)}
    test.run()
    assert_drawn(test)
    assert len([one for one in test.toggle if one.key == code_names.SWITCH_KEY]) == n


@pytest.fixture(scope="module")
def coached_home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two sessions on record: one held by a technician on record, one by somebody else."""
    home = tmp_path_factory.mktemp("coached")
    files = {
        "technicians": ("technician_id,branch", "TECH1,north", "TECH2,south"),
        "visits": (
            "visit_id,site_id,technician_id,arrived_at,visit_kind,symptom,is_declared_complete",
            "V1,S1,TECH1,2026-01-05T10:00:00Z,no_heat,draft_not_proven,yes",
            "V2,S2,TECH2,2026-01-06T10:00:00Z,no_heat,draft_not_proven,yes",
        ),
        "coaching_sessions": (
            "session_id,technician_id,held_on,coach_id",
            "C1,TECH1,2026-01-07,TECH2",
            "C2,TECH2,2026-01-08,Kim",
        ),
    }
    for name, rows in files.items():
        (home / f"{name}.csv").write_text("\n".join(rows) + "\n", "utf-8")
    load(home, [home / f"{name}.csv" for name in files])
    return home


@pytest.mark.parametrize("served_home", ["coached_home"], indirect=True)
def test_a_coach_on_record_stands_under_the_code_name(served_home: Path) -> None:
    test = opened("coaching", code_names="true")
    assert_drawn(test)
    (log,) = [table for table in text_tables(test) if "Held on" in table]
    with roles.whoever_has_the_files():
        code = code_names.naming(True)("TECH2")
    assert set(log["Coach"]) == {code, "Kim"}
    (log,) = [table for table in text_tables(opened("coaching")) if "Held on" in table]
    assert set(log["Coach"]) == {"TECH2", "Kim"}, "a name is not on record"
