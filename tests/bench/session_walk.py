"""Many readers at once: each opens the pages and changes filters for a bounded time.

They speak with the server as the browser does, without one: twenty browsers on the machine that serves would wait for
each other, and hide what the server takes. What a browser adds for a single reader is measured apart (page_timing).
"""

from __future__ import annotations

import asyncio
import itertools
import random
import statistics
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import page_timing
import served_pages
from streamlit.proto.Alert_pb2 import Alert
from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg
from websockets.asyncio.client import ClientConnection, connect

ARRIVAL_SECONDS = 0.4
# A reader looks at what stands there before the next click.
LEAST_LOOK_SECONDS, MOST_LOOK_SECONDS = 2.0, 10.0
NOT_NARROWED = ("All", "All records", "Chosen dates")


@dataclass
class Walked:
    """What all readers together met with. opened, changed: seconds from the click until everything was sent."""

    opened: list[float] = field(default_factory=list)
    changed: list[float] = field(default_factory=list)
    errors: list[str] = field(default_factory=list)


async def walk(address: str, sessions: int, seconds: float) -> dict[str, Any]:
    """So many readers, each with a session of its own. Returns counts, medians, worst and errors."""
    walked = Walked()
    end = time.monotonic() + seconds
    await asyncio.gather(*(_reader(address, number, end, walked) for number in range(sessions)))
    return {
        "pages opened": len(walked.opened),
        "filters changed": len(walked.changed),
        **_told("page", walked.opened),
        **_told("filter", walked.changed),
        "errors": len(walked.errors),
        "first errors": walked.errors[:5],
    }


def _told(name: str, waits: list[float]) -> dict[str, float]:
    if not waits:
        return {}
    return {f"{name}, median s": round(statistics.median(waits), 2), f"{name}, worst s": round(max(waits), 2)}


async def _reader(address: str, number: int, end: float, walked: Walked) -> None:
    """One reader. The order of pages and choices is drawn from the reader's number: the same in every run."""
    draw = random.Random(number)
    pages = list(served_pages.PAGES)
    # They come one after another, within the first seconds.
    await asyncio.sleep(number * ARRIVAL_SECONDS)
    for page in itertools.cycle(draw.sample(pages, len(pages))):
        if time.monotonic() >= end:
            return
        try:
            await _look_at(address, page, draw, walked)
        except Exception as error:
            walked.errors.append(f"reader {number}, {page}: {type(error).__name__}: {error}"[:300])


async def _look_at(address: str, page: str, draw: random.Random, walked: Walked) -> None:
    """Open a page and, where it has filters, choose another of one of them."""
    started = time.monotonic()
    stream = f"{address.replace('http', 'ws', 1)}/_stcore/stream"
    async with connect(stream, subprotocols=["streamlit"], max_size=None, origin=address) as session:  # type: ignore[list-item]
        shown = await _drawn(session, _rerun(page), page, walked)
        walked.opened.append(time.monotonic() - started)
        await asyncio.sleep(draw.uniform(LEAST_LOOK_SECONDS, MOST_LOOK_SECONDS))
        boxes = [one for one in _boxes(shown) if one.label in page_timing.FILTERS]
        if page not in page_timing.SCOPED or not boxes:
            return
        box = draw.choice(boxes)
        asked = _rerun(page)
        state = asked.rerun_script.widget_states.widgets.add()
        state.id, state.string_value = box.id, draw.choice([one for one in box.options if one not in NOT_NARROWED])
        started = time.monotonic()
        await _drawn(session, asked, page, walked)
        walked.changed.append(time.monotonic() - started)
        await asyncio.sleep(draw.uniform(LEAST_LOOK_SECONDS, MOST_LOOK_SECONDS))


def _rerun(page: str) -> BackMsg:
    asked = BackMsg()
    asked.rerun_script.query_string = ""
    # The first page stands at the root.
    asked.rerun_script.page_name = "" if page == served_pages.PAGES[0] else page
    return asked


async def _drawn(session: ClientConnection, asked: BackMsg, page: str, walked: Walked) -> list[ForwardMsg]:
    """What the server sends until its script has ended. Errors it shows are noted.

    Raises RuntimeError where it does not end, or ends with an error.
    """
    await session.send(asked.SerializeToString())
    sent: list[ForwardMsg] = []
    async with asyncio.timeout(page_timing.MOST_SECONDS):
        while True:
            message = ForwardMsg.FromString(await session.recv(decode=False))
            sent.append(message)
            kind = message.WhichOneof("type")
            if kind == "script_finished" and message.script_finished != ForwardMsg.FINISHED_EARLY_FOR_RERUN:
                break
    if message.script_finished != ForwardMsg.FINISHED_SUCCESSFULLY:
        raise RuntimeError(f"the script ended with {message.script_finished}")
    elements = list(_elements(sent))
    walked.errors += [f"{page}: {one.exception.message}"[:300] for one in elements if one.HasField("exception")]
    walked.errors += [
        f"{page}: {one.alert.body}"[:300]
        for one in elements
        if one.HasField("alert") and one.alert.format == Alert.Format.ERROR
    ]
    if not any(one.HasField("heading") and one.heading.tag == "h1" for one in elements):
        raise RuntimeError("no page was drawn")
    return sent


def _elements(sent: list[ForwardMsg]) -> Iterator[Any]:
    return (one.delta.new_element for one in sent if one.HasField("delta") and one.delta.HasField("new_element"))


def _boxes(sent: list[ForwardMsg]) -> list[Any]:
    return [one.selectbox for one in _elements(sent) if one.HasField("selectbox")]
