"""Readers without a browser: what they take for an error of a page, and which filter they change."""

from __future__ import annotations

import asyncio
import random
import sys
from collections.abc import Coroutine
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest
from streamlit.proto.Alert_pb2 import Alert
from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg

sys.path.insert(0, str(Path(__file__).parent))

import session_walk


class Server:
    """Sends the same page whatever is asked for, and keeps what was asked."""

    def __init__(self, *sent: ForwardMsg) -> None:
        self.asked: list[BackMsg] = []
        self._sent = sent
        self._left: list[ForwardMsg] = []

    async def send(self, asked: bytes) -> None:
        self.asked.append(BackMsg.FromString(asked))
        self._left = list(self._sent)

    async def recv(self, decode: bool) -> bytes:
        return self._left.pop(0).SerializeToString()


def element(**named: Any) -> ForwardMsg:
    message = ForwardMsg()
    part = message.delta.new_element
    for name, values in named.items():
        for field, value in values.items():
            if isinstance(value, list):
                getattr(getattr(part, name), field).extend(value)
            else:
                setattr(getattr(part, name), field, value)
    return message


def ended(how: int = ForwardMsg.FINISHED_SUCCESSFULLY) -> ForwardMsg:
    return ForwardMsg(script_finished=how)


TITLE = element(heading={"tag": "h1", "body": "Sites"})


def ran(work: Coroutine[Any, Any, Any]) -> None:
    """In a thread of its own: where a browser is open in this one, a loop runs in it already."""
    with ThreadPoolExecutor(1) as other:
        other.submit(asyncio.run, work).result()


def drawn(*sent: ForwardMsg) -> session_walk.Walked:
    walked = session_walk.Walked()
    ran(session_walk._drawn(Server(*sent), session_walk._rerun("sites"), "sites", walked))
    return walked


def test_what_a_page_shows_as_an_error_is_one() -> None:
    told = element(alert={"format": Alert.Format.INFO, "body": "no error"})
    assert drawn(TITLE, told, ended()).errors == []
    failed = element(alert={"format": Alert.Format.ERROR, "body": "could not be drawn"})
    assert drawn(TITLE, failed, ended()).errors == ["sites: could not be drawn"]
    assert drawn(TITLE, element(exception={"message": "no such"}), ended()).errors == ["sites: no such"]
    # A run that another one follows is not the end.
    again = ended(ForwardMsg.FINISHED_EARLY_FOR_RERUN)
    assert drawn(again, TITLE, failed, ended()).errors == ["sites: could not be drawn"]


def test_a_page_that_is_not_drawn_is_told() -> None:
    with pytest.raises(RuntimeError, match="no page was drawn"):
        drawn(ended())
    with pytest.raises(RuntimeError, match="ended with"):
        drawn(TITLE, ended(ForwardMsg.FINISHED_WITH_COMPILE_ERROR))


def test_another_filter_is_chosen_by_its_own_box(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(session_walk, "LEAST_LOOK_SECONDS", 0.0)
    monkeypatch.setattr(session_walk, "MOST_LOOK_SECONDS", 0.0)
    other = element(selectbox={"id": "one", "label": "Listed site", "options": ["S1"]})
    branch = element(selectbox={"id": "two", "label": "Branch", "options": ["All", "North"]})
    server = Server(TITLE, other, branch, ended())

    class Connected:
        async def __aenter__(self) -> Server:
            return server

        async def __aexit__(self, *_: object) -> None:
            return None

    monkeypatch.setattr(session_walk, "connect", lambda *_, **__: Connected())
    walked = session_walk.Walked()
    ran(session_walk._look_at("http://127.0.0.1:1", "sites", random.Random(1), walked))
    assert len(walked.opened) == len(walked.changed) == 1 and not walked.errors
    first, second = (asked.rerun_script for asked in server.asked)
    assert first.page_name == second.page_name == "sites" and not first.widget_states.widgets
    (chosen,) = second.widget_states.widgets
    assert (chosen.id, chosen.string_value) == ("two", "North")
