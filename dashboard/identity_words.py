"""A pair that may be one technician or appliance, in words: why it is proposed, what speaks against it, how strongly."""

from __future__ import annotations

from typing import Any

from dashboard import words
from pipelines.identity_pairs import Pair, Side

STRENGTH = {
    "near_certain": "near-certain",
    "likely": "likely",
    "doubtful": "doubtful",
    "speaks_against": "speaks against it",
}
REASON = {
    "same_id": "the ids are alike but for capitals, punctuation or leading zeros",
    "same_name": "the names are alike but for capitals, accents, punctuation or the order of the words",
    "same_initials": "the names are alike, but one of their words is only an initial",
    "initials": "one writes an initial where the other writes the name",
    "near_name": "the names are one letter apart",
    "fewer_names": "one leaves out a name that the other has",
    "handover": "one name of two differs, and in the same branch one began when the other ended",
    "same_serial": "the serials are alike; O counts as 0, and I and L as 1",
    "near_serial": "the serials are one character apart",
    "no_serial": "the only two of one model on the site, a serial is blank, and visits to the one end before those to the other begin",
}
AGAINST = {
    "branch": "the branches differ",
    "name": "the names have no word in common",
    "serial": "the serials differ",
    "model": "the models differ",
    "kind": "the kinds of appliance differ",
}
RULE = (
    "Names, ids, serials and models are compared without capitals, accents and punctuation. Whatever is found only waits "
    "here: nothing is merged until a person says so, near-certain or not. Technicians with visits at two sites at the same "
    "time, or both in the crew of one visit, are taken for two people. Appliances are compared on one site only; serials "
    "that differ in one digit are not proposed, since units made one after the other differ so, and neither are two alike "
    "without a serial that were visited in turn. Decisions stand in own-work.sqlite beside the records, hold after every "
    "load, and can be taken back."
)


def why(pair: Pair) -> str:
    """The reason, as a sentence without its end."""
    return REASON[pair.reason]


def against(pair: Pair) -> str:
    """What speaks against it; "" where nothing is known to."""
    said = [AGAINST[code] for code in pair.against if code in AGAINST]
    if "at_once" in pair.against:
        said.insert(
            0, f"{words.plural(pair.n_clash, 'time')} at two places at once or in one crew (visits {pair.example})"
        )
    if "same_day" in pair.against:
        said.append(f"both were visited on {words.plural(pair.n_clash, 'same day')}")
    return "; ".join(said)


def visits(side: Side) -> str:
    """How many visits name an entry, from when to when."""
    if not side.n_visits:
        return "no visit"
    return f"{words.plural(side.n_visits, 'visit')}, {words.date(side.first_on)} to {words.date(side.last_on)}"


def detail(value: Any) -> str:
    """One detail of the register; a blank where it says nothing."""
    if words.is_missing(value):
        return ""
    return words.date(value) if hasattr(value, "year") else str(value)
