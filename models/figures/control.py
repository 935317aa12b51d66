"""Weekly control charts."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

import duckdb
import pandas as pd

from models.figures.scope import Scope

CHARTS = ("no_root_cause", "good_switch", "callback_30")


@dataclass(frozen=True)
class ControlChart:
    """One chart.

    weeks: DataFrame[week_on, n, count, share, centre, lower, upper, is_signal, is_mature]; share None in a week without
    cases; limits None before there is a baseline. baseline_from, baseline_to: weeks the frozen limits rest on.
    method: 'exact binomial limits' or 'Laney p-prime', or why there is none. sentence: in words.
    """

    name: str
    weeks: pd.DataFrame
    baseline_from: date | None
    baseline_to: date | None
    method: str
    sentence: str


def control(con: duckdb.DuckDBPyConnection, scope: Scope, settings: Any) -> dict[str, ControlChart]:
    """{'no_root_cause', 'good_switch', 'callback_30'} (figures.md section 6)."""
    raise NotImplementedError
