"""Notes by hands that write in no fleet, with the truth of what each states: to measure the reader of notes."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd

from synthetic_data import held_out_phrases as phrases
from synthetic_data.causes import CODES, GROUPS

TELEGRAM, CLERK, THUMBS, SHORTENER = range(4)
HANDS = ("telegram", "clerk", "thumbs", "shortener")
# What a note says of the cause recorded with it, and how often.
KINDS = {"found": 0.45, "denied": 0.15, "open": 0.10, "other_found": 0.12, "silent": 0.18}
TYPO_SHARE = 0.10
_GROUP_OF = dict(zip(CODES, GROUPS, strict=True))


def of_half(texts: tuple[str, ...], half: str) -> tuple[str, ...]:
    """Every other phrase: the first, third, ... to develop on, the second, fourth, ... to report; "both" for all."""
    return {"development": texts[0::2], "reported": texts[1::2], "both": texts}[half]


def held_out_notes(rng: np.random.Generator, n: int, half: str = "reported") -> pd.DataFrame:
    """Invented notes and what they state. The same generator state gives the same rows.

    half: whose phrases of findings, denials and doubts are used, see of_half; the other phrases are common to both.
    Columns: note, hand, kind (one of KINDS), cause_code (as recorded on the visit), cause_group, states_finding_of_group
    (the truth for the tier), states_finding, states_action, states_denial_or_doubt (of a finding or an action).
    """
    kinds = rng.choice(list(KINDS), n, p=list(KINDS.values()))
    return pd.DataFrame([_note(rng, str(kind), int(rng.integers(len(HANDS))), half) for kind in kinds])


def _note(rng: np.random.Generator, kind: str, hand: int, half: str) -> dict[str, object]:
    code = _any(rng, tuple(phrases.FOUND))
    group = _GROUP_OF[code]
    middle, denies = [], kind in ("denied", "open")
    if kind == "found":
        middle.append(_any(rng, of_half(phrases.FOUND[code], half)))
    elif kind == "other_found":
        other = _any(rng, [name for name in phrases.FOUND if _GROUP_OF[name] != group])
        middle.append(_any(rng, of_half(phrases.FOUND[other], half)))
    elif kind == "denied":
        middle.append(_any(rng, of_half(phrases.DENIED[group], half)))
    elif kind == "open":
        middle.append(_any(rng, of_half(phrases.OPEN[group], half)))
    if kind in ("found", "silent") and rng.random() < 0.35:
        other = _any(rng, [name for name in phrases.DENIED if name != group])
        middle.insert(int(rng.integers(len(middle) + 1)), _any(rng, of_half(phrases.DENIED[other], half)))
        denies = True
    is_done = bool(rng.random() < 0.75)
    is_left = not is_done and bool(rng.random() < 0.6)
    action = [_any(rng, phrases.DONE)] if is_done else [_any(rng, phrases.NOT_DONE)] if is_left else []
    pieces = [_any(rng, phrases.OPENED), _any(rng, phrases.READ), *middle, *action, _any(rng, phrases.CLOSED)]
    return {
        "note": _written(rng, [piece for piece in pieces if piece], hand),
        "hand": HANDS[hand],
        "kind": kind,
        "cause_code": code,
        "cause_group": group,
        "states_finding_of_group": kind == "found",
        "states_finding": kind in ("found", "other_found"),
        "states_action": is_done,
        "states_denial_or_doubt": denies or is_left,
    }


def _any(rng: np.random.Generator, values: tuple[str, ...] | list[str]) -> str:
    return values[int(rng.integers(len(values)))]


def _written(rng: np.random.Generator, pieces: list[str], hand: int) -> str:
    if hand == TELEGRAM:
        return " - ".join(pieces).upper()
    if hand == CLERK:
        return " ".join(piece[0].upper() + piece[1:] + "." for piece in pieces)
    text = ", ".join(pieces) if hand == THUMBS else ". ".join(pieces)
    if hand == THUMBS:
        return re.sub(r"[a-z]{5,}", lambda word: _typed(rng, word[0]), text)
    for whole, short in phrases.SHORTENED:
        text = re.sub(rf"\b{whole}\b", short, text)
    return text


def _typed(rng: np.random.Generator, word: str) -> str:
    """A word of five letters or more, sometimes with one slip of the thumbs; its first letter holds."""
    if rng.random() >= TYPO_SHARE:
        return word
    place = int(rng.integers(1, len(word) - 1))
    slip = int(rng.integers(3))
    if slip == 0:
        return word[:place] + word[place + 1] + word[place] + word[place + 2 :]
    if slip == 1:
        return word[:place] + word[place + 1 :]
    return word[:place] + word[place] + word[place:]
