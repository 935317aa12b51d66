"""A switch diagnosed by one technician and fitted by a colleague on the return visit: both may open that visit, nobody else."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
import streamlit as st
from page_texts import APP, SECONDS, assert_drawn, said
from streamlit.testing.v1 import AppTest

from dashboard import (
    appliance_history,
    code_names,
    figures_access,
    own_visits,
    remarks,
    roles,
    sign_in,
    store_access,
    visit_sheet,
)
from dashboard.printed import packs, web_page
from models.figures.cases import WHAT
from models.figures.scope import Scope
from pipelines.loading import load
from pipelines.own_work import FILE_NAME, OwnWorkError, new_id

EMAIL = "{}@company.example"
ALL = Scope()


def people(**technicians: str) -> str:
    lines = [f'[people."{EMAIL.format("trainer")}"]\nrole = "trainer"']
    lines += [
        f'[people."{EMAIL.format(name)}"]\nrole = "technician"\ntechnician_id = "{one}"'
        for name, one in technicians.items()
    ]
    return "\n".join([*lines, ""])


@pytest.fixture
def act_as(monkeypatch: pytest.MonkeyPatch) -> Callable[[str], None]:
    return lambda name: monkeypatch.setattr(sign_in, "email", lambda: EMAIL.format(name).lower())


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Ann finds the fault, Ben fits the switch a week later; Cy was there the year before."""
    files = {
        "visits": "visit_id,job_id,site_id,appliance_id,technician_id,arrived_at,visit_kind,symptom,follows_visit_id,"
        "is_declared_complete,waits_for_part\n"
        "V0,,S1,A1,Cy,2025-01-05T10:00:00Z,maintenance,,,yes,no\n"
        "V1,J1,S1,A1,Ann,2026-01-05T10:00:00Z,no_heat,draft_not_proven,,no,yes\n"
        "V2,J1,S1,A1,Ben,2026-01-12T10:00:00Z,return_for_part,,V1,yes,no\n",
        "part_lines": "visit_id,line_no,part_class,part_number,quantity\nV2,1,draft_switch,P,1\n",
        "appliances": "appliance_id,site_id,appliance_kind\nA1,S1,furnace\n",
    }
    for name, text in files.items():
        (tmp_path / f"{name}.csv").write_text(text, "utf-8")
    home = tmp_path / "home"
    load(home, [tmp_path / f"{name}.csv" for name in files])
    (home / "settings.toml").write_text(people(ann="Ann", ben="Ben", cy="Cy"), "utf-8")
    monkeypatch.setenv("GOODPULL_HOME", str(home))
    monkeypatch.setenv(sign_in.FLAG, "on")
    st.cache_data.clear()
    st.cache_resource.clear()
    return home


def test_who_diagnosed_and_who_fitted_may_open_it_and_nobody_else(home: Path, act_as: Callable[[str], None]) -> None:
    seen = {"ann": ["V1", "V2"], "ben": ["V2"], "cy": ["V0"]}
    for name, own in seen.items():
        act_as(name)
        for visit_id in ("V0", "V1", "V2"):
            if visit_id in own:
                visit = visit_sheet.visit_of(visit_id)
                assert visit["visit_id"] == visit_id
                history = store_access.frame(appliance_history._HISTORY, appliance_history._bound(visit))
                assert history["visit_id"].tolist() == own, (name, "sees in the history what may be opened")
            else:
                with pytest.raises(roles.NotAllowed, match="Only your own visits"):
                    visit_sheet.visit_of(visit_id)
    act_as("ann")
    assert figures_access.visits_behind(ALL, "swaps", technician_id="Ann")["visit_id"].tolist() == ["V2"]


def test_the_sheet_of_who_diagnosed_is_whole(home: Path, act_as: Callable[[str], None]) -> None:
    test = AppTest.from_file(str(APP), default_timeout=SECONDS)
    test.user = {"is_logged_in": True, "email": EMAIL.format("ann")}
    test.run()
    assert_drawn(test)
    text = said(test)
    for part in (
        "Three visits to talk through",
        "Visit V2",
        "A remark stays beside the figure",
        "No coaching session with you",
    ):
        assert part in text, part
    assert "Only your own visits" not in text
    near = next(one.proto.body for one in test.get("html") if "Nearest other visits" in one.proto.body)
    assert "V1" in near and "V0" not in near, "of other visits to the site only her own"
    act_as("ann")
    document = packs.document("coaching", ALL, code_names.naming(False), "Ann", font=None)
    assert "visit V2" in web_page.web_page(document).decode().replace("<wbr>", "")


def test_a_remark_on_such_a_visit_is_kept(home: Path, act_as: Callable[[str], None]) -> None:
    for name in ("ann", "trainer"):
        act_as(name)
        assert remarks.enter("Ann", "visit V2", "It waited for the part.", "", new_id())
    for visit_id in ("V0", "V1"):
        with pytest.raises(OwnWorkError, match="no visit of theirs"):
            remarks.enter("Ben", f"visit {visit_id}", "x", "", new_id())
    with pytest.raises(OwnWorkError, match="no visit of theirs"):
        remarks.enter("Ann", "V2", "x", "", new_id())


@pytest.fixture
def fleet(fleet_home: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[list[str]]:
    """The technicians of the fleet who diagnosed a switch that a colleague fitted, each on the list of people."""
    shutil.copytree(fleet_home, tmp_path / "home")
    monkeypatch.setenv("GOODPULL_HOME", str(tmp_path / "home"))
    st.cache_data.clear()
    st.cache_resource.clear()
    with roles.whoever_has_the_files():
        swaps = store_access.frame(
            "SELECT DISTINCT diagnosed_by FROM swap WHERE diagnosed_by <> technician_id ORDER BY 1"
        )
    found = swaps["diagnosed_by"].tolist()
    (tmp_path / "home" / "settings.toml").write_text(people(**{one: one for one in found}), "utf-8")
    monkeypatch.setenv(sign_in.FLAG, "on")
    yield found
    for file in (tmp_path / "home").glob(f"{FILE_NAME}*"):
        file.unlink()


def test_whatever_a_list_of_theirs_names_can_be_opened(fleet: list[str], act_as: Callable[[str], None]) -> None:
    assert fleet
    for one in fleet:
        act_as(one)
        for what in WHAT:
            for visit_id in figures_access.visits_behind(ALL, what, None, technician_id=one)["visit_id"].unique():
                own_visits.require(visit_id)
        packs.document("coaching", ALL, code_names.naming(False), one, font=None)
