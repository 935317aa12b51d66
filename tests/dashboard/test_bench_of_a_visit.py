"""A bench result stands on the visit whose switch was tested, and on no other, whatever characters its id holds."""

from __future__ import annotations

from pathlib import Path

import pytest
import streamlit as st

from dashboard import code_names, roles, visit_sheet
from dashboard.printed import packs, web_page
from models.figures.scope import Scope
from pipelines.loading import load


@pytest.mark.parametrize("other", ["24_1", "24%", "24A1#1"])
def test_a_visit_shows_no_bench_result_of_another(other: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    one = "24A1#1#1" if "#" in other else "24A1"
    files = {
        "visits": "visit_id,site_id,technician_id,arrived_at,visit_kind,symptom,is_declared_complete\n"
        f"{one},S1,T1,2026-01-05T10:00:00Z,no_heat,draft_not_proven,yes\n"
        f"{other},S2,T2,2026-01-06T10:00:00Z,no_heat,draft_not_proven,yes\n",
        "part_lines": "visit_id,line_no,part_class,part_number,quantity,removed_tag\n"
        f"{one},1,draft_switch,P,1,TAG-A\n{other},1,draft_switch,P,1,TAG-B\n",
        "bench_tests": "bench_test_id,removed_tag,visit_id,tested_at,pressure_unit,make_1,rated_make_pressure,is_diaphragm_torn\n"
        f"B1,TAG-A,{one},2026-01-08T10:00:00Z,Pa,200,200,yes\n",
    }
    for name, text in files.items():
        (tmp_path / f"{name}.csv").write_text(text, "utf-8")
    load(tmp_path / "home", [tmp_path / f"{name}.csv" for name in files])
    monkeypatch.setenv("GOODPULL_HOME", str(tmp_path / "home"))
    st.cache_data.clear()
    st.cache_resource.clear()
    with roles.whoever_has_the_files():
        assert [bench.verdict for bench in visit_sheet.benches(one)] == ["faulty"]
        assert visit_sheet.benches(other) == []
        made = packs.document("coaching", Scope(), code_names.naming(False), "T2", font=None)
    page = web_page.web_page(made).decode()
    assert "not tested" in page and "Diaphragm torn" not in page
