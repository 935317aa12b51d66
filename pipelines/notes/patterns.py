"""Regular expressions of the note reader, made from vocabulary.toml.

The reader knows no grammar. A finding is a part and a state close together (`trap full`, `cracked hose`); it is denied
or left open by the words just before or behind it, or inside it. Words reach across spaces, a hyphen, a slash or a
colon, never across other punctuation or a line's end. Every expression takes time linear in the length of the note.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable
from functools import cache
from pathlib import Path
from typing import Any

VOCABULARY = Path(__file__).with_name("vocabulary.toml")
# Shorter words are read only as spelled: a letter less would make another word of them.
SHORTEST_READ_LOOSELY = 6
# How many words may stand between a part and its state, and between an opening word and what it leaves open.
WORDS_BETWEEN, WORDS_LEFT_OPEN = 3, 3
_NEXT = r"[ \t:/-] ?"
_LIST = re.compile(r"\{(\w+)\}")


@cache
def vocabulary() -> dict[str, Any]:
    """The declared words."""
    return tomllib.loads(VOCABULARY.read_text("utf-8"))


def loosely(word: str) -> str:
    """A word of which vowels behind the first letter may be missing, and double letters be single.

    One expression a letter: alternatives for every slip would take longer to compile than all notes to read.
    """
    behind_first = zip(word, word[1:], strict=False)
    return word[0] + "".join(
        letter + ("?" if letter == before or letter in "aeiou" else "") for before, letter in behind_first
    )


def any_of(entries: Iterable[str], is_loose: bool = True) -> str:
    """One expression for any of the entries, longer ones first, in all their spellings; long words loosely or not."""
    longest_first = sorted(dict.fromkeys(entries), key=lambda entry: (-len(entry), entry))
    return _either(_NEXT.join(_word(word, is_loose) for word in entry.split()) for entry in longest_first)


def _word(word: str, is_loose: bool) -> str:
    named = _LIST.fullmatch(word)
    if named:
        return any_of(vocabulary()["parts"][named[1]], is_loose)
    stem = word.removesuffix("*")
    if not stem:
        return r"\w+"
    if stem.startswith("*"):
        return rf"\w+{_literal(stem[1:])}"
    is_long = is_loose and len(stem) >= SHORTEST_READ_LOOSELY and stem.isalpha()
    written = [loosely(stem) if is_long else _literal(stem)]
    written += [_literal(spelling) for spelling in vocabulary()["spellings"].get(stem, [])]
    return _either(written) + (r"\w*" if word.endswith("*") else "")


def _literal(text: str) -> str:
    return re.escape(text).replace("'", "['\u2019]?")


def _either(expressions: Iterable[str]) -> str:
    distinct = list(dict.fromkeys(expressions))
    return distinct[0] if len(distinct) == 1 else f"(?:{'|'.join(distinct)})"


def whole(expression: str) -> str:
    """The expression as whole words."""
    return rf"\b(?:{expression})\b"


@cache
def groups() -> tuple[str, ...]:
    """The groups of causes that a note can describe."""
    return tuple(dict.fromkeys(rule["group"] for rule in vocabulary()["finding"]))


@cache
def finding(group: str) -> str:
    """What describes a cause of the group, without regard to denial."""
    between = rf"(?:{_NEXT}\w+){{0,{WORDS_BETWEEN}}}?{_NEXT}"
    kinds = []
    for rule in (rule for rule in vocabulary()["finding"] if rule["group"] == group):
        part = any_of(entry for name in rule["parts"] for entry in vocabulary()["parts"][name])
        behind = any_of([*rule.get("either", []), *rule.get("behind", [])])
        before = any_of([*rule.get("either", []), *rule.get("before", [])])
        kinds += [f"{part}{between}{behind}", f"{before}{between}{part}"]
        phrases = [*rule.get("phrases", []), *rule.get("saying_no", [])]
        if phrases:
            kinds.append(any_of(phrases))
    return whole("|".join(kinds))


@cache
def general_finding() -> str:
    """Words that say that something is wrong, of whatever part."""
    return whole(any_of(vocabulary()["general"]["words"]))


@cache
def lost_function() -> str:
    """Words that say that something does not do what it should: `not working`, `no heat`."""
    return whole(any_of(vocabulary()["general"]["saying_no"]))


@cache
def says_no_itself() -> str:
    """The end of findings that hold a denying word and mean it (`no restrictor`)."""
    entries = [entry for rule in vocabulary()["finding"] for entry in rule.get("saying_no", [])]
    # The part in front is left away, the expression shorter: the finding as a whole has matched already.
    ends = any_of(re.sub(r"^\{\w+\} ", "", entry) for entry in entries)
    return rf"\b{ends}$"


@cache
def denied_before() -> str:
    """The end of what stands before a finding, where that denies it or leaves it open."""
    deny, leaves_open = vocabulary()["deny"], vocabulary()["open"]
    denying = rf"{any_of(deny['words'], is_loose=False)}(?:{_NEXT}{any_of(deny['carry'], is_loose=False)})*"
    opening = rf"{any_of(leaves_open['words'], is_loose=False)}(?:{_NEXT}[\w']+){{0,{WORDS_LEFT_OPEN}}}"
    at_once = any_of(leaves_open["at_once"], is_loose=False)
    return rf"\b(?:{denying}|{opening}|{at_once}){_NEXT}$"


@cache
def denied_behind() -> str:
    """The beginning of what stands behind a finding, where that denies it or leaves it open."""
    deny, leaves_open = vocabulary()["deny"], vocabulary()["open"]
    return rf"^(?:{_NEXT}{any_of([*deny['behind'], *leaves_open['behind']], is_loose=False)}\b| ?\?|: ?{any_of(deny['sound'], is_loose=False)}\b)"


@cache
def undone_inside() -> str:
    """Words that, inside a finding, make it none: denial, doubt, soundness, another matter between."""
    deny, leaves_open = vocabulary()["deny"], vocabulary()["open"]
    words = [*deny["words"], *deny["sound"], *leaves_open["words"], *vocabulary()["apart"]["words"]]
    return whole(any_of(words, is_loose=False))


@cache
def action() -> str:
    """What was done, with the part that follows it."""
    parts = any_of(entry for entries in vocabulary()["parts"].values() for entry in entries)
    words = any_of(vocabulary()["action"]["words"])
    phrases = any_of(vocabulary()["action"]["phrases"])
    return whole(rf"{phrases}|{words}(?:(?:{_NEXT}(?:the|a|an|new|both|in))?{_NEXT}{parts})?")


@cache
def not_done_before() -> str:
    """The end of what stands before an action that was not done."""
    return rf"\b{any_of(vocabulary()['action']['not_done'])}(?:{_NEXT}[\w']+){{0,{WORDS_LEFT_OPEN}}}{_NEXT}$"


@cache
def not_done_behind() -> str:
    """The beginning of what stands behind an action that was not done."""
    return rf"^{_NEXT}{any_of(vocabulary()['action']['not_done_behind'])}\b"


@cache
def sound_part() -> str:
    """A part called sound: `trap ok`, `hose was dry`."""
    parts = any_of(entry for entries in vocabulary()["parts"].values() for entry in entries)
    linking = any_of(vocabulary()["deny"]["linking"])
    return whole(rf"{parts}(?:{_NEXT}{linking}){{0,2}}{_NEXT}{any_of(vocabulary()['deny']['sound'])}")


@cache
def nothing() -> str:
    """Said of the visit: nothing wrong, nothing done, only priced, only needed."""
    said = vocabulary()["nothing"]
    return whole(rf"{any_of(said['phrases'])}|{any_of(said['with_next'])}(?:{_NEXT}[\w-]+){{1,2}}")


@cache
def reading() -> str:
    """A pressure in the text, with its unit: `.62 wc`, `0.85" w.c.`, `160 Pa`."""
    inches = r"(?:\"|''|″|”|in\.?|inch(?:es)?)"
    water = r"(?:w\.? ?c\.?|w\.?g\.?|h2o|of water|water column)"
    return rf"-?(?:\d+(?:[.,]\d+)?|[.,]\d+) ?(?:{inches} ?{water}|iwc\b|{water}|pa\b|hpa\b|kpa\b|mbar\b|mb\b|\")"
