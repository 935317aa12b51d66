"""The page library's files out of memory, and what its page says to fetch early."""

from __future__ import annotations

import asyncio
import re
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import httpx
import pytest
from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response
from starlette.routing import Route
from streamlit import file_util

from dashboard import served_files
from dashboard.served_files import ServedFiles

COOKIE = "of=the first who asked"
FOREVER = {"cache-control": "public, immutable, max-age=31536000", "etag": '"one"'}
READING = {"accept": "text/html,*/*"}


@pytest.fixture
def static(tmp_path: Path) -> Path:
    """A library of five files: the page names main.js itself, Html imports two, of which one imports main.js again."""
    js = tmp_path / "static" / "js"
    js.mkdir(parents=True)
    (tmp_path / "index.html").write_text('<head><script src="./static/js/main.1.js"></script></head>', "utf-8")
    for name, text in {
        "main.1.js": "",
        "Html.2.js": 'import{a as b}from"./first.3.js";import"./second.4.js";const c=import("./later.5.js")',
        "first.3.js": 'import{d}from"./main.1.js"',
        "second.4.js": 'export*from"./first.3.js"',
        "later.5.js": "",
    }.items():
        (js / name).write_text(text, "utf-8")
    return tmp_path


@pytest.fixture
def asked() -> list[str]:
    return []


class Client:
    """Asks an application without a server. The path goes as it is written."""

    def __init__(self, app: Starlette) -> None:
        self._app = app

    def ask(self, path: str, headers: dict[str, str] | None = None, method: str = "GET") -> httpx.Response:
        async def ask() -> httpx.Response:
            async with httpx.AsyncClient(transport=httpx.ASGITransport(self._app), base_url="http://pages") as client:
                return await client.request(method, path, headers=headers)

        # In a thread of its own: where a browser is open in this one, a loop runs in it already.
        with ThreadPoolExecutor(1) as other:
            return other.submit(asyncio.run, ask()).result()

    def get(self, path: str, headers: dict[str, str] | None = None) -> httpx.Response:
        return self.ask(path, headers)


@pytest.fixture
def client(static: Path, asked: list[str]) -> Client:
    def answer(request: Request) -> Response:
        path = request.url.path
        asked.append(path)
        if path == "/static/js/main.1.js" and "range" in request.headers:
            return Response(b"m", 206, FOREVER, "text/javascript")
        if path.removeprefix("/static/js/") in ("main.1.js", ".%2Fmain.1.js", "./main.1.js"):
            return Response(b"main" * 1000, 200, FOREVER | {"set-cookie": COOKIE}, "text/javascript")
        if path.endswith("later.5.js"):
            return Response(b"may change", 200, {"cache-control": "no-cache"}, "text/javascript")
        if path.endswith("gone"):
            return HTMLResponse("<head></head>gone", 404)
        if path.endswith("data"):
            return Response(b"</head>", 200, {}, "text/plain")
        return HTMLResponse("<head></head>page", 200, {"etag": '"two"', "last-modified": "then"})

    app = Starlette(routes=[Route("/{path:path}", answer)], middleware=[Middleware(ServedFiles, static=static)])
    return Client(app)


def test_a_file_is_asked_for_once_and_answered_the_same(client: Client, asked: list[str]) -> None:
    first, second = (client.get("/static/js/main.1.js") for _ in range(2))
    assert asked == ["/static/js/main.1.js"]
    assert first.status_code == second.status_code == 200 and second.content == first.content == b"main" * 1000
    assert dict(first.headers) == dict(second.headers) | {"set-cookie": COOKIE}, "nobody gets another's cookie"
    assert second.headers["etag"] == FOREVER["etag"]


def test_what_may_change_or_is_asked_for_in_part_is_not_kept(client: Client, asked: list[str]) -> None:
    for _ in range(2):
        assert client.get("/static/js/later.5.js").content == b"may change"
        assert client.get("/static/js/main.1.js", headers={"range": "bytes=0-0"}).status_code == 206
        assert client.get("/static/js/%2e%2Fmain.1.js").status_code == 200
        client.ask("/static/js/main.1.js", method="HEAD")
    assert len(asked) == 8, "each time by the library"


def test_the_page_names_what_every_page_needs(client: Client, static: Path) -> None:
    page = client.get("/this_week", headers=READING)
    named = re.findall(r'<link rel="modulepreload" crossorigin href="([^"]+)">', page.text)
    # Neither what the page names itself, nor what is fetched only when something asks for it.
    assert sorted(named) == ["./static/js/Html.2.js", "./static/js/first.3.js", "./static/js/second.4.js"]
    assert page.text.endswith("</head>page") and page.headers["content-length"] == str(len(page.content))
    assert "etag" not in page.headers and "last-modified" not in page.headers


def test_other_answers_pass_as_they_are(client: Client) -> None:
    gone = client.get("/gone", headers=READING)
    assert gone.status_code == 404 and gone.text == "<head></head>gone"
    assert client.get("/data", headers=READING).text == "</head>"
    # A printed pack is a page of its own, and stays as it was made.
    assert client.get("/media/pack.html", headers=READING).text == "<head></head>page"
    # Not from a browser's address line, such as the check whether the server is up.
    assert client.get("/this_week", headers={"accept": "*/*"}).text == "<head></head>page"


def test_the_library_in_use_has_the_parts_named() -> None:
    static = Path(file_util.get_static_dir())
    named = re.findall(r'href="\./([^"]+)"', served_files.links(static))
    assert len(named) == len(set(named)) > 20
    assert all((static / name).is_file() for name in named)
    missing = [part for part in served_files.DRAWN if not any(f"/{part}." in name for name in named)]
    assert not missing, "another version of the library calls them otherwise"
    assert any("/embed." in name for name in named), "what draws charts is found through what they import"
