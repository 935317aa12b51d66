"""Pairs on the Records page and at the command line: asked, decided, in the figures, remembered, taken back."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
import streamlit as st
from streamlit import config
from streamlit.testing.v1 import AppTest

from pipelines.loading import load
from pipelines.own_work import OwnWork
from pipelines.store import Store

# The pages ask for a sign-in wherever it is not certain that they listen on this machine only.
config.set_option("server.address", "127.0.0.1")


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Two spellings of one technician; two people of one name who were at two sites at once; one appliance twice."""
    records = tmp_path / "records"
    records.mkdir()
    tables = {
        "technicians": [
            "technician_id,technician_name,branch",
            "T1,Juan Ortiz,east", "T2,J. Ortiz,east", "K1,Ann Lee,east", "K2,Ann Lee,west",
        ],
        "appliances": ["appliance_id,site_id,model_code,serial_number", "A1,S1,M80,X40177", "B1,S1,M80,X-4O177"],
        "visits": [
            "visit_id,site_id,appliance_id,technician_id,arrived_at,visit_kind",
            "V1,S1,A1,T1,2025-01-10T10:00:00Z,no_heat", "V2,S1,B1,T2,2025-02-10T10:00:00Z,no_heat",
            "V3,S2,,K1,2025-01-10T10:00:00Z,no_heat", "V4,S3,,K2,2025-01-10T10:10:00Z,no_heat",
        ],
    }  # fmt: skip
    for name, rows in tables.items():
        (records / f"{name}.csv").write_text("\n".join(rows) + "\n", "utf-8")
    load(tmp_path / "home", [records])
    monkeypatch.setenv("GOODPULL_HOME", str(tmp_path / "home"))
    st.cache_data.clear()
    st.cache_resource.clear()
    return tmp_path / "home"


def asked(home: Path, query: str) -> list[tuple]:
    con = Store(home).open_reader()
    try:
        return con.execute(query).fetchall()
    finally:
        con.close()


def section() -> AppTest:
    def page() -> None:
        from dashboard import identity_page, own_entry

        own_entry.waiting()
        identity_page._section()

    test = AppTest.from_function(page, default_timeout=120)
    test.session_state["page_shown"] = "records"
    test.run()
    assert not test.exception, test.exception
    return test


def field(test: AppTest, kind: str, label: str):
    found = [one for one in getattr(test, kind) if one.label == label]
    assert len(found) == 1, f"{label}: {[one.label for one in getattr(test, kind)]}"
    return found[0]


def said(test: AppTest) -> str:
    return " ".join(one.value for one in [*test.markdown, *test.warning]).replace("\\", "")


def signed(test: AppTest, button: str) -> AppTest:
    assert field(test, "button", button).disabled
    field(test, "text_input", "Why").input("asked the branch")
    # The form that takes a decision back asks for the name, too; it stands below.
    next(one for one in test.text_input if one.label == "Your name").input("Chief")
    test.run()
    return field(test, "button", button).click().run()


def test_a_pair_is_joined_in_the_figures_after_one_click_and_asked_about_again_once_taken_back(home):
    test = section()
    assert "2 pairs of technicians: 1 likely and 1 that something speaks against" in said(test)
    assert "one writes an initial where the other writes the name (likely)" in said(test)
    field(test, "radio", "If they are the same, which id to keep").set_value("T2")
    signed(test, "The same")
    assert not test.exception and not test.error
    assert "1 entry is kept, but is not in the figures yet" in said(test)
    assert asked(home, "SELECT count(*) FROM visit WHERE technician_id = 'T2'") == [(1,)]
    field(test, "button", "Bring into the figures").click().run()
    assert asked(home, "SELECT count(*) FROM visit WHERE technician_id = 'T2'") == [(2,)]
    assert asked(home, "SELECT technician_id FROM delivered.visits ORDER BY visit_id LIMIT 2") == [("T1",), ("T2",)]
    assert "1 pair of technicians: 1 that something speaks against" in said(test)
    back = field(test, "selectbox", "Take a decision back")
    assert back.options[0].startswith("technician T2 is the same as T1")
    back.select(back.options[0])
    field(test, "text_input", "Why it is taken back").input("two people after all")
    test.run()
    field(test, "button", "Take back").click().run()
    assert "2 pairs of technicians" in said(test)
    load(home, [])
    assert asked(home, "SELECT count(*) FROM visit WHERE technician_id = 'T2'") == [(1,)]


def test_a_technician_who_signs_in_under_either_id_sees_the_sheet_of_the_kept_one(home, monkeypatch):
    from dashboard import remarks, roles, sign_in
    from pipelines.identity_decisions import enter_decision
    from pipelines.remarks import enter_remark

    (home / "settings.toml").write_text(
        '[people."jo@company.example"]\nrole = "technician"\ntechnician_id = "T2"\n', "utf-8"
    )
    monkeypatch.setenv(sign_in.FLAG, "on")
    monkeypatch.setattr(sign_in, "email", lambda: "jo@company.example")
    own = OwnWork(home)
    for n, one in enumerate(("T2", "T1", "K1")):
        enter_remark(own, one, "steps", f"of {one}", "jo@company.example", False, f"r{n}")
    assert roles.person().technician_id == "T2"
    con = Store(home).open_reader()
    made = enter_decision(con, own, "technician", "T1", "T2", True, "asked the branch", "chief")
    con.close()
    assert roles.person().technician_id == "T2", "the figures do not say so yet"
    load(home, [])
    assert roles.person().technician_id == "T1"
    roles.require_sheet("T1")
    for other in ("T2", "K1", None):
        with pytest.raises(roles.NotAllowed):
            roles.require_sheet(other)
    assert [(one.technician_id, one.text) for one in remarks.of("T1")] == [("T1", "of T2"), ("T1", "of T1")]
    assert remarks.take_back("T1", "r0", "")
    own.undo(made.entry_id, "two people", "chief")
    load(home, [])
    assert roles.person().technician_id == "T2"
    assert remarks.of("T2") == []


def test_what_speaks_against_is_told_and_the_refusal_is_remembered(home):
    test = section()
    which = field(test, "selectbox", "Which pair")
    which.select("K1 and K2").run()
    assert "1 time at two places at once or in one crew (visits V3 and V4); the branches differ" in said(test)
    signed(test, "Not the same")
    assert "1 pair of technicians: 1 likely" in said(test)
    assert "not in the figures yet" not in said(test)
    field(test, "radio", "Of whom").set_value("appliance").run()
    assert "1 pair of appliances: 1 near-certain" in said(test)
    signed(test, "The same")
    assert "No two appliances look alike" in said(test)
    assert len(OwnWork(home).entries("identity")) == 2


def test_only_those_who_may_enter_see_the_section(home, monkeypatch):
    def page() -> None:
        from dashboard import identity_page

        identity_page.show()

    from dashboard import roles

    monkeypatch.setattr(roles, "person", lambda: roles.Person("owner"))
    test = AppTest.from_function(page, default_timeout=120).run()
    assert not test.header and not test.exception
    assert section_is_refused(test)


def section_is_refused(test: AppTest) -> bool:
    def page() -> None:
        from dashboard import identity_page

        identity_page._section()

    tried = AppTest.from_function(page, default_timeout=120).run()
    return "open to the service manager and the trainer" in tried.exception[0].message


def goodpull(*arguments: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-c", "from dashboard.commands import main; main()", *arguments]
    return subprocess.run(
        command, capture_output=True, text=True, check=False, env=os.environ, cwd=Path(__file__).parents[2]
    )


def test_at_the_command_line(home):
    where = ("--home", str(home))
    listed = goodpull("identity", "list", *where)
    assert listed.returncode == 0, listed.stderr
    assert (
        "likely  technician  T1 ? T2" in listed.stdout and "near-certain  appliance  site S1  A1 ? B1" in listed.stdout
    )
    assert (
        "speaks against it  technician  K1 ? K2" in listed.stdout and "AGAINST: 1 time at two places" in listed.stdout
    )
    assert "technicians: 2 pairs wait" in listed.stderr and "WARNING" not in listed.stderr
    no = goodpull("identity", "different", "technician", "K1", "K2", "--reason", "two people", "--by", "Ann", *where)
    assert no.returncode == 0 and "take-in" not in no.stderr
    yes = goodpull("identity", "same", "technician", "T1", "T2", "--reason", "one person", "--by", "Ann", *where)
    assert yes.returncode == 0 and "goodpull own-work take-in" in yes.stderr
    refused = goodpull("identity", "same", "technician", "K1", "K2", "--reason", "one person", *where)
    assert refused.returncode == 1 and "Ann on " in refused.stderr
    assert goodpull("own-work", "take-in", *where).returncode == 0
    assert asked(home, "SELECT count(*) FROM visit WHERE technician_id = 'T1'") == [(2,)]
    listed = goodpull("identity", "list", "technician", *where)
    assert "technicians: 0 pairs wait" in listed.stderr
    assert "decided  technician  K1 is not K2  Ann" in listed.stdout
