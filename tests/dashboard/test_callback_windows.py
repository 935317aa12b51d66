"""The days at which callbacks are counted are the company's: the card, the curve's marks and their visits follow them."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
import streamlit as st
from page_texts import assert_drawn, opened, said

from dashboard import figures_access, marks, roles, week_parts
from dashboard.charts.callbacks import GROUPS, callback_curve, mark_of
from dashboard.theme import LIGHT
from models.figures.scope import Scope

WINDOW = 21


@pytest.fixture
def other_windows(fleet_home: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    home = tmp_path / "home"
    shutil.copytree(fleet_home, home)
    (home / "settings.toml").write_text(
        f"callback_windows = [{WINDOW}, 45, 120]\nheadline_window = {WINDOW}\n", "utf-8"
    )
    monkeypatch.setenv("GOODPULL_HOME", str(home))
    st.cache_data.clear()
    st.cache_resource.clear()
    return home


def test_the_card_of_the_difference_opens_what_came_back_within_the_window(other_windows: Path) -> None:
    with roles.whoever_has_the_files():
        scope = Scope()
        cards = {one.key: one for one in week_parts.cards(scope, figures_access.coverage(scope))}
        behind = figures_access.visits_behind(scope, cards["difference"].what, None)
        parts = [figures_access.count_behind(scope, f"back_{WINDOW}_{group}") for group in GROUPS]
        n_any_distance = figures_access.count_behind(scope, "callbacks")
        returns = figures_access.callbacks(scope)
    assert behind["callback_days"].max() <= WINDOW
    assert len(behind) == sum(parts) and all(parts)
    assert len(behind) < n_any_distance
    assert [mark.key for mark in marks.came_back(returns, scope)] == [
        mark_of(group, days) for group in GROUPS for days in (WINDOW, 45, 120)
    ]
    # The curve is drawn to its ninetieth day; a window past it is in the list alone.
    picture = callback_curve(returns.curve, LIGHT, tuple(returns.windows))
    assert picture is not None and picture.marks is not None
    assert sorted(set(picture.chart.layer[picture.marks].data["days"])) == [WINDOW, 45]
    assert callback_curve(returns.curve, LIGHT, (120,)) is not None


def test_the_page_opens_the_marks_of_the_settings(other_windows: Path) -> None:
    test = opened("this_week")
    assert_drawn(test)
    assert test.button(key="behind_difference").label == f"Show what came back within {WINDOW} days"
    test.session_state["callback_curve"] = True
    test.run()
    test.selectbox(key="mark_of_curve").set_value(mark_of("without_cause", WINDOW)).run()
    assert_drawn(test)
    assert f"that came back within {WINDOW} days" in said(test)
