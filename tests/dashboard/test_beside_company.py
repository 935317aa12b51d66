"""On the own sheet and pack the figure of all technicians tells nothing of a single colleague, however the filters are set."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pandas as pd
import pytest
import streamlit as st
from page_texts import APP, SECONDS, assert_drawn, said
from streamlit.testing.v1 import AppTest

from dashboard import beside_company, code_names, figures_access, roles, sign_in, store_access, technician_sheet, words
from dashboard.printed import packs, web_page
from models.figures.coaching_effect import CoachingEffect
from models.figures.scope import Scope

ALL = Scope()
ADDRESS = {role: f"{role}@company.example" for role in ("trainer", "technician")}


@pytest.fixture
def served(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[Path, str], None]:
    """Puts a copy of a home in force, with sign-in, for this technician and their trainer."""

    def now(home: Path, own: str) -> None:
        shutil.copytree(home, tmp_path / own)
        lines = [f'[people."{ADDRESS["trainer"]}"]', 'role = "trainer"', f'[people."{ADDRESS["technician"]}"]']
        lines += ['role = "technician"', f'technician_id = "{own}"', ""]
        (tmp_path / own / "settings.toml").write_text("\n".join(lines), "utf-8")
        monkeypatch.setenv("GOODPULL_HOME", str(tmp_path / own))
        monkeypatch.setenv(sign_in.FLAG, "on")
        st.cache_data.clear()
        st.cache_resource.clear()

    return now


@pytest.fixture
def act_as(monkeypatch: pytest.MonkeyPatch) -> Callable[[str], None]:
    return lambda role: monkeypatch.setattr(sign_in, "email", lambda: ADDRESS[role])


def narrow(home: Path, monkeypatch: pytest.MonkeyPatch) -> tuple[str, Scope]:
    """A technician with swaps, and filters that leave them and few others."""
    monkeypatch.setenv("GOODPULL_HOME", str(home))
    with roles.whoever_has_the_files():
        one = store_access.row(
            "SELECT branch, appliance_kind, max_by(technician_id, n) AS own FROM "
            "(SELECT f.branch, f.appliance_kind, f.technician_id, count(s.swap_id) AS n FROM draft_fault AS f LEFT JOIN "
            "swap_case AS s ON s.draft_fault_id = f.draft_fault_id GROUP BY ALL) "
            "WHERE branch IS NOT NULL AND appliance_kind IS NOT NULL GROUP BY ALL "
            "HAVING count(*) BETWEEN 2 AND 5 AND max(n) > 0 ORDER BY count(*), max(n) DESC, branch, appliance_kind"
        )
    return one["own"], Scope(branch=one["branch"], appliance_kind=one["appliance_kind"])


def pack(own: str, scope: Scope) -> str:
    document = packs.document("coaching", scope, code_names.naming(False), own, font=None)
    return re.sub(r"<[^>]+>", "|", web_page.web_page(document).decode().replace("<wbr>", ""))


def company_rates(text: str) -> list[str]:
    """The last number of the line of each step in a pack."""
    found = []
    for step in technician_sheet.STEPS.values():
        cells = re.search(rf"\|{re.escape(step)}\|((?:[\s|]*[^|]+\|){{3}})", text)
        assert cells, step
        found.append([one for one in cells[1].split("|") if one.strip()][-1])
    return found


def test_a_narrow_filter_tells_nothing_of_a_single_colleague(
    fleet_home: Path,
    served: Callable[[Path, str], None],
    act_as: Callable[[str], None],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    own, scope = narrow(fleet_home, monkeypatch)
    served(fleet_home, own)
    act_as("technician")
    whole, part = (figures_access.technicians(one) for one in (ALL, scope))
    assert 2 <= len(part.table) <= 5 < len(whole.table)
    wanted = [(technician_sheet.company_step(whole.table, name)) for name in technician_sheet.STEPS]
    assert wanted != [technician_sheet.company_step(part.table, name) for name in technician_sheet.STEPS]
    shown = company_rates(pack(own, scope))
    assert shown == company_rates(pack(own, ALL)) == [words.share(done / n) for done, n in wanted]
    compared = part.table.assign(
        value=0.2, low=0.1, high=0.3, expected=1.0, expected_rate=0.1, is_flagged=True, reason="x"
    )
    beside = beside_company.of(own, compared, part, scope)
    assert beside.person["swaps"] == part.table.set_index("technician_id").loc[own, "swaps"], "their own stay narrowed"
    assert beside.person[["value", "low", "high", "expected_rate", "expected"]].isna().all()
    assert (beside.person["is_flagged"], beside.person["reason"]) == (False, beside_company.NOT_COMPARED)
    everybody = whole.table.assign(value=0.2, reason="x")
    assert beside_company.of(own, everybody, whole, ALL).person[["value", "reason"]].tolist() == [0.2, "x"]
    rates = whole.steps.drop_duplicates("step").set_index("step")["company_rate"]
    assert beside.checks.set_index("step")["company_rate"].eq(rates.reindex(beside.checks["step"])).all()
    test = AppTest.from_file(str(APP), default_timeout=SECONDS)
    test.user = {"is_logged_in": True, "email": ADDRESS["technician"]}
    test.query_params["branch"] = str(scope.branch)
    test.query_params["appliance"] = str(scope.appliance_kind).replace("_", " ")
    test.run()
    assert_drawn(test)
    text = said(test)
    assert beside_company.WHOLE in text
    assert beside_company.NOT_COMPARED in text
    # The trainer sees everybody, so their sheet follows the filters.
    act_as("trainer")
    assert company_rates(pack(own, scope)) == [
        words.share(done / n)
        for done, n in (technician_sheet.company_step(part.table, name) for name in technician_sheet.STEPS)
    ]
    assert beside_company.NOT_COMPARED not in pack(own, scope)


def test_of_two_technicians_neither_is_shown_the_other(
    unproven_home: Path, served: Callable[[Path, str], None], act_as: Callable[[str], None]
) -> None:
    served(unproven_home, "T1")
    act_as("technician")
    people = figures_access.technicians(ALL)
    assert len(people.table) == 2
    text = pack("T1", ALL)
    assert beside_company.TOO_FEW in text and "|all technicians|" not in text and "across the company" not in text
    test = AppTest.from_file(str(APP), default_timeout=SECONDS)
    test.user = {"is_logged_in": True, "email": ADDRESS["technician"]}
    test.run()
    assert_drawn(test)
    assert beside_company.TOO_FEW in said(test) and "across the company" not in said(test)
    frame = technician_sheet.step_frame(beside_company.of("T1", people.table, people, ALL).person, people.table.head(0))
    assert frame["rate"].isna().all() and frame["own"].notna().any()
    act_as("trainer")
    assert "|all technicians|" in pack("T1", ALL)


def test_what_was_to_be_expected_after_coaching_rests_on_enough_others(monkeypatch: pytest.MonkeyPatch) -> None:
    lines = pd.DataFrame({"measure": ["few", "enough"], "expected_after": [3.0, 4.0]})
    measures: list[Any] = [SimpleNamespace(name="few", n_compared=4), SimpleNamespace(name="enough", n_compared=5)]
    effect = CoachingEffect(measures, lines, 1, 1, 0, "")
    monkeypatch.setattr(figures_access, "coaching", lambda: effect)
    for role, wanted in (("trainer", [3.0, 4.0]), ("technician", [None, 4.0])):
        monkeypatch.setattr(roles, "require_somebody", lambda role=role: roles.Person(role))
        found = beside_company.coaching().people["expected_after"]
        assert [None if pd.isna(one) else one for one in found] == wanted
