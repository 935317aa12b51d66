"""The published form of the figures: what `goodpull figures --json` prints."""

from __future__ import annotations

import datetime
import math
from dataclasses import fields
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from models.figures.callback_ends import Windows
from models.figures.callbacks import Callbacks
from models.figures.coverage import came_back, is_mostly_unproven
from models.methods.estimate import Estimate
from models.methods.numeral import canonical

if TYPE_CHECKING:
    from models.figures.all import Figures
    from models.figures.coaching_effect import CoachingEffect

# Enough for every use, and few enough that the last bits of a sum do not show.
DIGITS = 8
GROUPS = ("with_cause", "without_cause", "difference")


def as_json(figures: Figures, store_name: str) -> dict[str, Any]:
    """The published form: dicts, lists, text, numbers of 8 significant digits, None; no NaN.

    The same store gives the same bytes: lists are ordered by identifier or week, and as_of is the last day with a
    visit.
    """
    good = figures.good_switch
    low, high = good.bounds
    published = {
        "as_of": figures.as_of,
        "store": store_name,
        "coverage": figures.coverage,
        "good_switch_rate": {
            "tested": good.tested,
            "adjusted": good.adjusted,
            "drawn": good.drawn,
            "bounds": {"all_faulty": low, "all_good": high},
            "inconclusive": good.inconclusive,
            "tilt": good.tilt,
            "strata": good.strata,
            "rule": good.rule,
            "by": figures.good_switch_by,
        },
        "callbacks": _callbacks(figures.callbacks, figures.coverage),
        "seasons": {family: _season(season) for family, season in figures.seasons.items()},
        "technicians": [_technician(row) for row in figures.technicians.table.itertuples(index=False)],
        "sites": figures.sites.sort_values("site_id", kind="stable").to_dict("records"),
        "waste": {name: value for name, value in _fields(figures.waste).items() if name != "in_sentences"},
        "control": {"no_root_cause": {"weeks": figures.control["no_root_cause"].weeks.to_dict("records")}},
        "model_card": figures.scores.model_card,
        "coaching": _coaching(figures.coaching),
        "missing": {"fields": figures.missing.fields, "figures": figures.missing.figures},
    }
    return plain(published)


def _fields(figure: Any) -> dict[str, Any]:
    return {entry.name: getattr(figure, entry.name) for entry in fields(figure)}


def _callbacks(found: Callbacks, covered: dict[str, Any]) -> dict[str, Any]:
    """Every way of counting callbacks; unknown where most swaps' appliances are not proven, but for the possible ones."""

    def shown(windows: Windows, keys: tuple[str, ...] = GROUPS, is_certain: bool = True) -> dict[str, Any]:
        return {
            str(days): {key: came_back(window[key], covered) if is_certain else window[key] for key in keys}
            for days, window in sorted(windows.items())
        }

    is_hidden = is_mostly_unproven(covered)
    first = came_back(found.windows[min(found.windows)]["difference"], covered)
    return {
        "windows": shown(found.windows),
        "possible": shown(found.possible, is_certain=False),
        "logrank_p": found.logrank_p,
        "cuts": {name: shown(windows) for name, windows in found.cuts.items()},
        "heating_clock": shown(found.heating_clock),
        "competing": shown(found.competing),
        "ends": found.n_ends,
        "repeats": shown(found.repeats, GROUPS[:2]),
        "within_strata": came_back(found.within_strata, covered),
        "by_stratum": [] if is_hidden else found.by_stratum,
        "sentence": first.sentence if is_hidden else found.sentence,
    }


def _season(season: Any) -> dict[str, Any]:
    return {
        "by_month": season.by_month,
        "peak_day": season.peak_day.value,
        "peak_low": season.peak_day.low,
        "peak_high": season.peak_day.high,
        "peak_to_trough": season.peak_to_trough.value,
        "p_value": season.p_value,
        "is_claimed": season.is_claimed,
        "n_harmonics": season.n_harmonics,
        "dispersion": season.dispersion,
        "weather": season.weather,
        "outlook": season.outlook,
        "outlook_skill": season.outlook_skill,
        "by_region": season.by_region,
        "sentence": season.sentence,
    }


def _technician(row: Any) -> dict[str, Any]:
    covered = row.tested / row.swaps if row.swaps else None
    return {
        "technician_id": row.technician_id,
        "draft_fault_visits": row.draft_fault_visits,
        "swaps": row.swaps,
        "tested": row.tested,
        "observed": row.observed,
        "expected": row.expected,
        "estimate": {
            "value": row.value,
            "low": row.low,
            "high": row.high,
            "n": row.draft_fault_visits,
            "coverage": covered,
            "method": "beta-binomial shrinkage, robust null",
        },
        "probability_above": row.probability_above,
        "is_flagged": row.is_flagged,
        "reason": row.reason,
    }


def _coaching(effect: CoachingEffect) -> dict[str, Any]:
    return {
        "n_sessions": effect.n_sessions,
        "n_coached": effect.n_coached,
        "n_new_starters": effect.n_new_starters,
        "measures": [
            {
                "measure": one.name,
                "kind": one.kind,
                "difference": one.difference,
                "ratio": one.ratio,
                "plain_difference": one.plain_difference,
                "n_coached": one.n_coached,
                "n_compared": one.n_compared,
            }
            for one in effect.measures
        ],
        "sentence": effect.sentence,
    }


def plain(value: Any) -> Any:
    """Any figure as JSON knows it: estimates in their published form, frames as lists of rows, dates as ISO text, unknown
    numbers as None.
    """
    if isinstance(value, Estimate):
        return plain(value.as_json())
    if isinstance(value, pd.DataFrame):
        return plain(value.to_dict("records"))
    if isinstance(value, dict):
        return {str(key): plain(entry) for key, entry in value.items()}
    if isinstance(value, list | tuple | np.ndarray):
        return [plain(entry) for entry in value]
    if isinstance(value, bool | np.bool_):
        return bool(value)
    if isinstance(value, int | np.integer):
        return int(value)
    if isinstance(value, float | np.floating):
        return float(f"{float(value):.{DIGITS}g}") if math.isfinite(value) else None
    if value is None or value is pd.NaT or value is pd.NA:
        return None
    if isinstance(value, datetime.datetime):
        return value.date().isoformat() if value.time() == datetime.time() else value.isoformat()
    if isinstance(value, datetime.date):
        return value.isoformat()
    return canonical(str(value))
