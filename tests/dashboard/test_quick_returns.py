"""A second visit within days stands with the earlier visit's readings beside it, and never with its own as theirs."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
import streamlit as st
from page_texts import assert_drawn, opened, said, text_tables
from shown_texts import tables

from dashboard import code_names, lookups, roles, visit_list, visit_table
from dashboard.printed import web_page
from dashboard.printed.week import week_pack
from models.figures.scope import Scope
from pipelines.loading import load

# Draft read at the switch on the first and on the second visit, running, contacts open: short of the make point of 200 Pa,
# and far past it.
FIRST_PA, SECOND_PA, MAKE_PA = 151, 263, 200


@pytest.fixture
def returned_home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """One site seen twice within eight days, both visits with a reading; another site whose first visit has none."""
    files = {
        "visits": [
            "visit_id,site_id,appliance_id,technician_id,arrived_at,visit_kind,symptom,is_declared_complete",
            "FIRST1,S1,A1,T1,2026-01-05T10:00:00Z,no_heat,draft_not_proven,yes",
            "SECOND1,S1,A1,T2,2026-01-13T10:00:00Z,no_heat,draft_not_proven,yes",
            "FIRST2,S2,A2,T1,2026-01-06T10:00:00Z,no_heat,draft_not_proven,yes",
            "SECOND2,S2,A2,T2,2026-01-12T10:00:00Z,no_heat,draft_not_proven,yes",
        ],
        "appliances": [
            "appliance_id,site_id,rated_make_pressure,make_tolerance,pressure_unit",
            f"A1,S1,{MAKE_PA},10,Pa",
        ],
        "readings": [
            "visit_id,reading_no,quantity,value,unit,condition,contacts,taken",
            f"FIRST1,1,draft_at_switch,{FIRST_PA},Pa,hot_running,open,before_repair",
            f"SECOND1,1,draft_at_switch,{SECOND_PA},Pa,hot_running,open,before_repair",
        ],
    }
    for name, lines in files.items():
        (tmp_path / f"{name}.csv").write_text("\n".join(lines) + "\n", "utf-8")
    home = tmp_path / "home"
    home.mkdir()
    (home / "settings.toml").write_text('default_pressure_unit = "Pa"\n', "utf-8")
    load(home, [tmp_path / f"{name}.csv" for name in files])
    monkeypatch.setenv("GOODPULL_HOME", str(home))
    st.cache_data.clear()
    st.cache_resource.clear()
    return home


def test_the_readings_beside_a_second_visit_are_the_first_ones(returned_home: Path) -> None:
    with roles.whoever_has_the_files():
        rows = lookups.quick_returns(Scope()).rows.set_index("visit_id")
        first = rows.loc["SECOND1"]
        assert (first["first_visit_id"], first["technician_id"]) == ("FIRST1", "T2")
        assert first["first_evidence"] == "condemnation_not_supported"
        assert (first["first_draft_pa"], first["first_make_pa"]) == (FIRST_PA, MAKE_PA)
        assert first["first_margin_pa"] == FIRST_PA - MAKE_PA
        # A reading of the second visit would stand under these names.
        assert not {"evidence", "margin_pa"} & set(rows.columns)
        table = visit_table.readable(lookups.quick_returns(Scope()).rows, str, "Pa").set_index("Visit")
        in_inches = visit_table.readable(lookups.quick_returns(Scope()).rows, str, None).set_index("Visit")
        columns, lines = visit_list.lines(lookups.quick_returns(Scope()).rows, str)
    assert table.loc["SECOND1", "First visit"] == "FIRST1"
    assert table.loc["SECOND1", "Readings the first time"] == "not supported"
    assert table.loc["SECOND1", "Margin the first time, Pa"] == FIRST_PA - MAKE_PA
    assert not {"Readings say", "Draft margin, Pa"} & set(table.columns)
    assert in_inches.loc["SECOND1", "Draft the first time, in. w.c."] == 0.61
    by_visit = {line[1]: dict(zip([title for title, _ in columns], line, strict=True)) for line in lines}
    assert by_visit["SECOND1"]["First visit"] == "FIRST1"
    assert by_visit["SECOND1"]["Draft, make point then, Pa"] == f"{FIRST_PA}, {MAKE_PA}"
    assert by_visit["SECOND2"]["Readings the first time"] == "no reading"
    assert by_visit["SECOND2"]["Draft, make point then, Pa"] == ""


def test_the_page_its_window_and_the_paper_show_the_first_visit(returned_home: Path) -> None:
    test = opened("this_week")
    assert_drawn(test)
    (beside,) = [one for one in text_tables(test) if "First visit" in one]
    assert beside["Visit"] == ["SECOND1", "SECOND2"] and beside["First visit"] == ["FIRST1", "FIRST2"]
    assert beside["Readings the first time"][0] == "not supported"
    test.button(key="brief_returns").click().run()
    assert_drawn(test)
    (window,) = tables(test)
    assert window["First visit"].tolist() == ["FIRST1", "FIRST2"]
    assert window["Readings the first time"].tolist() == ["not supported", "no reading"]
    assert window["Margin the first time, Pa"].tolist() == ["-49", ""]
    assert f"{SECOND_PA}" not in said(test)
    with roles.whoever_has_the_files():
        page = web_page.web_page(week_pack(Scope(), code_names.naming(), None)).decode()
    paper = re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page.replace("<wbr>", "").replace("\u200b", "")))
    assert re.search(rf"SECOND1 .*FIRST1 not supported {FIRST_PA}, {MAKE_PA}", paper)
    assert f"{SECOND_PA}" not in paper
