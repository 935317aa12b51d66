"""A small foreign export on the Records page, and what a test does with the page's controls."""

from __future__ import annotations

import csv
from pathlib import Path

import page_texts
import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest

from pipelines.mapping.declared import ColumnRule, Mapping
from pipelines.mapping.mapping_file import mapping_of
from pipelines.mapping.writing import toml_of

HEADER = ["WO #", "Location", "Tech", "Day", "Hour", "Call Type", "Part/Class", "Draft start", "Draft run"]
ROWS = [
    ["W1", "L1", "J. Ortiz", "31/01/2025", "08:00", "no_heat", "PS-1 / draft_switch", "150 Pa", "210 Pa"],
    ["W2", "L2", "Ortiz J", "13/02/2025", "09:30", "maintenance", "", "", "190 Pa"],
    ["W3", "L1", "Lee", "02/03/2025", "10:15", "no_heat", "H-2 / hose", "", ""],
]


def begun(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> AppTest:
    """The page of an empty home, the columns of the export read."""
    export = tmp_path / "jobs.csv"
    with export.open("w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows([HEADER, *ROWS])
    (tmp_path / "home").mkdir()
    monkeypatch.setenv("GOODPULL_HOME", str(tmp_path / "home"))
    st.cache_data.clear()
    st.cache_resource.clear()
    page = page_texts.opened("records")
    page.text_input(key="map_path").set_value(str(export)).run()
    page.button(key="map_propose").click().run()
    page_texts.assert_drawn(page)
    return page


def drafted(page: AppTest) -> Mapping:
    """The mapping as it stands; it reads back from its text to itself."""
    mapping = page.session_state["map_draft"].mapping
    assert mapping_of(toml_of(mapping)) == mapping
    return mapping


def rules(page: AppTest, table: str) -> dict[str, ColumnRule]:
    found = [made for source in drafted(page).sources for made in source.tables if made.table_name == table]
    return dict(found[-1].columns)


def labelled(elements, label: str):
    (found,) = [one for one in elements if one.label == label]
    return found


def boxes(page: AppTest) -> str:
    """What the keys of the boxes of the only file begin with."""
    return f"map_{page.session_state['map_draft'].round}_0"


def shape(page: AppTest, table: str, field: str) -> None:
    n = [made.table_name for made in page.session_state["map_draft"].mapping.sources[0].tables].index(table)
    page.selectbox(key=f"{boxes(page)}_{n}_shape_of").set_value(field).run()


def sent(page: AppTest, label: str) -> None:
    labelled(page.button, label).click().run()
    page_texts.assert_drawn(page)
