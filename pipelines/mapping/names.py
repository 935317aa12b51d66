"""How like the name of a column is to the words a field goes by, in English, German, French and Spanish."""

from __future__ import annotations

import re
import tomllib
import unicodedata
from functools import cache
from pathlib import Path

from pipelines.contract.fields import Field
from pipelines.contract.tables import TABLES
from pipelines.mapping.declared import folded_text

WORDS = Path(__file__).with_name("words.toml")
# Ways to write "number", by itself or at the end of a word.
_NUMBER = re.compile(r"\b(nr|num|number|numero|nummer|n[°ºo])(?![a-z])\s*")
_ENDS_IN_NUMBER = re.compile(r"(?<=[a-z]{3})(nummer|nr)\b")
_SMALL = re.compile(r"\b(of|the|and|der|des|die|das|und|de|du|la|le|les|et|del|el|los|las|y|d|l)\b")
# The name of a column that only counts rows.
_ROW_NAMES = frozenset({"no", "row", "row no", "rows", "lfd no", "lfd", "laufende no", "zeile", "zeilen no", "ligne", "no ligne", "rang", "fila", "no fila", "orden", "line", "index", "record", "record no"})  # fmt: skip
# A word that stands at another field too counts a little less here.
_PERHAPS = 0.92
_GROUP = re.compile(r"^(.*[a-z])\s?([1-9])$")
_FIRST_OF_MANY = 0.97
_SHORT = 4


def bare(name: str) -> str:
    """A name without accents, marks and small words; every way to write "number" is "no"."""
    marked = folded_text(name).replace("ß", "ss").replace("#", " no ").replace("°", "o").replace("º", "o")
    plain = "".join(one for one in unicodedata.normalize("NFKD", marked) if not unicodedata.combining(one))
    spaced = re.sub(r"[^a-z0-9/]+", " ", plain)
    numbered = _NUMBER.sub(" no ", _ENDS_IN_NUMBER.sub(" no", spaced))
    return " ".join(_SMALL.sub(" ", numbered).split())


def names_rows(bare_name: str) -> bool:
    """Whether a name is one of a column that only counts rows."""
    return bare_name in _ROW_NAMES


@cache
def is_short_and_exact(column: str) -> bool:
    """Whether a column's name is the very word of some field of the contract, and so short that many words are like it."""
    return len(bare(column)) <= _SHORT and any(
        likeness(entry, column) == 1 for table in TABLES if not table.is_entered_here for entry in table.fields
    )


def likeness(entry: Field, column: str) -> float:
    """How like a column's name is to the words a field goes by, 0..1."""
    key = bare(column)
    if not key:
        return 0.0
    best = _best(entry, key)
    group = _GROUP.match(key)
    if group is None or best == 1:
        return best
    # The first of columns that stand several times, such as "Part 1"; the second is not what the first is.
    return _FIRST_OF_MANY * _best(entry, group[1].strip()) if group[2] == "1" else 0.5 * best


def _best(entry: Field, key: str) -> float:
    best = _likeness(key, frozenset({bare(entry.name), *(bare(word) for word in _words().get(entry.name, ()))}))
    perhaps = _words().get(f"{entry.name}_perhaps")
    return max(best, _PERHAPS * _likeness(key, frozenset(bare(word) for word in perhaps))) if perhaps else best


@cache
def _likeness(key: str, words: frozenset[str]) -> float:
    from rapidfuzz import fuzz

    if key in words:
        return 1.0
    best = max(max(fuzz.ratio(key, word), 0.95 * fuzz.token_sort_ratio(key, word)) for word in words)
    # All the words of one within the other, such as "draft in wc" and "draft".
    within = max((fuzz.token_set_ratio(key, word) for word in words if len(word) > 3), default=0)
    # A compound is what its last part says, such as "Kesselstandort".
    first = key.removesuffix(" no")
    if any(len(word) > 4 and first.endswith(word) and first != word for word in words):
        within = max(within, 100)
    return max(best, 0.8 * within) / 100


@cache
def _words() -> dict[str, list[str]]:
    return tomllib.loads(WORDS.read_text("utf-8"))
