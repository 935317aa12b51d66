"""The page library's own files as the browser gets them: out of memory, and named to it before it has to ask.

A page is some 130 small files. The library reads each from disk in threads that the page's script holds up, and the
browser learns of most only when the script has sent something that needs them. So a file is kept once it was sent, and
the page names those that every page of ours needs.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

# Parts of the library that every page draws, and charts last; what they rest on is found in them.
DRAWN = ("Selectbox", "Html", "Button", "DownloadButton", "rehype-raw", "ButtonGroup", "PageLink", "ArrowVegaLiteChart")
_IMPORTED = re.compile(rb"""(?:from|import)\s*["']\./([\w.\-]+\.js)["']""")
# The address of a page of ours; what is downloaded, or asked by the page's own script, lies deeper.
_PAGE = re.compile(r"/\w*")
# Of an answer that is kept: what tells of the file. Anything else, such as a cookie, is for who asked first.
_OF_THE_FILE = (b"content-type", b"content-length", b"cache-control", b"etag", b"last-modified")
_ASKS_FOR_PART = (b"range", b"if-none-match", b"if-modified-since")


@dataclass
class Answer:
    """What was answered once."""

    headers: list[tuple[bytes, bytes]] = field(default_factory=list)
    body: bytes = b""

    async def send(self, send: Send) -> None:
        await send({"type": "http.response.start", "status": 200, "headers": self.headers})
        await send({"type": "http.response.body", "body": self.body})


class ServedFiles:
    """Middleware (ASGI). Keeps the library's files that never change under their name, and adds to its page what to fetch.

    app: what answers, from the root of the address. static: the folder of the library's files. Anything else passes
    through as it is.
    """

    def __init__(self, app: ASGIApp, static: Path) -> None:
        self._app = app
        self._kept: dict[str, Answer] = {}
        # Only these are kept: the same file could be asked for by any number of other spellings.
        self._names = {f"/{path.relative_to(static).as_posix()}" for path in static.rglob("*") if path.is_file()}
        self._links = links(static).encode("ascii")

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or scope["method"] != "GET" or _is_partly_asked(scope):
            await self._app(scope, receive, send)
        elif scope["path"] in self._names:
            await self._file(scope, receive, send)
        elif _is_for_reading(scope):
            await self._page(scope, receive, send)
        else:
            await self._app(scope, receive, send)

    async def _file(self, scope: Scope, receive: Receive, send: Send) -> None:
        kept = self._kept.get(scope["path"])
        if kept is not None:
            await kept.send(send)
            return
        answer, is_whole = await _collected(self._app, scope, receive, send, _never_changes)
        if is_whole:
            await answer.send(send)
            of_the_file = [one for one in answer.headers if one[0].lower() in _OF_THE_FILE]
            self._kept[scope["path"]] = Answer(of_the_file, answer.body)

    async def _page(self, scope: Scope, receive: Receive, send: Send) -> None:
        # Asked for as it is: it is changed on its way.
        plain = {**scope, "headers": [one for one in scope["headers"] if one[0] != b"accept-encoding"]}
        answer, is_whole = await _collected(self._app, plain, receive, send, _is_page)
        if is_whole:
            body = answer.body.replace(b"</head>", self._links + b"</head>", 1)
            # No longer what the library's own mark of the version says.
            headers = [one for one in answer.headers if one[0] not in (b"content-length", b"etag", b"last-modified")]
            await Answer([*headers, (b"content-length", str(len(body)).encode("ascii"))], body).send(send)


def links(static: Path) -> str:
    """What a page's head says to fetch early: the files of DRAWN and all they import, that the page does not name itself.

    Files that another version of the library does not have are left out.
    """
    named = (static / "index.html").read_text("utf-8")
    found: dict[str, None] = {}
    for part in DRAWN:
        for path in sorted((static / "static" / "js").glob(f"{part}.*.js")):
            found |= dict.fromkeys(_with_imports(path))
    return "".join(
        f'<link rel="modulepreload" crossorigin href="./static/js/{name}">' for name in found if name not in named
    )


def _with_imports(path: Path) -> list[str]:
    """A file and all it imports, its own name last."""
    seen: dict[str, None] = {}
    waiting = [path.name]
    while waiting:
        name = waiting.pop()
        if name not in seen:
            seen[name] = None
            waiting += _imports(path.with_name(name))
    return list(seen)


@cache
def _imports(path: Path) -> list[str]:
    return [name.decode("ascii") for name in _IMPORTED.findall(path.read_bytes())] if path.is_file() else []


def _is_partly_asked(scope: Scope) -> bool:
    return any(name in _ASKS_FOR_PART for name, _ in scope["headers"])


def _is_for_reading(scope: Scope) -> bool:
    is_asked_by_person = any(name == b"accept" and b"text/html" in value for name, value in scope["headers"])
    return is_asked_by_person and _PAGE.fullmatch(scope["path"]) is not None


def _never_changes(message: Message) -> bool:
    headers = dict(message["headers"])
    return message["status"] == 200 and b"immutable" in headers.get(b"cache-control", b"")


def _is_page(message: Message) -> bool:
    headers = dict(message["headers"])
    return message["status"] == 200 and headers.get(b"content-type", b"").startswith(b"text/html")


async def _collected(app: ASGIApp, scope: Scope, receive: Receive, send: Send, is_wanted: Any) -> tuple[Answer, bool]:
    """The whole answer of the app where it is wanted, judged by its start; any other is sent on as it comes."""
    answer, is_taken = Answer(), False

    async def take(message: Message) -> None:
        nonlocal is_taken
        if message["type"] == "http.response.start":
            is_taken = is_wanted(message)
            answer.headers = list(message["headers"])
        if not is_taken:
            await send(message)
        elif message["type"] == "http.response.body":
            answer.body += message.get("body", b"")

    await app(scope, receive, take)
    return answer, is_taken
