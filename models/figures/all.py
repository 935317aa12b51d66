"""Every figure, once, and the published form of `goodpull figures --json`."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from typing import Any

import duckdb
import numpy as np
import pandas as pd

from models.figures.callbacks import Callbacks
from models.figures.control import ControlChart
from models.figures.good_switch import GoodSwitch
from models.figures.seasons import Season
from models.figures.technicians import TechnicianFigures
from models.figures.waste import Waste
from models.misdiagnosis.scores import Scores

Progress = Callable[[str, float | None], None]


@dataclass(frozen=True)
class Figures:
    """Everything the pages, reports and the command line show, over the whole store.

    as_of: last day with a visit. good_switch_by: {'branch' | 'part_number' | 'technician_id' | 'week_on' | 'month': frame}.
    scores: swap scores and the model card. sites: see models.figures.sites.
    """

    as_of: date | None
    coverage: dict[str, Any]
    good_switch: GoodSwitch
    good_switch_by: dict[str, pd.DataFrame]
    callbacks: Callbacks
    seasons: dict[str, Season]
    scores: Scores
    technicians: TechnicianFigures
    sites: pd.DataFrame
    control: dict[str, ControlChart]
    waste: Waste


def compute(
    con: duckdb.DuckDBPyConnection,
    settings: Any,
    rng: np.random.Generator | None = None,
    progress: Progress | None = None,
) -> Figures:
    """Every figure over everything in the store. rng: default seeded with settings.random_seed."""
    raise NotImplementedError


def as_json(figures: Figures, store_name: str) -> dict[str, Any]:
    """The published form (figures.md section 10): plain dicts, lists, numbers rounded to 10 significant digits, no NaN."""
    raise NotImplementedError
