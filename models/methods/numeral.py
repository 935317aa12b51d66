"""Numbers within sentences, marked where they are made, so that whoever shows the sentence can write them otherwise.

A sentence may hold ids, part numbers, dates and versions beside its numbers; only what was marked here is a number.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

# Unicode's own signs around a text set into another one. They take no room, should a mark ever be left standing.
BEGIN, END = "\u2068", "\u2069"
_IN_PROSE = re.compile(r"(?<![\w.,])(?:\d{1,3}(?:,\d{3})+(?:\.\d+)?|\d+\.\d+)(?![\w.]\w)")
_MARKED = re.compile(f"{BEGIN}([+-]?[0-9][0-9,]*(?:\\.[0-9]+)?){END}")


def numeral(value: Any, form: str = ",.0f") -> str:
    """A number for a sentence, in its canonical form 1,234.5; marked where another reader would write it otherwise.

    form: as format() takes it; a percent sign at its end stands behind the number.
    """
    text = format(value, form)
    figures, sign = (text[:-1], "%") if text.endswith("%") else (text, "")
    return f"{BEGIN}{figures}{END}{sign}" if "," in figures or "." in figures else text


def marked(prose: str) -> str:
    """A text of our own with the numbers in it marked. Never for text that holds anything of the records: an id may look so."""
    return _IN_PROSE.sub(lambda found: f"{BEGIN}{found[0]}{END}", prose)


def rewritten(text: str, written: Callable[[str], str]) -> str:
    """The sentence with every marked number as `written` writes it; all else, marks of others included, as it is."""
    return _MARKED.sub(lambda found: written(found[1]), text) if BEGIN in text else text


def canonical(text: str) -> str:
    """The sentence with its numbers as 1,234.5 and without marks: for files, the terminal and other programs."""
    return rewritten(text, lambda number: number)
