"""From a visit to its appliance: every visit in order, drafts against the make point, and plain words where they lack."""

from __future__ import annotations

import html
import re
from pathlib import Path

import pandas as pd
import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest

from dashboard import appliance_history, roles
from dashboard.charts.draft_history import draft_history
from dashboard.roles import Person
from dashboard.theme import DARK, LIGHT
from pipelines.loading import load

TABLES = {
    "visits": """visit_id,site_id,appliance_id,technician_id,arrived_at,visit_kind,symptom,is_declared_complete
V1,S1,A1,T1,2025-01-05T10:00:00Z,no_heat,draft_not_proven,yes
V2,S1,A1,T2,2025-06-01T10:00:00Z,maintenance,,yes
V3,S1,A1,T1,2026-01-06T10:00:00Z,no_heat,draft_not_proven,yes
V4,S1,A2,T1,2026-01-07T10:00:00Z,no_heat,draft_not_proven,yes
V5,S2,,T1,2026-01-08T10:00:00Z,no_heat,draft_not_proven,yes
""",
    "appliances": """appliance_id,site_id,appliance_kind,rated_make_pressure,pressure_unit
A1,S1,furnace,0.60,in. w.c.
A2,S1,furnace,,
A3,S2,furnace,,
A4,S2,boiler,,
""",
    "readings": """visit_id,reading_no,quantity,value,unit,condition,contacts,taken
V1,1,draft_at_switch,0.40,in. w.c.,hot_running,open,before_repair
V1,2,draft_at_switch,0.90,in. w.c.,hot_running,closed,after_repair
V2,1,flue_temperature,120,Cel,hot_running,,
V3,1,draft_at_switch,0.01,in. w.c.,at_rest,open,before_repair
V3,2,draft_at_switch,0.70,in. w.c.,hot_running,closed,
""",
    "part_lines": "visit_id,line_no,part_number,part_class,quantity\nV1,1,P9,draft_switch,1\n",
}


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    for name, text in TABLES.items():
        (tmp_path / f"{name}.csv").write_text(text, "utf-8")
    home = tmp_path / "home"
    load(home, [tmp_path / f"{name}.csv" for name in TABLES])
    monkeypatch.setenv("GOODPULL_HOME", str(home))
    st.cache_data.clear()
    st.cache_resource.clear()
    return home


def sheet(visit_id: str) -> AppTest:
    def page(visit_id: str) -> None:
        from dashboard import visit_sheet

        visit_sheet.show(visit_id)

    test = AppTest.from_function(page, default_timeout=60, args=(visit_id,))
    test.session_state[f"history_sheet_{visit_id}"] = True
    reader = roles.person()
    test.session_state[roles.SHOWN] = roles.first_page(reader.role if reader else "manager")
    test.run()
    assert not test.exception
    return test


def text_of(test: AppTest) -> str:
    tables = " ".join(element.proto.body for element in test.get("html"))
    told = [element.value for kind in ("markdown", "caption") for element in getattr(test, kind)]
    plain = html.unescape(re.sub(r"<[^>]+>", " ", tables.replace("<wbr>", ""))) + " ".join(told)
    return re.sub(r"\s+", " ", plain.replace("\\", ""))


def history(test: AppTest) -> list[list[str]]:
    """The rows of the table of the history."""
    [table] = [one.proto.body for one in test.get("html") if "Switch pulled" in one.proto.body]
    return [
        [html.unescape(re.sub(r"<[^>]+>", "", cell)) for cell in re.findall(r"<td.*?</td>", row)]
        for row in re.findall(r"<tr>(.*?)</tr>", table)[1:]
    ]


def test_all_visits_of_the_appliance_stand_in_order(home: Path) -> None:
    test = sheet("V3")
    rows = history(test)
    assert [row[1] for row in rows] == ["V1", "V2", "V3 (this one)"]
    assert rows[0][5:9] == ["P9", "not tested", "0.40 in. w.c. (100 Pa)", "0.90 in. w.c. (224 Pa)"]
    assert rows[1][7:9] == ["", ""]
    text = text_of(test)
    assert "Appliance A1 (furnace): 3 visits, 5 Jan 2025 to 6 Jan 2026; a switch pulled on 1 of them." in text
    assert "1 reading at rest not drawn" in text
    assert "Never bypass, adjust or substitute a safety switch" in text
    assert len(test.get("vega_lite_chart")) == 1


def test_a_reading_opens_its_visit(home: Path) -> None:
    test = sheet("V3")
    box = test.selectbox(key="mark_of_history_sheet")
    assert box.options == [
        "6 Jan 2026: 0.70 in. w.c. (174 Pa)",
        "5 Jan 2025: 0.40 in. w.c. (100 Pa), 0.90 in. w.c. (224 Pa)",
    ]
    box.set_value("V1").run()
    assert not test.exception
    assert "Visit V1, 5 Jan 2025" in text_of(test)
    assert [one.label for one in test.expander] == ["The appliance's whole history", "Correct this record"]


def test_what_is_not_known_is_said(home: Path) -> None:
    text = text_of(sheet("V4"))
    assert "No reading is on record for any of these visits" in text
    text = text_of(sheet("V5"))
    assert "do not prove on which appliance" in text and "Switch pulled" not in text


def test_a_technician_sees_their_own_visits_only(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(roles, "person", lambda: Person("technician", "T1", "t@company.example"))
    test = sheet("V3")
    assert [row[1] for row in history(test)] == ["V1", "V3 (this one)"]
    assert "2 visits of yours" in text_of(test)


READINGS = pd.DataFrame(
    {
        "arrived_on": pd.to_datetime(["2025-01-05", "2025-01-05", "2026-01-06"]),
        "visit_id": ["V1", "V1", "V3"],
        "draft_pa": [100.0, 224.0, 174.0],
        "taken": ["before_repair", "after_repair", None],
        "contacts": ["open", "closed", None],
    }
)


@pytest.mark.parametrize("colours", [LIGHT, DARK])
def test_before_and_after_differ_by_shape_and_the_unit_is_the_readers(colours) -> None:
    picture = draft_history(READINGS, [149.45], colours, None)
    told = picture.chart.to_dict()
    shape = told["layer"][-1]["encoding"]["shape"]["scale"]
    assert shape["domain"] == ["before the repair", "after the repair", "not said when"]
    assert len(set(shape["range"])) == 3
    assert "rated make point 0.60 in. w.c." in picture.text and not picture.text.endswith("..")
    assert told["layer"][-1]["encoding"]["y"]["axis"]["title"] == "draft at the switch, in. w.c."
    in_pascal = draft_history(READINGS, [149.45], colours, "Pa")
    assert "between 100 and 224 Pa; rated make point 149 Pa." in in_pascal.text


def test_without_a_reading_or_a_make_point() -> None:
    assert draft_history(READINGS.iloc[0:0], [149.45], LIGHT) is None
    alone = draft_history(READINGS, [], LIGHT)
    assert "the rated make point is not on record" in alone.text
    assert len(alone.chart.to_dict()["layer"]) == 1
    assert "set against nothing" in appliance_history.beside([], READINGS, READINGS)[0]
    assert "more than one" in appliance_history.beside([1.0, 2.0], READINGS, READINGS)[0]


def test_each_switch_of_a_visit_has_its_own_bench_result() -> None:
    visit = {"arrived_on": pd.Timestamp("2025-01-05"), "visit_id": "V1", "visit_kind": "no_heat", "symptom": None,
             "cause_code": None, "before_pa": None, "after_pa": None, "technician_id": "T1"}  # fmt: skip
    pulled = [("P1, P2", "good, not tested"), (None, None)]
    frame = pd.DataFrame([visit | {"switches": switches, "verdicts": verdicts} for switches, verdicts in pulled])
    with roles.whoever_has_the_files(), pytest.MonkeyPatch.context() as patched:
        patched.setattr(appliance_history.code_names, "naming", lambda: str)
        told = appliance_history.lines(frame, "V9", None)
    assert [line[5:7] for line in told] == [("P1, P2", "good, not tested"), ("", "")]
