"""Technicians under a code name: the name of a tree, the same for one person while the list of people is the same."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import streamlit as st

from dashboard import roles, store_access, words

TREES = (
    "Alder", "Apple", "Ash", "Aspen", "Bay", "Beech", "Birch", "Box", "Cedar", "Cherry", "Chestnut",
    "Cypress", "Elder", "Elm", "Fig", "Fir", "Gum", "Hawthorn", "Hazel", "Hemlock", "Holly", "Hornbeam",
    "Juniper", "Larch", "Laurel", "Lime", "Linden", "Locust", "Maple", "Medlar", "Mulberry", "Myrtle",
    "Oak", "Olive", "Osier", "Pear", "Pine", "Plane", "Plum", "Poplar", "Quince", "Rowan", "Sallow",
    "Sorb", "Spruce", "Sumac", "Sycamore", "Tamarack", "Teak", "Walnut", "Willow", "Yew",
)  # fmt: skip
SWITCH_KEY = "code_names"

_TECHNICIANS = "SELECT technician_id, technician_name FROM technician ORDER BY technician_id"


def is_a_choice() -> bool:
    """Whether the reader may see names at all, so that there is something to choose."""
    return not roles.names_hidden() and roles.require_somebody().role != "technician"


def switch() -> bool:
    """The switch between names and code names; held in the address."""
    return st.toggle(
        "Show code names",
        key=SWITCH_KEY,
        bind="query-params",
        help="Technicians are shown under the name of a tree, in tables and exports too. "
        "Notes are left as they were written and may hold names.",
    )


def is_shown() -> bool:
    """Whether this reader sees code names now: chosen, or no others are theirs to see."""
    return roles.names_hidden() or bool(st.session_state.get(SWITCH_KEY))


def code_names(technician_ids: list[str], seed: int) -> dict[str, str]:
    """A tree for each technician, drawn without order so that the name tells nothing. ids: sorted."""
    order = np.random.default_rng(seed).permutation(len(technician_ids))
    names = {}
    for place, one in zip(order, technician_ids, strict=True):
        turn, tree = divmod(int(place), len(TREES))
        names[one] = TREES[tree] + (f" {turn + 1}" if turn else "")
    return names


def naming(is_code: bool | None = None) -> Callable[[object], str]:
    """What gives a technician as this reader may see them: the code name when asked for, else name and id.

    Fixed, so that it can be used after the page has been drawn (by an export), and for thousands at once.

    is_code: whether code names are shown; None = as the switch on the page says.
    """
    table = _names(store_access.key(), store_access.settings().random_seed)
    reader = roles.require_somebody()
    is_code = is_shown() if is_code is None else roles.names_hidden() or is_code
    unknown = "a technician not on record"

    def name_of(technician_id: object) -> str:
        if words.is_missing(technician_id):
            return words.NOT_KNOWN
        if reader.role == "technician" and str(technician_id) != reader.technician_id:
            return "a colleague"
        name, code = table.get(str(technician_id), (str(technician_id), unknown))
        return code if is_code else name

    return name_of


def on_record() -> frozenset[str]:
    """The ids of the technicians on record."""
    return frozenset(_names(store_access.key(), store_access.settings().random_seed))


@st.cache_resource(max_entries=4, show_spinner=False)
def _names(store_key: str, seed: int) -> dict[str, tuple[str, str]]:
    people = store_access.frame(_TECHNICIANS)
    codes = code_names(people["technician_id"].tolist(), seed)
    return {
        one: (f"{name} ({one})" if not words.is_missing(name) else one, codes[one])
        for one, name in zip(people["technician_id"], people["technician_name"], strict=True)
    }
