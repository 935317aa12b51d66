"""The sheet of a visit shows the words the note was read by, as text."""

from __future__ import annotations

import html
import re
from pathlib import Path

import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest

from dashboard import visit_sheet
from pipelines.loading import load


@pytest.fixture
def noted_home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Two draft faults: one whose note describes the cause, one whose note knows nothing."""
    (tmp_path / "visits.csv").write_text(
        "visit_id,site_id,technician_id,arrived_at,visit_kind,symptom,cause_code,is_declared_complete,notes\n"
        "V1,S1,T1,2026-01-05T10:00:00Z,no_heat,draft_not_proven,trap_fouled,yes,"
        '"Trap <b>full</b>. Drain Plugged, no water in hose, .62 wc on start, did not replace switch"\n'
        "V2,S2,T1,2026-01-06T10:00:00Z,no_heat,draft_not_proven,trap_fouled,yes,zzz\n",
        "utf-8",
    )
    (tmp_path / "part_lines.csv").write_text(
        "visit_id,line_no,part_number,part_class,quantity,line_status\nV1,1,SW,draft_switch,1,quoted\nV1,2,TR,trap,2,\n"
    )
    home = tmp_path / "home"
    load(home, [tmp_path / "visits.csv", tmp_path / "part_lines.csv"])
    monkeypatch.setenv("GOODPULL_HOME", str(home))
    st.cache_data.clear()
    st.cache_resource.clear()
    return home


def shown(visit_id: str) -> str:
    def sheet(visit_id: str) -> None:
        from dashboard import visit_sheet

        visit_sheet.show(visit_id)

    test = AppTest.from_function(sheet, default_timeout=60, args=(visit_id,)).run()
    assert not test.exception
    tables = " ".join(element.proto.body for element in test.get("html"))
    assert "<b>" not in tables
    return html.unescape(re.sub(r"<[^>]+>", " ", tables.replace("<wbr>", ""))) + " ".join(
        element.value for element in test.markdown
    )


def test_the_words_stand_beside_the_note_and_beside_the_root_cause(noted_home: Path) -> None:
    text = re.sub(r"\s+", " ", shown("V1"))
    assert "Rests on the words Drain Plugged" in text
    assert "Something wrong Drain Plugged" in text
    assert "Sound, not done or left open no water in hose; did not replace switch" in text
    assert "Draft in words, not a reading .62 wc" in text


def test_a_note_of_unknown_words_says_so(noted_home: Path) -> None:
    text = shown("V2")
    assert "No words in it that the reader of notes knows" in text
    assert "Rests on the words" not in text


def test_every_column_of_the_parts_has_a_title(noted_home: Path) -> None:
    assert all(title for title, _ in visit_sheet.PART_COLUMNS)
    text = re.sub(r"\s+", " ", shown("V1"))
    assert "Part Number What became of it Quantity draft switch SW quoted 1 trap TR fitted 2" in text
