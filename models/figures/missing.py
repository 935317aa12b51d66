"""What missing records cost: which figures a field weakens, and by how much their ranges would shrink if it were filled.

Always the same assumption: records without the field are like those with it. Widths come from the figures' own methods
(models.methods.filled_width); where none can be worked out it is not known, with the reason.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import duckdb
import numpy as np
import pandas as pd

from models.figures.callbacks import Callbacks
from models.figures.cases import READING_LACKS
from models.figures.coverage import is_mostly_unproven
from models.figures.good_switch import HORVITZ_THOMPSON, GoodSwitch
from models.figures.missing_counts import lacking
from models.figures.scope import Scope
from models.figures.seasons import Season
from models.methods.estimate import Estimate
from models.methods.filled_width import (
    NOT_KNOWN,
    most_left_of_sum,
    width,
    width_between_bounds,
    width_by_logit,
    width_of_difference,
    width_of_share,
    width_unthinned,
    width_with_more_tests,
)
from models.methods.numeral import numeral

YEAR_DAYS = 365.25
FIELD_COLUMNS = ("field", "cases", "n_missing", "n_cases", "gain", "is_blocking")
FIGURE_COLUMNS = ("field", "figure", "unit", "width_now", "width_filled", "is_at_most", "is_blocked", "told")
# Cases a field is counted on.
CASES = {"removed_tag": "swaps", "reading": "swaps", "make_point": "swaps", "cause": "draft faults", "appliance": "draft faults"}  # fmt: skip


@dataclass(frozen=True)
class Missing:
    """fields: DataFrame[FIELD_COLUMNS], the one that brings most first: n_missing of n_cases lack it; gain = largest share
    by which the range of one of its figures would shrink (NaN: not known); is_blocking: a figure cannot be given at all
    without it.
    figures: DataFrame[FIGURE_COLUMNS]: width_now, width_filled (high less low in `unit`: 'share', 'days' or 'money'), NaN
    where not known; is_at_most: width_filled is the most that would be left; told: the assumption, or the reason why not.
    reading_lacks: key of models.figures.cases.READING_LACKS -> swaps that lack a deciding reading for that.
    """

    fields: pd.DataFrame
    figures: pd.DataFrame
    reading_lacks: dict[str, int] = field(default_factory=dict)


@dataclass(frozen=True)
class _Line:
    field: str
    figure: str
    unit: str
    now: float
    filled: float
    told: str
    is_at_most: bool = False
    is_blocked: bool = False


def missing(
    con: duckdb.DuckDBPyConnection,
    scope: Scope,
    settings: Any,
    covered: dict[str, Any],
    testing: pd.DataFrame,
    good: GoodSwitch,
    came_back: Callbacks,
    year: dict[str, Season],
    waste: Estimate,
) -> Missing:
    """The fields over the scope, the one whose filling would narrow a range most first.

    testing: models.figures.missing_counts.more_tests_by_stratum of the same swaps. covered, good, came_back, year: the figures of the same scope; waste: Waste.estimated of it.
    """
    counted = lacking(con, scope)
    headline = int(settings.headline_window)
    lines = [
        *_tag(counted, testing, good, waste),
        *_reading(counted),
        *_make_point(counted, testing, good),
        *_cause(counted, came_back.windows[headline], year, is_mostly_unproven(covered)),
        *_appliance(counted, came_back, headline, is_mostly_unproven(covered)),
    ]
    figures = pd.DataFrame(
        [(x.field, x.figure, x.unit, x.now, x.filled, x.is_at_most, x.is_blocked, x.told) for x in lines],
        columns=list(FIGURE_COLUMNS),
    ).astype({"width_now": float, "width_filled": float})
    return Missing(_fields(counted, figures), figures, {name: counted[f"n_{name}"] for name in READING_LACKS})


def _fields(counted: dict[str, int], figures: pd.DataFrame) -> pd.DataFrame:
    figures = figures.assign(gain=(1 - figures["width_filled"] / figures["width_now"].where(figures["width_now"] > 0)))
    rows = []
    for name, cases in CASES.items():
        mine = figures[figures["field"] == name]
        n_missing, n_cases = counted[f"n_{name}"], counted["n_swaps" if cases == "swaps" else "n_faults"]
        gain = float(mine["gain"].max()) if mine["gain"].notna().any() else NOT_KNOWN
        rows.append((name, cases, n_missing, n_cases, max(gain, 0.0) if np.isfinite(gain) else gain,
                     bool(mine["is_blocked"].any())))  # fmt: skip
    out = pd.DataFrame(rows, columns=list(FIELD_COLUMNS)).astype({"gain": float})
    return out.sort_values(["is_blocking", "gain"], ascending=False, kind="stable", na_position="last").reset_index(
        drop=True
    )


def _adjusted(field: str, good: GoodSwitch, testing: pd.DataFrame, more: str, told: str, is_blocked: bool) -> _Line:
    """The adjusted good-switch rate with the further clear tests of the column `more` of testing."""
    now, filled = width(good.adjusted), NOT_KNOWN
    n_more = float(testing[more].sum()) if len(testing) else 0.0
    if np.isfinite(now) and good.adjusted.method == HORVITZ_THOMPSON:
        filled = width_by_logit(good.adjusted, 1 + n_more / good.adjusted.n)
    elif np.isfinite(now):
        s = good.strata
        filled = width_with_more_tests(s["n_swaps"], s["n_tested"], s["balanced"], s["n_effective"], testing[more])
    if np.isfinite(now):
        told = f"{told} That is {numeral(n_more)} more clear bench results."
    else:
        told = f"The rate has no range now, so none can be compared. {good.adjusted.sentence}"
    return _Line(field, "adjusted_rate", "share", now, filled, told, is_blocked=is_blocked and not np.isfinite(now))


def _tag(counted: dict[str, int], testing: pd.DataFrame, good: GoodSwitch, waste: Estimate) -> list[_Line]:
    told = (
        "Switches without a tag tested as often, and with clear results as often, as tagged ones of the same kind; the "
        "results come out alike. Kinds stay pooled as they are; with few tests the range is therefore put rather too wide."
    )
    is_blocked = 0 < counted["n_swaps"] == counted["n_removed_tag"]
    rate = _adjusted("removed_tag", good, testing, "more_by_tag", told, is_blocked)
    n_open, now = good.n_swaps - good.n_good - good.n_faulty, width(waste)
    n_more = float(testing["more_by_tag"].sum()) if len(testing) else 0.0
    if not np.isfinite(now):
        money = _Line("removed_tag", "waste", "money", now, NOT_KNOWN, f"No range now. {waste.sentence}")
    else:
        told = (
            "The same tests; what they find moves from estimated to known waste, which is counted and has no range. At most "
            "this is left, since an error common to all untested switches shrinks more."
        )
        money = _Line("removed_tag", "waste", "money", now, most_left_of_sum(now, n_more / max(n_open, 1)), told, True)
    return [rate, money]


def _supported(counted: dict[str, int], field: str, n_more: float, told: str, is_blocked: bool) -> _Line:
    """The share of swaps whose readings, where they decide, did not support pulling the switch."""
    k, n = counted["n_not_supported"], counted["n_decided"]
    now = width_of_share(k, n)
    if not n:
        told = "No swap has readings that decide, so there is no range to compare."
    return _Line(field, "readings", "share", now, width_of_share(k, n, n_more), told, is_blocked=is_blocked and not n)


def _reading(counted: dict[str, int]) -> list[_Line]:
    n_read = counted["n_swaps"] - counted["n_reading"]
    n_more = counted["n_reading"] * counted["n_decided"] / n_read if n_read else 0.0
    told = "Swaps without a reading would be decided by one as often, and the same way, as those with one."
    not_known = {
        "measured_cause": "How many causes a reading would have borne out depends on what it had shown.",
        "single_swaps": "The model of single swaps learns anew from every reading; what one adds depends on what it says.",
        "draft_margin": "A site's trend rests on when its readings fall, not only on how many there are.",
    }
    is_blocked = 0 < counted["n_swaps"] == counted["n_reading"]
    return [
        _supported(counted, "reading", n_more, told, is_blocked),
        *(_Line("reading", figure, "share", NOT_KNOWN, NOT_KNOWN, why) for figure, why in not_known.items()),
    ]


def _make_point(counted: dict[str, int], testing: pd.DataFrame, good: GoodSwitch) -> list[_Line]:
    told = "Tests that had no rated make point to judge by come out clear as often, and the same way, as those that had one."
    is_blocked = 0 < counted["n_swaps"] == counted["n_make_point"]
    often = counted["n_rated_decided"] / counted["n_read_rated"] if counted["n_read_rated"] else 0.0
    words = "Readings without a make point to compare with would decide as often, and the same way, as those with one."
    return [
        _adjusted("make_point", good, testing, "more_by_rating", told, is_blocked),
        _supported(counted, "make_point", counted["n_read_without_make"] * often, words, is_blocked),
    ]


def _cause(
    counted: dict[str, int], window: dict[str, Any], year: dict[str, Season], is_unproven: bool
) -> list[_Line]:  # fmt: skip
    is_blocked = 0 < counted["n_faults"] == counted["n_cause"]
    one, two, difference = window["with_cause"], window["without_cause"], window["difference"]
    n_coded = counted["n_swaps"] - counted["n_swaps_without_code"]
    # Swaps that were followed lack a code as often as all swaps do.
    n_lacking = (one.n + two.n) * counted["n_swaps_without_code"] / max(counted["n_swaps"], 1)
    n_moved = n_lacking * counted["n_swaps_with_cause"] / max(n_coded, 1)
    if is_unproven or not np.isfinite(width(difference)):
        why = "most swaps do not say on which appliance" if is_unproven else difference.sentence
        lines = [_Line("cause", "callback_difference", "share", NOT_KNOWN, NOT_KNOWN, f"No range now: {why}",
                       is_blocked=is_blocked and not is_unproven)]  # fmt: skip
    else:
        filled = width_of_difference(difference, (one, two), (one.n + n_moved, two.n - n_moved))
        told = (
            f"{numeral(n_moved)} swaps of {numeral(n_lacking)} without any cause code would go to those with a root cause, as of "
            "those with a code; callbacks stay as frequent in either group."
        )
        if filled > width(difference):
            told += (
                " The range would grow, since fewer swaps would be left without a root cause; but swaps of which nobody "
                "wrote what was found would no longer be counted among them."
            )
        lines = [_Line("cause", "callback_difference", "share", width(difference), filled, told)]
    missing_share = counted["n_cause"] / max(counted["n_faults"], 1)
    return [*lines, *(_season(name, season, missing_share) for name, season in year.items())]


def _season(name: str, season: Season, missing_share: float) -> _Line:
    peak = season.peak_day
    if peak.low is None or peak.high is None or season.dispersion is None:
        return _Line("cause", f"season_{name}", "days", NOT_KNOWN, NOT_KNOWN, f"No range now. {season.sentence}")
    now = (peak.high - peak.low) % YEAR_DAYS
    told = "Faults without a cause code are of this kind as often as those with one, in every part of the year."
    return _Line(
        "cause", f"season_{name}", "days", now, width_unthinned(now, missing_share, season.dispersion), told
    )  # fmt: skip


def _appliance(counted: dict[str, int], came_back: Callbacks, headline: int, is_unproven: bool) -> list[_Line]:
    certain, possible = (w[headline]["without_cause"] for w in (came_back.windows, came_back.possible))
    why_not = "Repeats count certain callbacks only; there is no upper bound to compare with."
    repeats = _Line("appliance", "repeats", "share", NOT_KNOWN, NOT_KNOWN, why_not)
    if is_unproven:
        told = "Most swaps do not say on which appliance, so nobody can tell whether the same one came back."
        return [_Line("appliance", "callbacks", "share", NOT_KNOWN, NOT_KNOWN, told, is_blocked=True), repeats]
    now = width_between_bounds(certain, possible)
    n, n_appliance = counted["n_uncertain"], counted["n_uncertain_appliance"]
    told = (
        f"From the low end of certain callbacks to the high end with uncertain ones. {numeral(n_appliance)} of {numeral(n)} uncertain ones "
        "are so for want of the appliance; with it they would be decided one way or the other."
    )
    if not np.isfinite(now):
        told = f"No range now. {certain.sentence}"
    filled = width_between_bounds(certain, possible, n_appliance / n if n else 0.0)
    return [_Line("appliance", "callbacks", "share", now, filled, told), repeats]
