"""A load stopped midway: the generation before stays in force, nothing is left, the next load goes through, it is said."""

from __future__ import annotations

from pathlib import Path

import pytest
from page_texts import assert_drawn, opened, said
from streamlit.runtime.scriptrunner import StopException
from streamlit.testing.v1 import AppTest

from dashboard import stoppable
from pipelines import loading
from pipelines.loading import load

HEAD = "visit_id,site_id,technician_id,arrived_at,visit_kind\n"


def _export(folder: Path, name: str, visit: str) -> Path:
    path = folder / name
    path.write_text(f"{HEAD}{visit},S1,T1,2026-01-05,no_heat\n", "utf-8")
    return path


def _kept(home: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() if path.name == "current" else b"" for path in home.iterdir()}


def test_a_load_stopped_at_any_step_leaves_everything_as_it_was(tmp_path: Path) -> None:
    home = tmp_path / "home"
    load(home, [_export(tmp_path, "one_visits.csv", "V1")])
    steps: list[str] = []
    load(tmp_path / "other", [_export(tmp_path, "two_visits.csv", "V2")], progress=lambda said, _: steps.append(said))
    before = _kept(home)
    assert len(steps) > 3
    for place in (0, 1, len(steps) // 2, len(steps) - 2):
        told: list[str] = []

        def stop(sentence: str, share: float | None, place: int = place, told: list[str] = told) -> None:
            told.append(sentence)
            if len(told) > place:
                raise StopException

        with pytest.raises(StopException):
            load(home, [tmp_path / "two_visits.csv"], progress=stop)
        assert _kept(home) == before, told[-1]
    report = load(home, [tmp_path / "two_visits.csv"])
    assert report.is_changed and report.files[0].n_accepted == 1


@pytest.mark.parametrize("served_home", ["empty_home"], indirect=True)
def test_the_page_has_a_stop_beside_the_bar_and_says_that_it_was_used(
    served_home: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("GOODPULL_HOME", str(tmp_path / "home"))
    file, whole = _export(tmp_path, "visits.csv", "V1"), loading.load

    def stopped(*given, progress, **more):
        def one_step(sentence, share):
            progress(sentence, share)
            raise StopException

        return whole(*given, progress=one_step, **more)

    test = opened("records")
    test.text_input(key="load_path").set_value(str(file)).run()
    monkeypatch.setattr(loading, "load", stopped)
    test.button(key="load_button_path").click().run()
    assert [one.label for one in test.button if one.key == "stop_work"] == ["Stop"]
    assert not (tmp_path / "home" / "current").exists()
    monkeypatch.setattr(loading, "load", whole)
    test.run()
    assert_drawn(test)
    assert [one.value for one in test.warning] == [stoppable.STOPPED]
    test.button(key="load_button_path").click().run()
    assert_drawn(test)
    assert "What the load did" in said(test) and not test.warning
    assert not [one for one in test.button if one.key == "stop_work"]


def test_work_that_fails_is_not_said_to_be_stopped() -> None:
    def script() -> None:
        import streamlit as st

        from dashboard import stoppable

        stoppable.say()
        try:
            with stoppable.bar("Working"):
                raise ValueError
        except ValueError:
            st.markdown("It failed.")

    test = AppTest.from_function(script).run().run()
    assert test.markdown[0].value == "It failed." and not test.warning and not test.button
