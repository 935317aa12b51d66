"""What the technicians wrote: notes put together from fragments, each technician in a hand of their own.

Fragments are turned into every hand once; a note is then a row of picks from those lists, joined by Arrow.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from pipelines.contract.units import INCH_OF_WATER_PA
from synthetic_data import causes
from synthetic_data import note_phrases as endings
from synthetic_data import note_words as words
from synthetic_data.outcomes import ALONGSIDE_REPAIR, BLIND, NO_SWAP, SWITCH_AT_FAULT
from synthetic_data.routine import KINDS, SYMPTOMS
from synthetic_data.technicians import N_HANDS, Technicians

PLAIN, TERSE, CHATTY, SHORT, MISSPELT, SLASHED = range(N_HANDS)
BLANK_SHARE = 0.04
_ARTICLES = re.compile(r"\b(the|a|an|it|is|was) ")
# Fragments with {n} are made with each of these numbers.
_NUMBERS = (2, 3, 4, 5, 6, 8, 9, 10, 12, 15, 20)
_GAUGE_WORDS = ((" wc", '" wc', " in wc", " iwc"), (" Pa", "Pa", " pa", " Pa"), (" mbar", "mbar", " mb", " mbar"))


def in_hand(fragment: str, hand: int) -> str:
    """A fragment as one of the hands writes it, with its own ending."""
    if not fragment:
        return ""
    if hand == PLAIN:
        return fragment[0].upper() + fragment[1:] + ". "
    if hand == TERSE:
        return _ARTICLES.sub("", fragment) + ", "
    if hand == CHATTY:
        return fragment[0].upper() + fragment[1:] + "... "
    if hand == SHORT:
        return _changed(fragment, endings.ABBREVIATIONS) + ". "
    if hand == MISSPELT:
        return _changed(fragment, endings.MISSPELLINGS) + " "
    return fragment.upper() + " / "


def _changed(fragment: str, pairs: tuple[tuple[str, str], ...]) -> str:
    for whole_word, written in pairs:
        fragment = re.sub(rf"\b{whole_word}\b", written, fragment)
    return fragment


@dataclass(frozen=True)
class Fragments:
    """All fragments in all hands. texts: hand after hand; first, size: place and number of each topic's fragments."""

    texts: pa.Array
    n_per_hand: int
    place: dict[str, int]
    first: np.ndarray
    size: np.ndarray

    def pick(self, rng: np.random.Generator, topic: np.ndarray, hand: np.ndarray) -> pa.Array:
        """One fragment of each topic number at random, in each hand; shape of topic. Topic -1: nothing."""
        chance = rng.random(len(topic))
        row = self.first[topic] + np.floor(chance * self.size[topic]).astype(np.int64)
        row = np.where(topic < 0, 0, row) + hand * self.n_per_hand
        return self.texts.take(pa.array(row))


@cache
def fragments() -> Fragments:
    """The fragments of note_words.py in every hand."""
    topics: dict[str, tuple[str, ...]] = {}
    topics |= {f"opening {name}": phrases for name, phrases in words.OPENING.items()}
    topics |= {f"finding {name}": phrases for name, phrases in words.FINDING.items()}
    topics |= {f"action {name}": phrases for name, phrases in endings.ACTION.items()}
    topics |= {"look": words.LOOK, "vague": words.VAGUE, "closing": endings.CLOSING}
    everything = [""]
    first: list[int] = []
    size: list[int] = []
    place: dict[str, int] = {}
    for name, phrases in topics.items():
        place[name] = len(first)
        written = [
            phrase.format(n=number) for phrase in phrases for number in (_NUMBERS if "{n}" in phrase else _NUMBERS[:1])
        ]
        # As often as its kin, however many numbers it comes with.
        repeats = [phrase for phrase in written if not re.search(r"\d", phrase)]
        written += repeats * (len(_NUMBERS) - 1)
        first.append(len(everything))
        size.append(len(written))
        everything += written
    texts = [in_hand(fragment, hand) for hand in range(N_HANDS) for fragment in everything]
    return Fragments(pa.array(texts, pa.string()), len(everything), place, np.array(first), np.array(size))


def make_notes(
    rng: np.random.Generator, jobs: pd.DataFrame, visits: pd.DataFrame, technicians: Technicians
) -> pa.Array:
    """One note per visit, blank for a few; text, shape (n_visits,).

    A finding is put into words only where the visit's cause is described (jobs.is_described).
    """
    known = fragments()
    n = len(visits)
    hand = technicians.hand[visits["technician"].to_numpy()]
    opening, finding, action = _topics(rng, known.place, jobs, visits)
    more = np.where(action == known.place["action maintenance"], action, -1)
    closing = np.where(rng.random(n) < 0.75, known.place["closing"], -1)
    readings = _reading_words(rng, jobs, visits, technicians)
    pieces = [
        _chatter(rng, hand),
        known.pick(rng, opening, hand),
        readings[0],
        known.pick(rng, finding, hand),
        known.pick(rng, action, hand),
        known.pick(rng, more, hand),
        readings[1],
        known.pick(rng, closing, hand),
    ]
    text = pc.binary_join_element_wise(*pieces, "")
    text = pc.utf8_rtrim(text, " ,/")
    # A visit whose finding counts as described has a note.
    is_blank = (rng.random(n) < BLANK_SHARE) & ((finding < 0) | (visits["part"].to_numpy() != 1))
    return pc.if_else(pa.array(is_blank), pa.scalar(None, pa.string()), text)


def _topics(
    rng: np.random.Generator, place: dict[str, int], jobs: pd.DataFrame, visits: pd.DataFrame
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Topic numbers of opening, finding and action of every visit."""
    n = len(visits)
    part, job = visits["part"].to_numpy(), visits["source"].to_numpy()
    kind, symptom = visits["kind"].to_numpy(), visits["symptom"].to_numpy()
    by_kind = np.array([place.get(f"opening {name}", place["opening return"]) for name in KINDS])
    routine_action = np.where(kind == KINDS.index("maintenance"), place["action maintenance"], place["action routine"])
    draft = np.flatnonzero(part > 0)
    of = {name: np.zeros(n, jobs[name].dtype) for name in _FROM_JOBS}
    for name in _FROM_JOBS:
        of[name][draft] = jobs[name].to_numpy()[job[draft]]
    by_symptom = np.array([place.get(f"opening {name}", place["opening no_heat"]) for name in SYMPTOMS])
    opening = np.where(part > 0, by_symptom[np.maximum(symptom, 0)], by_kind[kind])
    opening = np.where((part == 1) & (of["round_no"] > 0) & (rng.random(n) < 0.6), place["opening callback"], opening)
    opening = np.where(part == 2, place["opening return"], opening)
    by_cause = np.array([place.get(f"finding {name}", -1) for name in causes.CODES])
    described = (part == 1) & of["is_described"] & (of["recorded"] >= 0)
    finding = np.where(described, by_cause[np.maximum(of["recorded"], 0)], -1)
    quiet = (part == 1) & ~described & (rng.random(n) < 0.5)
    finding = np.where(quiet, np.where(of["is_found"], place["vague"], place["look"]), finding)
    waits = visits["waits"].to_numpy(bool)
    way = of["swap_way"]
    action = np.select(
        [
            part == 0,
            waits,
            of["is_shut_down"],
            (part == 2) & (way == NO_SWAP),
            way == BLIND,
            way == ALONGSIDE_REPAIR,
            way == SWITCH_AT_FAULT,
            of["is_found"],
        ],
        [
            np.where(waits, place["action waits"], routine_action),
            np.full(n, place["action waits"]),
            np.full(n, place["action shut_down"]),
            np.full(n, place["action fit_part"]),
            np.full(n, place["action swap_blind"]),
            np.full(n, place["action swap_alongside"]),
            np.full(n, place["action swap_at_fault"]),
            np.full(n, place["action repaired"]),
        ],
        default=place["action reset"],
    )
    return opening, finding, action


_FROM_JOBS = ("round_no", "is_described", "recorded", "is_found", "swap_way", "is_shut_down")


def _chatter(rng: np.random.Generator, hand: np.ndarray) -> pa.Array:
    """Words before the matter, of the chatty hand only."""
    pick = np.where(hand == CHATTY, rng.integers(0, len(endings.CHATTY_LEAD), len(hand)), len(endings.CHATTY_LEAD) - 1)
    return pa.array(endings.CHATTY_LEAD, pa.string()).take(pa.array(pick))


def _reading_words(
    rng: np.random.Generator, jobs: pd.DataFrame, visits: pd.DataFrame, technicians: Technicians
) -> tuple[pa.Array, pa.Array]:
    """Draft before and after the repair in words (`.62 wc on start`), and odd figures of routine visits."""
    part, job = visits["part"].to_numpy(), visits["source"].to_numpy()
    waits = visits["waits"].to_numpy(bool)
    unit = technicians.gauge_unit[visits["technician"].to_numpy()]
    values = []
    for name, rows in (("before_pa", part == 1), ("after_pa", (part == 2) | ((part == 1) & ~waits))):
        value = np.full(len(visits), np.nan)
        value[rows] = jobs[name].to_numpy()[job[rows]]
        values.append(np.where(rng.random(len(visits)) < 0.6, value, np.nan))
    before = _measured(rng, values[0], unit, endings.READING_BEFORE)
    after = _measured(rng, values[1], unit, endings.READING_AFTER)
    is_extra = (part == 0) & (rng.random(len(visits)) < 0.45)
    pair = rng.integers(0, len(endings.EXTRA), len(visits))
    return before, pc.if_else(pa.array(is_extra), _around(pair, endings.EXTRA, _odd_number(rng, pair)), after)


def _odd_number(rng: np.random.Generator, pair: np.ndarray) -> pa.Array:
    low, high = np.array([4, 46, 18, 25, 19, 45]), np.array([60, 72, 32, 95, 23, 95])
    return pa.array(rng.integers(low[pair], high[pair])).cast(pa.string())


def _measured(
    rng: np.random.Generator, value_pa: np.ndarray, unit: np.ndarray, pairs: tuple[tuple[str, str], ...]
) -> pa.Array:
    n = len(value_pa)
    per_unit = np.array([INCH_OF_WATER_PA, 1.0, 100.0])[unit]
    there = np.isfinite(value_pa)
    shown = np.where(there, value_pa / per_unit, 0.0)
    text = pa.array(np.where(unit == 1, np.round(shown), np.round(shown, 2))).cast(pa.string())
    text = pc.replace_substring_regex(pc.replace_substring_regex(text, r"\.0$", ""), r"^0\.", ".")
    spelled = np.array(_GAUGE_WORDS, dtype=object)[unit, rng.integers(0, 4, n)]
    text = pc.binary_join_element_wise(text, pa.array(spelled, pa.string()), "")
    return pc.if_else(pa.array(there), _around(rng.integers(0, len(pairs), n), pairs, text), pa.scalar(""))


def _around(pick: np.ndarray, pairs: tuple[tuple[str, str], ...], middle: pa.Array) -> pa.Array:
    rows = pa.array(pick)
    before = pa.array([pair[0] for pair in pairs], pa.string()).take(rows)
    behind = pa.array([pair[1] + ". " for pair in pairs], pa.string()).take(rows)
    return pc.binary_join_element_wise(before, middle, behind, "")
