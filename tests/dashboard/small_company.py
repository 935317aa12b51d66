"""A home of six draft faults, each with a tagged switch, and the steps of entering things into its pages."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest

from pipelines.loading import load
from pipelines.store import Store

DAY = dt.datetime.now(dt.UTC).date() - dt.timedelta(days=3)


def made_home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Six draft faults, each with a tagged switch that makes at 200 Pa, and two visits that are held back."""
    records = tmp_path / "records"
    records.mkdir()
    visits = [
        "visit_id,site_id,appliance_id,technician_id,arrived_at,visit_kind,symptom,cause_code,is_declared_complete"
    ]
    lines = ["visit_id,line_no,part_number,part_class,quantity,removed_tag"]
    for n in range(6):
        visits.append(f"V{n},S{n},A{n},T{n % 2},{DAY}T10:00:00Z,no_heat,draft_not_proven,fan_worn,yes")
        lines.append(f"V{n},1,SW,draft_switch,1,TAG{n}")
    visits += [f"X{n},S{n},A{n},T1,{DAY}T1{n}:00:00Z,no_heat,drft,,yes" for n in range(2)]
    tables = {
        "visits": visits,
        "part_lines": lines,
        "technicians": ["technician_id,technician_name", "T0,Anna", "T1,Ben"],
        "parts": [
            "part_number,part_class,rated_make_pressure,make_tolerance,pressure_unit",
            "SW,draft_switch,200,10,Pa",
        ],
        "gauges": ["gauge_id,full_scale,resolution,unit,accuracy_percent_full_scale", "G1,500,1,Pa,0.5"],
    }
    for name, rows in tables.items():
        (records / f"{name}.csv").write_text("\n".join(rows) + "\n", "utf-8")
    home = tmp_path / "home"
    home.mkdir()
    (home / "settings.toml").write_text('default_pressure_unit = "Pa"\n', "utf-8")
    load(home, [records])
    monkeypatch.setenv("GOODPULL_HOME", str(home))
    st.cache_data.clear()
    st.cache_resource.clear()
    return home


def asked(home: Path, query: str) -> list[tuple]:
    con = Store(home).open_reader()
    try:
        return con.execute(query).fetchall()
    finally:
        con.close()


def field(test: AppTest, kind: str, label: str):
    """The widget with this label."""
    found = [one for one in getattr(test, kind) if one.label == label]
    assert len(found) == 1, f"{label}: {[one.label for one in getattr(test, kind)]}"
    return found[0]


def bench(test: AppTest, makes: tuple[str, ...], tag: str = "TAG0", name: str = "Tess") -> AppTest:
    field(test, "text_input", "Your name").input(name) if len(
        [one for one in test.text_input if one.label == "Your name"]
    ) == 1 else next(one for one in test.text_input if one.key == "who_bench").input(name)
    field(test, "selectbox", "Tag of the switch").select("Another tag").run()
    field(test, "text_input", "The tag").input(tag).run()
    for turn, make in enumerate(makes, 1):
        field(test, "text_input", f"Makes at, reading {turn}").input(make)
    field(test, "selectbox", "Gauge").select("G1")
    return test.run()
