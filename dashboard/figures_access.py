"""The figures as the pages read them: the saved ones for the whole store, worked out and kept for a narrowed scope."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd
import streamlit as st

from dashboard import roles, store_access
from models.figures.all import Figures
from models.figures.bench_programme import BenchProgramme
from models.figures.callbacks import Callbacks
from models.figures.coaching_effect import CoachingEffect
from models.figures.control import ControlChart
from models.figures.good_switch import GoodSwitch
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

    return figures_for(store_access.store(), settings)


@st.cache_resource(max_entries=120, show_spinner="Working it out for these filters.")
def _narrowed(store_key: str, settings: Settings, scope: Scope, name: str, by: str | None) -> Any:
    return _WORK[name](store_access.reader(), scope, settings, by)


def _rng(settings: Settings) -> np.random.Generator:
    return np.random.default_rng(settings.random_seed)


def _good_switch(con: Any, scope: Scope, settings: Settings, by: str | None) -> Any:
    from models.figures import good_switch as family

    return (
        family.good_switch_rate(con, scope, settings) if by is None else family.good_switch_by(con, scope, settings, by)
    )


def _callbacks(con: Any, scope: Scope, settings: Settings, by: str | None) -> Callbacks:
    from models.figures.callbacks import callbacks as work

    return work(con, scope, settings)


def _seasons(con: Any, scope: Scope, settings: Settings, by: str | None) -> dict[str, Season]:
    from models.figures.seasons import seasons as work

    return work(con, scope, settings, _rng(settings))


def _technicians(con: Any, scope: Scope, settings: Settings, by: str | None) -> TechnicianFigures:
    from models.figures.technicians import technicians as work

    return work(con, scope, settings, _all().scores, _rng(settings))


def _sites(con: Any, scope: Scope, settings: Settings, by: str | None) -> pd.DataFrame:
    from models.figures.sites import sites as work

    return work(con, scope, settings, _all().scores)


def _control(con: Any, scope: Scope, settings: Settings, by: str | None) -> dict[str, ControlChart]:
    from models.figures.control import control as work

    return work(con, scope, settings)


def _waste(con: Any, scope: Scope, settings: Settings, by: str | None) -> Waste:
    from models.figures.waste import waste as work

    return work(con, scope, settings, _all().scores, _rng(settings))


def _bench_programme(con: Any, scope: Scope, settings: Settings, by: str | None) -> BenchProgramme:
    from models.figures.bench_programme import bench_programme as work

    return work(con, scope, settings, waste(scope))


def _safety_items(con: Any, scope: Scope, settings: Settings, by: str | None) -> pd.DataFrame:
    from models.figures.safety import open_safety_items as work

    return work(con, scope)


def _coverage(con: Any, scope: Scope, settings: Settings, by: str | None) -> dict[str, Any]:
    from models.figures.coverage import coverage as work

    return work(con, scope)


_WORK: dict[str, Callable[[Any, Scope, Settings, str | None], Any]] = {
    "good_switch": _good_switch,
    "callbacks": _callbacks,
    "seasons": _seasons,
    "technicians": _technicians,
    "sites": _sites,
    "control": _control,
    "waste": _waste,
    "coverage": _coverage,
    "bench_programme": _bench_programme,
    "safety_items": _safety_items,
}


def _part(name: str, scope: Scope, by: str | None = None) -> Any:
    roles.require_figures(name)
    if scope.is_everything:
        return getattr(_all(), name) if by is None else _all().good_switch_by[by]
    return _narrowed(store_access.key(), store_access.settings(), scope, name, by)


def good_switch(scope: Scope) -> GoodSwitch:
    return _part("good_switch", scope)


def good_switch_by(scope: Scope, by: str) -> pd.DataFrame:
    """by: branch, part_number, technician_id, week_on or month."""
    return _part("good_switch", scope, by)


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
    return _part("waste", scope)


def bench_programme(scope: Scope) -> BenchProgramme:
    """Worked out beside the saved figures: it rests on those of Parts waste."""
    roles.require_figures("bench_programme")
    return _narrowed(store_access.key(), store_access.settings(), scope, "bench_programme", None)


def safety_items(scope: Scope) -> pd.DataFrame:
    """Visits with a safety reason that is still open. Shared by all readers: never change it."""
    roles.require_figures("safety_items")
    return _narrowed(store_access.key(), store_access.settings(), scope, "safety_items", None)


def coaching() -> CoachingEffect:
    """Over the whole store whatever the filters: the twelve months around each session are not to be cut."""
    roles.require_figures("coaching")
    return _all().coaching


def coverage(scope: Scope) -> dict[str, Any]:
    return _part("coverage", scope)


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


def behind(scope: Scope, what: str, **keys: Any) -> Callable[[int | None], pd.DataFrame]:
    """The same as something to ask later: called with the most visits wanted."""
    return roles.as_reader(lambda limit: visits_behind(scope, what, limit, **keys))
