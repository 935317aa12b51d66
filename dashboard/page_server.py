"""What `serving` starts: the pages of app.py, and the page library's files out of memory."""

from __future__ import annotations

from pathlib import Path

from starlette.middleware import Middleware
from streamlit import file_util
from streamlit.starlette import App

from dashboard.served_files import ServedFiles

app = App(
    Path(__file__).with_name("app.py"),
    middleware=[Middleware(ServedFiles, static=Path(file_util.get_static_dir()))],
)
