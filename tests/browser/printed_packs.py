"""Printed packs as they arrive at a click, read back: their pages, their paper and their words."""

from __future__ import annotations

import base64
import html
import io
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pypdf import PdfReader

# Width and height in points, by the button that makes it.
PAPER = {"PDF, A4": (595, 842), "PDF, US Letter": (612, 792)}
WEB_PAGE = "Web page, one file"
PICTURE = re.compile(r"data:image/svg\+xml;base64,([^\"']+)")


@dataclass(frozen=True)
class Packs:
    """One pack in its three forms. texts: by button, all words in a row; n_pages: of the PDFs; whole: everything that
    stands in any of the files as text, titles and the words in pictures too."""

    texts: dict[str, str]
    n_pages: dict[str, int]
    whole: str

    def all_say(self, words: str) -> bool:
        """Whether each form has these words, in whatever case."""
        return all(in_a_row(words).casefold() in text.casefold() for text in self.texts.values())


def fetched(tab: Any, button: Any) -> tuple[str, bytes]:
    """Name and content of the file behind a button."""
    with tab.expect_download() as started:
        button.click()
    return started.value.suggested_filename, Path(started.value.path()).read_bytes()


def taken(tab: Any, kind: str) -> Packs:
    """Click all three buttons of the pack on the page; what arrives must be of the paper its button names.

    kind: what the names of the files begin with.
    """
    texts, n_pages, whole = {}, {}, []
    for label, size in PAPER.items():
        name, data = fetched(tab, tab.get_by_role("button", name=label, exact=True))
        assert name.startswith(kind) and name.endswith(".pdf"), name
        reader = PdfReader(io.BytesIO(data))
        assert {(round(page.mediabox.width), round(page.mediabox.height)) for page in reader.pages} == {size}, label
        titles = " ".join(str(value) for value in (reader.metadata or {}).values())
        texts[label] = in_a_row(" ".join(page.extract_text() for page in reader.pages))
        whole += [texts[label], titles]
        n_pages[label] = len(reader.pages)
    name, data = fetched(tab, tab.get_by_role("button", name=WEB_PAGE, exact=True))
    assert name.startswith(kind) and name.endswith(".html"), name
    page = data.decode("utf-8")
    assert not re.search(r'(?:src|href)="https?:', page)
    page = PICTURE.sub(lambda found: base64.b64decode(found[1]).decode("utf-8", "replace"), page.replace("<wbr>", ""))
    texts[WEB_PAGE] = in_a_row(html.unescape(re.sub(r"<style.*?</style>|<[^>]+>", " ", page, flags=re.DOTALL)))
    return Packs(texts, n_pages, in_a_row(" ".join([*whole, html.unescape(page)])))


def in_a_row(text: str) -> str:
    """The words of a text without places to break and without lines."""
    return " ".join(text.replace("\u200b", "").split())


def value_on_card(tab: Any, label: str) -> str:
    """What the card of this figure shows on the page."""
    card = tab.locator(".gp-card:not(.gp-waiting)").filter(has_text=label).first
    card.wait_for()
    return card.locator(".gp-value").inner_text()
