"""The figures as the pages read them: the saved ones for the whole store, worked out and kept for a narrowed scope."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Any

import pandas as pd
import streamlit as st

from dashboard import exchange, roles, store_access, working_ahead
from models.figures.all import Figures
from models.figures.bench_programme import BenchProgramme
from models.figures.callbacks import Callbacks
from models.figures.coaching_effect import CoachingEffect
from models.figures.control import ControlChart
from models.figures.converted import bench_programme_in, missing_in, waste_in
from models.figures.good_switch import GoodSwitch
from models.figures.missing import Missing
from models.figures.scope import Scope
from models.figures.seasons import Season
from models.figures.technicians import TechnicianFigures
from models.figures.waste import Waste
from pipelines.settings import Settings


def _all() -> Figures:
    """Every figure over the whole store. Shared by all readers: never change what it gives, nor hand it out unasked."""
    roles.require_somebody()
    return _whole(store_access.key(), store_access.settings())


def whole() -> Figures:
    """The same, for the page Method. What other pages show comes by family, each with its own right."""
    roles.require_page("method")
    return _all()


@st.cache_resource(max_entries=2, show_spinner="Computing the figures for the first time; this is kept.")
def _whole(store_key: str, settings: Settings) -> Figures:
    from models.figures.sidecar import figures_for

    figures = figures_for(store_access.store(), settings)
    working_ahead.start(store_access.home())
    return figures


@st.cache_resource(max_entries=120, show_spinner="Working it out for these filters.")
def _narrowed(store_key: str, settings: Settings, scope: Scope, name: str) -> Any:
    from models.figures import narrowed

    kept = narrowed.saved(store_access.store(), settings, scope, name)
    found = kept if kept is not None else _part_of(store_key, settings, scope).figures(name)
    _at_hand.add(_mark(store_key, settings, scope, name))
    return found


# What has been worked out since the server started. It only decides whether a page tells its reader to wait.
_at_hand: set[tuple[str, str, Scope, str]] = set()


def _mark(store_key: str, settings: Settings, scope: Scope, name: str) -> tuple[str, str, Scope, str]:
    from models.figures.sidecar import stamp

    return store_key, stamp(settings)["settings"], scope, name


def is_at_hand(name: str, scope: Scope) -> bool:
    """Whether a family of figures can be had at once; otherwise a page shows first what can."""
    from models.figures.narrowed import is_saved, narrowing

    scope, settings = narrowing(name, scope), store_access.settings()
    if scope.is_everything or _mark(store_access.key(), settings, scope, name) in _at_hand:
        return True
    return is_saved(store_access.store(), settings, scope, name)


@st.cache_resource(max_entries=2, show_spinner=False)
def _part_of(store_key: str, settings: Settings, scope: Scope) -> Any:
    """What several figures of one scope rest on; kept for the last few scopes only, since it holds single swaps."""
    from models.figures.narrowed import Part

    def wider(name: str, scope: Scope) -> Any:
        return _narrowed(store_key, settings, scope, name)

    return Part(store_access.reader, scope, settings, _all(), wider)


def _part(name: str, scope: Scope) -> Any:
    from models.figures.narrowed import narrowing

    is_by = name.startswith("good_switch_by")
    roles.require_figures("good_switch" if is_by else name)
    scope = narrowing(name, scope)
    if scope.is_everything:
        return getattr(_all(), "good_switch_by" if is_by else name)
    return _narrowed(store_access.key(), store_access.settings(), scope, name)


def good_switch(scope: Scope) -> GoodSwitch:
    return _part("good_switch", scope)


def good_switch_by(scope: Scope, by: str) -> pd.DataFrame:
    """by: branch, part_number, technician_id, week_on or month."""
    return _part(f"good_switch_by_{by}", scope)[by]


def callbacks(scope: Scope) -> Callbacks:
    return _part("callbacks", scope)


def seasons(scope: Scope) -> dict[str, Season]:
    return _part("seasons", scope)


def technicians(scope: Scope) -> TechnicianFigures:
    return _part("technicians", scope)


def sites(scope: Scope) -> pd.DataFrame:
    return _part("sites", scope)


def control(scope: Scope) -> dict[str, ControlChart]:
    return _part("control", scope)


def waste(scope: Scope) -> Waste:
    """In the reader's currency, as all that holds amounts is below."""
    found, money = _part("waste", scope), exchange.chosen()
    return waste_in(found, money.currency, money.rate) if money else found


def bench_programme(scope: Scope) -> BenchProgramme:
    """Worked out beside the saved figures: it rests on those of Parts waste."""
    roles.require_figures("bench_programme")
    found, money = _bench_programme(store_access.key(), store_access.settings(), scope), exchange.chosen()
    return bench_programme_in(found, waste(scope).known, money.currency, money.rate) if money else found


@st.cache_resource(max_entries=30, show_spinner=False)
def _bench_programme(store_key: str, settings: Settings, scope: Scope) -> BenchProgramme:
    from models.figures.bench_programme import bench_programme as work

    # What is kept for all readers stays in the company's currency.
    return work(store_access.reader(), scope, settings, _part("waste", scope))


def safety_items(scope: Scope) -> pd.DataFrame:
    """Visits with a safety reason that is still open. Shared by all readers: never change it."""
    roles.require_figures("safety_items")
    from models.figures.safety import within

    return within(_all().safety_items, scope)


def coaching() -> CoachingEffect:
    """Over the whole store whatever the filters: the twelve months around each session are not to be cut."""
    roles.require_figures("coaching")
    return _all().coaching


def coverage(scope: Scope) -> dict[str, Any]:
    return _part("coverage", scope)


def missing(scope: Scope) -> Missing:
    found, money = _part("missing", scope), exchange.chosen()
    return missing_in(found, money.rate) if money else found


@st.cache_data(max_entries=60, show_spinner="Fetching the visits.")
def _visits(
    store_key: str, scope: Scope, what: str, limit: int | None, keys: tuple[tuple[str, Any], ...]
) -> pd.DataFrame:
    from models.figures.cases import visits_behind

    return visits_behind(store_access.reader(), scope, what, limit=limit, **dict(keys))


def visits_behind(scope: Scope, what: str, limit: int | None = 500, **keys: Any) -> pd.DataFrame:
    """The visits a figure counts, newest first. what, keys: see models.figures.cases.

    Raises NotAllowed where the reader is a technician and the visits are not their own.
    """
    roles.require_technician(keys.get("technician_id"))
    return _visits(store_access.key(), scope, what, limit, tuple(sorted(keys.items())))


@st.cache_data(max_entries=200, show_spinner=False)
def _count(store_key: str, scope: Scope, what: str, keys: tuple[tuple[str, Any], ...]) -> int:
    from models.figures.cases import count_behind

    return count_behind(store_access.reader(), scope, what, **dict(keys))


def count_behind(scope: Scope, what: str, **keys: Any) -> int:
    """How many visits a figure counts; with the same rights."""
    roles.require_technician(keys.get("technician_id"))
    return _count(store_access.key(), scope, what, tuple(sorted(keys.items())))


@dataclass(frozen=True)
class Counted:
    """The visits behind a figure as something to ask later: called with the most visits wanted. n: how many there are."""

    rows: Callable[[int | None], pd.DataFrame]
    n: Callable[[], int]

    def __call__(self, limit: int | None) -> pd.DataFrame:
        return self.rows(limit)


def behind(scope: Scope, what: str, **keys: Any) -> Counted:
    """What visits_behind and count_behind give, asked later."""
    return Counted(
        roles.as_reader(lambda limit: visits_behind(scope, what, limit, **keys)),
        roles.as_reader(lambda: count_behind(scope, what, **keys)),
    )


def behind_each(scope: Scope, what: str, column: str) -> Callable[[Any], Counted]:
    """`behind` for the groups of a column, given one by one; the reader is looked up once, since there can be thousands."""
    rows = roles.as_reader(lambda value, limit: visits_behind(scope, what, limit, **{column: value}))
    count = roles.as_reader(lambda value: count_behind(scope, what, **{column: value}))
    return lambda value: Counted(partial(rows, value), partial(count, value))
