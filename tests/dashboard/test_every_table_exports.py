"""The bench list, the facts of a visit and the parts of a bench uncertainty can be taken away in three kinds."""

from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest
from page_texts import assert_drawn, opened, said, text_tables

from dashboard import roles, store_access
from pipelines.loading import load

N_DRAWN = 60


@pytest.fixture(scope="module")
def shelf_home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """As many tagged switches removed of late, none tested, as are drawn here."""
    home = tmp_path_factory.mktemp("shelf")
    visits = ["visit_id,site_id,technician_id,arrived_at,visit_kind,symptom,is_declared_complete"]
    lines = ["visit_id,line_no,part_class,quantity,removed_tag"]
    for number in range(N_DRAWN):
        visits.append(f"V{number},S{number},T1,2026-01-05T10:00:00Z,no_heat,draft_not_proven,yes")
        lines.append(f"V{number},1,draft_switch,1,TAG{number}")
    for name, rows in {"visits": visits, "part_lines": lines}.items():
        (home / f"{name}.csv").write_text("\n".join(rows) + "\n", "utf-8")
    load(home, [home / "visits.csv", home / "part_lines.csv"])
    return home


@pytest.mark.parametrize("served_home", ["shelf_home"], indirect=True)
def test_a_long_bench_list_is_shown_in_parts_and_exported_whole(
    served_home: Path, files: dict[str, Callable[[], bytes]]
) -> None:
    test = opened("bench")
    test.number_input(key="bench_number").set_value(N_DRAWN).run()
    assert_drawn(test)
    whole = pd.read_parquet(io.BytesIO(files["export_bench_list_parquet"]()))
    assert len(whole) == N_DRAWN and {"removed_tag", "selection_probability", "test_by"} <= set(whole)
    assert len(pd.read_csv(io.BytesIO(files["export_bench_list"]()))) == N_DRAWN
    assert len(pd.read_excel(io.BytesIO(files["export_bench_list_xlsx"]()), engine="openpyxl")) == N_DRAWN
    assert f"Lines 1 to 40 of {N_DRAWN}" in said(test)


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
def test_the_facts_of_a_visit_and_a_bench_uncertainty_have_titles_and_files(
    served_home: Path, files: dict[str, Callable[[], bytes]]
) -> None:
    with roles.whoever_has_the_files():
        visit = store_access.row(
            "SELECT min(visit_id) AS one FROM bench_result JOIN swap USING (swap_id) WHERE u_pa IS NOT NULL"
        )["one"]
    test = opened("this_week", visit=visit)
    assert_drawn(test)
    tables = [one for one in text_tables(test) if list(one) == ["What", "On record"]]
    assert {"Symptom", "together"} <= {cell for one in tables for cell in one["What"]}
    exported = [
        pd.read_csv(io.BytesIO(made()))
        for key, made in files.items()
        if key.startswith("export_") and "_" not in key[7:]
    ]
    firsts = {str(cell) for one in exported if list(one)[:1] == ["What"] for cell in one["What"]}
    assert {"Symptom", "together"} <= firsts
