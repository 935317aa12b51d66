"""A pack set in type: PDF without a browser, without a request, with the fonts that come with the typesetter.

What is printed goes in as data (JSON), never as source, so nothing in a note or a name can be read as a command.
Fonts: Libertinus Serif (SIL Open Font License 1.1), embedded in the typesetter's package.
"""

from __future__ import annotations

import datetime as dt
import json
import unicodedata
from dataclasses import asdict
from pathlib import Path
from typing import Any

from dashboard.printed.paper import Document, breakable
from pipelines.errors import GoodpullError

PAPERS = {"a4": "a4", "letter": "us-letter"}
# How small the type may get so that a pack keeps to its pages: 9.4 points become 7.5 at the least.
SCALES = (1.0, 0.96, 0.92, 0.88, 0.84, 0.8)
# Beyond these the embedded fonts have no letters; the machine's own fonts are asked as well.
_FIRST_FOREIGN = 0x0590
_KNOWN_FOREIGN = ((0x1D00, 0x2BFF), (0xFB00, 0xFB06))


def pdf(document: Document, paper: str = "a4") -> bytes:
    """The document as a tagged PDF (PDF/UA-1). paper: 'a4' or 'letter'.

    A document with a number of pages to keep to is set smaller step by step until it does. The same document gives the
    same bytes. Raises GoodpullError where it cannot keep to them, or where the paper is unknown.
    """
    if paper not in PAPERS:
        raise GoodpullError(f"paper: got {paper!r}; must be one of {', '.join(PAPERS)}.")
    compiler, inputs = _compiler(document), {"pack": _packed(document), "paper": PAPERS[paper]}
    for scale in SCALES:
        found = _compiled(compiler, document, inputs | {"scale": str(scale)})
        if document.at_most is None or n_pages(compiler) <= document.at_most:
            return found
    raise GoodpullError(
        f"{document.title}: does not fit on {document.at_most} pages of {paper} paper. Narrow it to a branch."
    )


def n_pages(compiler: Any) -> int:
    """Pages of what was compiled last."""
    return int(json.loads(compiler.query("<pages>", field="value", one=True)))


def _compiler(document: Document) -> Any:
    import typst

    foreign = _is_foreign(json.dumps(asdict(document), ensure_ascii=False, default=str))
    # By path, not as bytes: only so can the compiled document be asked for its number of pages.
    return typst.Compiler(Path(__file__).with_name("pack.typ"), ignore_system_fonts=not foreign)


def _compiled(compiler: Any, document: Document, inputs: dict[str, str]) -> bytes:
    made = dt.datetime.combine(document.made_on, dt.time(), dt.UTC)
    return compiler.compile(format="pdf", sys_inputs=inputs, pdf_standards=["ua-1"], timestamp=made)


def _packed(document: Document) -> str:
    return json.dumps(_printable(asdict(document)), ensure_ascii=False, default=str)


def _printable(value: Any, key: str = "") -> Any:
    if isinstance(value, str):
        return value if key in ("svg", "narrow_svg", "kind") else breakable(named_signs(value))
    if isinstance(value, dict):
        return {name: _printable(entry, name) for name, entry in value.items()}
    return [_printable(entry) for entry in value] if isinstance(value, list | tuple) else value


def named_signs(text: str) -> str:
    """Pictures among the letters (emoji) by their name in brackets, since the fonts have no picture for them."""
    return "".join(
        f"({unicodedata.name(sign, 'sign').lower()})"
        if ord(sign) >= 0x1F000 and unicodedata.category(sign) == "So"
        else ""
        if 0xFE00 <= ord(sign) <= 0xFE0F or 0x1F3FB <= ord(sign) <= 0x1F3FF
        else sign
        for sign in text
    )


def _is_foreign(text: str) -> bool:
    return any(
        ord(sign) >= _FIRST_FOREIGN
        and unicodedata.category(sign)[0] == "L"
        and not any(first <= ord(sign) <= last for first, last in _KNOWN_FOREIGN)
        for sign in set(text)
    )
