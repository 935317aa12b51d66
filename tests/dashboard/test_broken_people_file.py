"""A settings file that breaks while pages are open: what is redrawn by itself tells its reader no name out of it."""

from __future__ import annotations

import logging
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from dashboard import page, sign_in

BROKEN = '[people."boss@company.example"]\nrole = "chief"\n'


def section() -> None:
    import streamlit as st

    from dashboard import page, roles

    st.session_state[roles.SHOWN] = "this_week"
    page.lazily("Title", "key", lambda: None)


def lines() -> None:
    import streamlit as st

    from dashboard import long_list, roles

    st.session_state[roles.SHOWN] = "this_week"
    long_list.parts([("Column", "text")], [("cell",)], "key")


def chart() -> None:
    import streamlit as st

    from dashboard import chart_drill, roles

    st.session_state[roles.SHOWN] = "this_week"
    chart_drill.draw(None, "Nothing to draw.", "key", "Title", [])


def window() -> None:
    import streamlit as st

    from dashboard import roles, visit_table

    st.session_state[roles.SHOWN] = "this_week"
    visit_table.open_dialog("Title", "key", lambda limit: None)  # type: ignore[arg-type,return-value]


def whole_page() -> None:
    from dashboard import page, roles

    def broken() -> None:
        roles.require_somebody()

    class Chosen:
        title, url_path, run = "Title", "this_week", staticmethod(broken)

    page.run(Chosen, lambda: None)


@pytest.mark.parametrize("part", [section, lines, chart, window, whole_page])
def test_the_reader_is_told_no_entry_of_it(
    part: object, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    (tmp_path / "settings.toml").write_text(BROKEN, "utf-8")
    monkeypatch.setenv("GOODPULL_HOME", str(tmp_path))
    monkeypatch.setenv(sign_in.FLAG, "on")
    monkeypatch.setattr(sign_in, "email", lambda: "owner@company.example")
    with caplog.at_level(logging.WARNING, "goodpull"):
        test = AppTest.from_function(part, default_timeout=60).run()
    assert not test.exception
    assert [one.value for one in test.error] == [page.UNUSABLE] and not test.warning
    shown = " ".join(str(one.value) for kind in ("error", "warning", "markdown") for one in getattr(test, kind))
    assert "boss" not in shown and "settings.toml" not in shown and "cell" not in shown
    assert "boss@company.example: role is 'chief'" in caplog.text, "whoever started the pages sees the reason"
