"""The page server answers small things at once."""

from __future__ import annotations

import http.client
import sys
import time
from pathlib import Path
from urllib.parse import urlparse

import pytest
from streamlit import file_util

# 40 ms each, which is how long the other side may wait before it says that the first part came, would be 4 s.
TIMES, MOST_SECONDS = 100, 1.5


@pytest.mark.skipif(sys.platform == "win32", reason="the event loop that sends at once is not made for Windows")
def test_a_small_file_does_not_wait_for_an_acknowledgement(empty_address: str) -> None:
    file = min(Path(file_util.get_static_dir(), "static", "js").glob("*.js"), key=lambda path: path.stat().st_size)
    server = http.client.HTTPConnection(str(urlparse(empty_address).hostname), int(urlparse(empty_address).port or 0))
    started = time.monotonic()
    for _ in range(TIMES):
        server.request("GET", f"/static/js/{file.name}")
        answer = server.getresponse()
        assert answer.status == 200 and answer.read() == file.read_bytes()
    assert time.monotonic() - started < MOST_SECONDS
