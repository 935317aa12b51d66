"""Whoever answered is seen to have, where a person is first named: in both tables, and in a line above them."""

from __future__ import annotations

import datetime as dt
import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
import streamlit as st
from page_texts import assert_drawn, opened, said, text_tables

from dashboard import answered, code_names, figures_access, roles, same_person, words
from models.figures.scope import Scope
from pipelines.own_work import FILE_NAME, OwnWork, new_id
from pipelines.remarks import enter_remark, take_back

TODAY = dt.datetime.now(dt.UTC).date()


@pytest.fixture(scope="module")
def kept_home(fleet_home: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    home = tmp_path_factory.mktemp("answered") / "home"
    shutil.copytree(fleet_home, home)
    return home


@pytest.fixture
def home(kept_home: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    monkeypatch.setenv("GOODPULL_HOME", str(kept_home))
    st.cache_data.clear()
    yield kept_home
    for file in kept_home.glob(f"{FILE_NAME}*"):
        file.unlink()


@pytest.fixture
def people(home: Path, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Three technicians; the first two are to be looked at first."""
    with roles.whoever_has_the_files():
        found = figures_access.technicians(Scope())
    ids = [str(one) for one in found.table.sort_values("swaps")["technician_id"].tail(3)]
    marked = replace(found, table=found.table.assign(is_flagged=found.table["technician_id"].isin(ids[:2])))
    monkeypatch.setattr(figures_access, "technicians", lambda scope: marked)
    return ids


def remark(home: Path, technician_id: str, is_on_behalf: bool = False) -> str:
    one = new_id()
    assert enter_remark(OwnWork(home), technician_id, "steps", "The tap was blocked.", "Chief", is_on_behalf, one)
    return one


def answers(test, title: str) -> list[dict[str, str]]:
    """The cells under Answered, by the name they stand beside, of each table that has this other column."""
    return [
        dict(zip(one["Technician"], one["Answered"], strict=True))
        for one in text_tables(test)
        if {"Technician", "Answered", title} <= set(one)
    ]


def test_both_tables_tell_the_newest_remark_and_how_many(home: Path, people: list[str]) -> None:
    for _ in range(2):
        remark(home, people[0])
    test = opened("coaching")
    assert_drawn(test)
    with roles.whoever_has_the_files():
        names = [code_names.naming(False)(one) for one in people]
    cell = f"{words.date(TODAY)} (2)"
    (first,) = answers(test, "Why")
    assert first == {names[0]: cell, names[1]: ""}
    everyone = {name: told for table in answers(test, "Separable") for name, told in table.items()}
    assert everyone[names[0]] == cell and everyone[names[2]] == ""
    assert f"2 remarks in the last 14 days, by {names[0]} (2)." in said(test)


def test_under_code_names_the_name_is_the_code_name(home: Path, people: list[str]) -> None:
    remark(home, people[0], is_on_behalf=True)
    with roles.whoever_has_the_files():
        name, code = (code_names.naming(is_code)(people[0]) for is_code in (False, True))
    test = opened("coaching", code_names="true")
    assert_drawn(test)
    assert f"1 remark in the last 14 days, by {code} (1, 1 on their behalf)." in said(test)
    assert name not in said(test) and people[0] not in said(test)
    (first,) = answers(test, "Why")
    assert first[code] == f"{words.date(TODAY)} (1)"


def test_only_remarks_in_force_and_only_new_ones_stand_in_the_line(home: Path, people: list[str]) -> None:
    assert "Nobody answered in the last 14 days." in said(opened("coaching"))
    gone = remark(home, people[0])
    remark(home, people[1])
    take_back(OwnWork(home), gone, "Chief")
    with roles.whoever_has_the_files():
        found = answered.by_technician()
    assert list(found) == [people[1]]
    assert answered.lately(found, str, TODAY).startswith(f"1 remark in the last 14 days, by {people[1]} (1).")
    assert answered.lately(found, str, TODAY + dt.timedelta(days=14)).startswith("1 remark")
    assert answered.lately(found, str, TODAY + dt.timedelta(days=15)) == "Nobody answered in the last 14 days."
    assert answered.told(found[people[1]]) == f"{words.date(TODAY)} (1)" and answered.told([]) == ""


def test_remarks_under_a_merged_id_stand_under_the_kept_one(
    home: Path, people: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    remark(home, "OLD")
    remark(home, people[0])
    monkeypatch.setattr(same_person, "_kept", lambda store_key: {"OLD": people[0]})
    with roles.whoever_has_the_files():
        assert [len(said) for said in answered.by_technician().values()] == [2]
