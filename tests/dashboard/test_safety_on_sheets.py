"""The cautions stand where a visit with a safety cause is opened, and once above the cases a sheet leads to."""

from __future__ import annotations

from pathlib import Path

import pytest
import streamlit as st
from page_texts import APP, SECONDS, assert_drawn, opened
from streamlit.testing.v1 import AppTest

from dashboard import notices, sign_in
from models.figures.safety import SAFETY_CODES
from pipelines.loading import load

EMAIL = "t1@company.example"


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """One technician, a swap on each visit: a safety cause, one behind another cause, and a cause that is none."""
    (tmp_path / "visits.csv").write_text(
        "visit_id,site_id,technician_id,arrived_at,visit_kind,symptom,is_declared_complete,cause_code,contributing_cause_code\n"
        f"BREACH,S1,T1,2026-01-05T10:00:00Z,no_heat,draft_not_proven,yes,{SAFETY_CODES[0]},\n"
        f"BEHIND,S2,T1,2026-01-06T10:00:00Z,no_heat,draft_not_proven,yes,trap_fouled,{SAFETY_CODES[1]}\n"
        "TRAP,S3,T1,2026-01-07T10:00:00Z,no_heat,draft_not_proven,yes,trap_fouled,\n",
        "utf-8",
    )
    (tmp_path / "part_lines.csv").write_text(
        "visit_id,line_no,part_class,quantity\n"
        + "".join(f"{one},1,draft_switch,1\n" for one in ("BREACH", "BEHIND", "TRAP")),
        "utf-8",
    )
    home = tmp_path / "home"
    home.mkdir()
    (home / "settings.toml").write_text(f'[people."{EMAIL}"]\nrole = "technician"\ntechnician_id = "T1"\n', "utf-8")
    load(home, [tmp_path / "visits.csv", tmp_path / "part_lines.csv"])
    monkeypatch.setenv("GOODPULL_HOME", str(home))
    st.cache_data.clear()
    st.cache_resource.clear()
    return home


def blocks(test: AppTest) -> int:
    assert_drawn(test)
    return sum(notices.SAFETY_POINTS[0] in str(part.proto.body) for part in test.get("html"))


@pytest.mark.parametrize(("visit", "n"), [("BREACH", 1), ("BEHIND", 1), ("TRAP", 0)])
def test_the_sheet_of_a_visit_has_the_cautions_where_its_cause_is_a_safety_one(home: Path, visit: str, n: int) -> None:
    # Coaching has no such block of its own while no technician is chosen.
    assert blocks(opened("coaching", visit=visit)) == n


def test_the_cautions_stand_once_above_the_cases_of_a_sheet(home: Path) -> None:
    assert blocks(opened("coaching")) == 0
    test = opened("coaching")
    test.session_state["technician_choice"] = "T1"
    test.run()
    for case in ("TRAP", "BREACH", "BEHIND"):
        test.session_state["case_T1"] = case
        test.run()
        assert any(f"Visit {case}," in one.value for one in test.markdown)
        assert blocks(test) == 1, case


def test_they_stand_on_the_own_sheet_too(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(sign_in.FLAG, "on")
    test = AppTest.from_file(str(APP), default_timeout=SECONDS)
    test.user = {"is_logged_in": True, "email": EMAIL}
    test.run()
    assert test.title[0].value == "Your sheet"
    assert blocks(test) == 1
