"""What a printed pack is made of, before it is set in type: plain text and drawn charts, no markup of any kind.

Both printers (typeset, web_page) take the same Document, so the PDF and the web page cannot differ in a number.
"""

from __future__ import annotations

import datetime as dt
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from dashboard import words
from dashboard.figure_card import bar_of
from models.methods.estimate import Estimate

# Longer unbroken text gets places to break.
LONGEST_UNBROKEN = 24
ZERO_WIDTH_SPACE = "\u200b"


@dataclass(frozen=True)
class Lead:
    """The answer in a sentence."""

    text: str
    kind: str = "lead"


@dataclass(frozen=True)
class Heading:
    text: str
    kind: str = "heading"


@dataclass(frozen=True)
class Text:
    text: str
    is_quiet: bool = False
    kind: str = "text"


@dataclass(frozen=True)
class Card:
    """One figure as on the screen. bar: low, high and value on a rule, each in 0..100, or None."""

    label: str
    value: str
    reach: str
    lines: tuple[str, ...]
    bar: tuple[float, float, float] | None
    is_known: bool


@dataclass(frozen=True)
class Cards:
    cards: tuple[Card, ...]
    kind: str = "cards"


@dataclass(frozen=True)
class Chart:
    """A drawn chart: SVG text, what it shows in words, and its caption. narrow_svg: the same for a phone; empty = as it is."""

    svg: str
    alt: str
    caption: str = ""
    narrow_svg: str = ""
    kind: str = "chart"


@dataclass(frozen=True)
class Table:
    """columns: (title, 'text' or 'number'). shares: widths relative to each other, one per column; empty = as needed."""

    columns: tuple[tuple[str, str], ...]
    rows: tuple[tuple[str, ...], ...]
    caption: str = ""
    note: str = ""
    shares: tuple[float, ...] = ()
    kind: str = "table"


@dataclass(frozen=True)
class Bullets:
    """items as a list; is_ticked: with a box before each, to tick with a pen. spacing: between them, in points."""

    title: str
    items: tuple[str, ...]
    is_ticked: bool = False
    spacing: float = 4
    kind: str = "bullets"


@dataclass(frozen=True)
class Notice:
    """The safety or the fairness text. is_calm: with a thin rule; else with a heavy frame."""

    title: str
    items: tuple[str, ...]
    is_calm: bool = False
    kind: str = "notice"


@dataclass(frozen=True)
class Lines:
    """Empty lines to write on."""

    title: str
    n: int = 3
    kind: str = "lines"


@dataclass(frozen=True)
class Pair:
    left: tuple[Any, ...]
    right: tuple[Any, ...]
    kind: str = "pair"


@dataclass(frozen=True)
class PageBreak:
    kind: str = "page_break"


@dataclass(frozen=True)
class Document:
    """title, about: the head of every page. footer: at the foot. made_on: the day that stands in the file as its date.
    at_most: pages it must keep to, or None."""

    title: str
    about: str
    blocks: tuple[Any, ...]
    footer: str
    made_on: dt.date
    name: str = "pack"
    at_most: int | None = None


def card(
    label: str,
    estimate: Estimate,
    unit: str,
    rests_on: str = "",
    note: str = "",
    currency: str | None = None,
) -> Card:
    """A figure as the screen shows it: value, range, what it rests on; or why it is not known."""
    lines = tuple(line for line in (rests_on, note) if line)
    if not estimate.is_known:
        why = estimate.sentence or "There are not enough records to say."
        return Card(label, "Not known", why, lines, None, False)
    reach = words.range_of(estimate, unit, currency)
    value = words.value_of(estimate.value, unit, currency)
    return Card(label, value, reach[:1].upper() + reach[1:], lines, bar_of(estimate, unit), True)


def table(
    columns: Sequence[tuple[str, str]],
    rows: Sequence[Sequence[Any]],
    otherwise: str,
    caption: str = "",
    note: str = "",
    shares: Sequence[float] = (),
    longest: int = 160,
) -> Table | Text:
    """A table of text, missing cells empty and long ones cut; the sentence in its place where there is no row."""
    if not rows:
        return Text(f"{caption}: {otherwise}" if caption else otherwise)
    cells = tuple(tuple(_cell(cell, longest) for cell in row) for row in rows)
    return Table(tuple(columns), cells, caption, note, tuple(shares))


def _cell(cell: Any, longest: int) -> str:
    text = "" if words.is_missing(cell) else " ".join(words.told(str(cell)).split())
    return text if len(text) <= longest else text[: longest - 1] + "…"


def breakable(text: str) -> str:
    """The text as it may be printed: numbers of the models' sentences in the reader's separators, no control or direction
    marks, long unbroken pieces given places to break.
    """
    kept = "".join(
        sign for sign in words.told(text) if sign == "\n" or unicodedata.category(sign) not in ("Cc", "Cf", "Cs", "Co")
    )
    pieces = []
    for word in kept.split(" "):
        starts = range(0, len(word), LONGEST_UNBROKEN)
        pieces.append(ZERO_WIDTH_SPACE.join(word[start : start + LONGEST_UNBROKEN] for start in starts))
    return " ".join(pieces)
