"""A page run once, and everything it says as text."""

from __future__ import annotations

import html
import re
from pathlib import Path

from streamlit.testing.v1 import AppTest

APP = Path(__file__).parents[2] / "dashboard" / "app.py"
SECONDS = 120


def opened(name: str, **address: str) -> AppTest:
    """The page, run once, with an address of these query parameters."""
    test = AppTest.from_file(str(APP), default_timeout=SECONDS)
    for key, value in address.items():
        test.query_params[key] = value
    test.run()
    if name != "this_week":
        test.switch_page(f"views/{name}.py").run()
    return test


def said(test: AppTest) -> str:
    """Everything on the page that is text: Markdown, captions and our own HTML, markup and escapes taken off."""
    parts = [element.value for kind in ("markdown", "caption") for element in getattr(test, kind)]
    parts += [str(element.body if hasattr(element, "body") else element.proto.body) for element in test.get("html")]
    # A marked term stands inside its sentence; any other mark parts what stands on either side of it.
    joined = re.sub(r'<span class="gp-term"[^>]*>|</span>', "", " \n ".join(parts))
    # A cell is no part of a sentence with the next one.
    joined = joined.replace("</td>", " | ")
    return re.sub(r"\\(.)", r"\1", re.sub(r"<[^>]+>", " ", joined))


def text_tables(test: AppTest) -> list[dict[str, list[str]]]:
    """The tables of text on the page, each as its columns by title; those without titles left out."""
    found = []
    for element in test.get("html"):
        body = str(element.proto.body)
        titles = [_plain(cell) for cell in re.findall(r"<th [^>]*>(.*?)</th>", body, re.S)]
        if titles:
            cells = [_plain(cell) for cell in re.findall(r"<td[^>]*>(.*?)</td>", body, re.S)]
            found.append({title: cells[place :: len(titles)] for place, title in enumerate(titles)})
    return found


def _plain(cell: str) -> str:
    return html.unescape(re.sub(r"<[^>]+>", "", cell))


def assert_drawn(test: AppTest) -> None:
    assert not test.exception, test.exception[0].message
    assert not test.error, test.error[0].value
