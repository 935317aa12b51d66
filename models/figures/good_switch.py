"""How often a pulled pressure switch was good."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import duckdb
import numpy as np
import pandas as pd

from models.figures.scope import Scope
from models.figures.strata import (
    MINIMUM_TESTED,
    RULE,
    coded,
    drawing_chance,
    is_conclusive,
    stratify,
    swaps_for_rate,
    untested_class,
)
from models.methods.double_sampling import (
    HORVITZ_THOMPSON,
    MINIMUM_TESTING_RATE,
    POST_STRATIFIED,
    bounds,
    horvitz_thompson_rate,
    odds_tilt,
    post_stratified_rate,
)
from models.methods.estimate import Estimate, unknown
from models.methods.numeral import numeral
from models.methods.proportion import proportion_estimate, wilson_interval
from models.methods.strata import merge_thin_strata
from models.misdiagnosis.testing import balancing_weight

TILTS = (0.25, 0.5, 2 / 3, 1.0, 1.5, 2.0, 4.0)
GROUPINGS = ("branch", "part_number", "technician_id", "week_on", "month")
# Fewer clear results than this in a group: the tested ones are shown as they are.
MINIMUM_TO_ADJUST = 20
TESTED_ONLY = "tested only, Wilson score interval"


@dataclass(frozen=True)
class GoodSwitch:
    """The good-switch rate four ways.

    tested: good / (good + faulty) among tested switches. adjusted: after allowing for which ones were tested.
    bounds: the rate if every switch without a clear result were faulty, and if every one were good.
    inconclusive: tested switches without a clear result, in no rate. n_swaps, n_tested (tests of any result),
    n_good, n_faulty, n_returned_only (tested because they came back, without a callback on record): counts.
    strata: one row per stratum: stratum, n_swaps, n_tested, n_good, weight, value, low, high of its tested ones, and
    balanced, n_effective: their share by the weights of models.misdiagnosis.testing, and how many tests it is worth.
    tilt: DataFrame[tilt, rate]: the adjusted rate if the odds of good among the untested were `tilt` times the odds
    among the tested. rule: how thin strata were merged, in words.
    drawn: the rate by the randomly drawn ones alone, each with its recorded probability (Horvitz-Thompson). It asks
    nothing about why the others were tested: where it lies far from `adjusted`, testing depended on the result.
    """

    tested: Estimate
    adjusted: Estimate
    bounds: tuple[Estimate, Estimate]
    inconclusive: int
    n_swaps: int
    n_tested: int
    n_good: int
    n_faulty: int
    n_returned_only: int
    strata: pd.DataFrame
    tilt: pd.DataFrame
    rule: str
    drawn: Estimate


def good_switch_rate(con: duckdb.DuckDBPyConnection, scope: Scope, settings: Any) -> GoodSwitch:
    """The good-switch rate over the scope.

    Every removed switch counts once, whatever the number of its tests. Strata: see models.figures.strata.
    """
    return rate_of(swaps_for_rate(con, scope, settings))


def rate_of(swaps: pd.DataFrame) -> GoodSwitch:
    """As `good_switch_rate`, of swaps as models.figures.strata.swaps_for_rate gives them."""
    n_good = int((swaps["verdict"] == "good").sum())
    n_faulty = int((swaps["verdict"] == "faulty").sum())
    n_tested = int(swaps["verdict"].notna().sum())
    strata = _strata_table(swaps)
    return GoodSwitch(
        tested=_tested(n_good, n_faulty, len(swaps)),
        adjusted=_adjusted(swaps, strata),
        bounds=_bounds(n_good, n_faulty, len(swaps)),
        inconclusive=n_tested - n_good - n_faulty,
        n_swaps=len(swaps),
        n_tested=n_tested,
        n_good=n_good,
        n_faulty=n_faulty,
        n_returned_only=int(swaps["is_returned_only"].sum()),
        strata=strata,
        tilt=_tilt(strata),
        rule=RULE,
        drawn=_drawn(swaps),
    )


def good_switch_by(con: duckdb.DuckDBPyConnection, scope: Scope, settings: Any, by: str = "branch") -> pd.DataFrame:
    """The rate per group, one row each.

    by: 'branch', 'part_number', 'technician_id' (who diagnosed), 'week_on' or 'month'.
    Returns DataFrame[by, n_swaps, n_tested, value, low, high, coverage, method, sentence], ordered by the group;
    value, low, high are NaN where the rate cannot be given, and the sentence says why. From 20 clear results on, a
    group is adjusted for which of its switches were tested: by their drawing probabilities where all have one, else by
    strata (evidence, returned); below, its tested ones are shown.
    Raises ValueError on another `by`.
    """
    if by not in GROUPINGS:
        raise ValueError(f"by: got {by!r}; must be one of {', '.join(GROUPINGS)}.")
    return rates_by(swaps_for_rate(con, scope, settings), by)


def rates_by(swaps: pd.DataFrame, by: str) -> pd.DataFrame:
    """As `good_switch_by`, of swaps as models.figures.strata.swaps_for_rate gives them."""
    is_clear = is_conclusive(swaps)
    is_good = is_clear & (swaps["verdict"] == "good").to_numpy(bool)
    swaps = swaps[[by, "swap_id", "evidence", "returned"]].assign(
        is_clear=is_clear, is_good=is_good, chance=np.where(is_clear, drawing_chance(swaps), np.nan)
    )
    grouped = swaps.groupby(by, dropna=False, sort=True, observed=True)
    out = grouped.agg(
        n_swaps=("swap_id", "size"), n_tested=("is_clear", "sum"), n_good=("is_good", "sum")
    ).reset_index()
    out[["n_swaps", "n_tested", "n_good"]] = out[["n_swaps", "n_tested", "n_good"]].astype("int64")
    out = _wilson_rows(out)
    _adjust_large_groups(out, swaps, grouped.ngroup().to_numpy())
    return out.drop(columns="n_good")


def _tested(n_good: int, n_faulty: int, n_swaps: int) -> Estimate:
    n = n_good + n_faulty
    if n == 0:
        words = "No switch has been swapped yet." if not n_swaps else "No removed switch has a clear bench result yet."
        return unknown(words, 0, 0.0 if n_swaps else None, TESTED_ONLY)
    rate = n_good / n
    words = f"{numeral(n_good)} of {numeral(n)} removed switches with a clear bench result were good ({rate:.0%})."
    return proportion_estimate(n_good, n, n_swaps, TESTED_ONLY, words)


def _strata_table(swaps: pd.DataFrame) -> pd.DataFrame:
    columns = ["stratum", "n_swaps", "n_tested", "n_good", "weight", "value", "low", "high", "balanced", "n_effective"]
    if swaps.empty:
        return pd.DataFrame(columns=columns)
    clear = is_conclusive(swaps)
    good = clear & (swaps["verdict"] == "good").to_numpy(bool)
    # A stratum pooled of unlike switches: each tested one counts by how many like it there are.
    w = np.where(clear, balancing_weight(swaps, clear), 0.0) if clear.any() else np.zeros(len(swaps))
    frame = pd.DataFrame(
        {"stratum": stratify(swaps), "n_tested": clear, "n_good": good, "w": w, "of_good": w * good, "square": w**2}
    )
    out = frame.groupby("stratum", sort=True).agg(
        n_swaps=("n_tested", "size"), n_tested=("n_tested", "sum"), n_good=("n_good", "sum"), w=("w", "sum"),
        of_good=("of_good", "sum"), square=("square", "sum"),
    )  # fmt: skip
    out = out.reset_index()
    out["weight"] = out["n_swaps"] / len(swaps)
    is_tested = out["n_tested"] > 0
    out["balanced"] = (out["of_good"] / out["w"].where(is_tested)).clip(0, 1)
    out["n_effective"] = out["w"] ** 2 / out["square"].where(is_tested)
    return _wilson_rows(out)[columns]


def _wilson_rows(counts: pd.DataFrame) -> pd.DataFrame:
    """Adds value, low, high, coverage, method and sentence from n_good of n_tested; NaN where nothing was tested."""
    out = counts.copy()
    n, x = out["n_tested"].to_numpy(float), out["n_good"].to_numpy(float)
    has = n > 0
    value, low, high = (np.full(len(out), np.nan) for _ in range(3))
    if has.any():
        value[has] = x[has] / n[has]
        low[has], high[has] = wilson_interval(x[has], n[has])
    out["value"], out["low"], out["high"] = value, low, high
    out["coverage"] = n / np.maximum(out["n_swaps"].to_numpy(float), 1)
    out["method"] = np.where(has, TESTED_ONLY, "not available")
    out["sentence"] = [
        f"{numeral(g)} of {numeral(t)} with a clear bench result were good; {numeral(s)} swapped."
        if t
        else f"None of the {numeral(s)} removed switches has a clear bench result."
        for g, t, s in zip(x, n, out["n_swaps"], strict=True)
    ]
    return out


def _adjust_large_groups(out: pd.DataFrame, swaps: pd.DataFrame, group: np.ndarray) -> None:
    """Replace the row of every group with enough clear results by its adjusted rate, in place."""
    large = np.flatnonzero(out["n_tested"].to_numpy() >= MINIMUM_TO_ADJUST)
    if not large.size:
        return
    (evidence, evidence_names), (returned, returned_names) = coded(swaps["evidence"]), coded(swaps["returned"])
    shape = (len(out), len(evidence_names), len(returned_names))
    cell = np.ravel_multi_index((group, evidence, returned), shape)

    def counted(weight: pd.Series | None = None) -> np.ndarray:
        return np.bincount(cell, weights=weight, minlength=int(np.prod(shape))).reshape(len(out), -1)

    size, tested, good = counted(), counted(swaps["is_clear"]), counted(swaps["is_good"])
    first, second = np.unravel_index(np.arange(size.shape[1]), shape[1:])
    names = evidence_names[first], returned_names[second]
    n_drawn = np.bincount(group, weights=swaps["chance"].notna(), minlength=len(out))
    estimates = [
        _drawn_group(swaps[group == row])
        if n_drawn[row] == tested[row].sum()
        else _adjusted_group(names, size[row], tested[row], good[row])
        for row in large
    ]
    rows = out.index[large]
    for name in ("value", "low", "high"):
        out.loc[rows, name] = np.array([getattr(estimate, name) for estimate in estimates], dtype=float)
    for name in ("method", "sentence"):
        out.loc[rows, name] = [getattr(estimate, name) for estimate in estimates]


def _drawn_group(swaps: pd.DataFrame) -> Estimate:
    clear = swaps[swaps["is_clear"]]
    return horvitz_thompson_rate(clear["is_good"], clear["chance"].to_numpy(float), len(swaps))


def _adjusted_group(
    names: tuple[np.ndarray, np.ndarray], size: np.ndarray, tested: np.ndarray, good: np.ndarray
) -> Estimate:
    """One group's adjusted rate from its counts per cell of evidence and return; names: of all cells, coarse to fine."""
    is_there = size > 0
    size, tested, good = size[is_there], tested[is_there], good[is_there]
    labels = merge_thin_strata([name[is_there] for name in names], tested, size, minimum_tested=MINIMUM_TESTED)
    code, _ = pd.factorize(labels, sort=True)
    stratum_size, n_tested, n_good = (np.bincount(code, weights=count) for count in (size, tested, good))
    return post_stratified_rate(stratum_size, n_tested, n_good)


def _adjusted(swaps: pd.DataFrame, strata: pd.DataFrame) -> Estimate:
    """Horvitz-Thompson where every clear result has its drawing probability, else post-stratified double sampling."""
    clear = is_conclusive(swaps)
    n, coverage = int(clear.sum()), float(clear.mean()) if len(swaps) else None
    if len(swaps) and n:
        chance = drawing_chance(swaps)[clear]
        if np.isfinite(chance).all():
            return horvitz_thompson_rate((swaps["verdict"][clear] == "good").to_numpy(bool), chance, len(swaps))
        gap = untested_class(swaps, MINIMUM_TESTING_RATE)
        if gap:
            words = f"Not given: {gap}, under the {MINIMUM_TESTING_RATE:.0%} this needs. Test some of them first."
            return unknown(words, n, coverage, POST_STRATIFIED)
    return post_stratified_rate(
        strata["n_swaps"],
        strata["n_tested"],
        strata["n_good"],
        rate=strata["balanced"],
        n_effective=strata["n_effective"],
    )


def _drawn(swaps: pd.DataFrame) -> Estimate:
    chance = drawing_chance(swaps)
    is_drawn = is_conclusive(swaps) & np.isfinite(chance)
    if not is_drawn.any():
        words = (
            "No clear bench result of a randomly drawn switch with its probability on record yet; see the bench list."
        )
        return unknown(words, 0, 0.0 if len(swaps) else None, HORVITZ_THOMPSON)
    return horvitz_thompson_rate((swaps["verdict"][is_drawn] == "good").to_numpy(bool), chance[is_drawn], len(swaps))


def _bounds(n_good: int, n_faulty: int, n_swaps: int) -> tuple[Estimate, Estimate]:
    low, high = bounds(n_good, n_faulty, n_swaps - n_good - n_faulty)
    n = n_good + n_faulty
    coverage = n / n_swaps if n_swaps else None
    out = []
    for rate, words in ((low, "faulty"), (high, "good")):
        if rate is None:
            out.append(unknown("No switch has been swapped yet.", method="bounds"))
        else:
            told = f"{rate:.0%} if every switch without a clear bench result were {words}."
            out.append(Estimate(rate, rate, rate, n, coverage, "bounds", told, 1.0))
    return out[0], out[1]


def _tilt(strata: pd.DataFrame) -> pd.DataFrame:
    if strata.empty or strata["n_tested"].sum() == 0:
        return pd.DataFrame({"tilt": pd.Series(dtype=float), "rate": pd.Series(dtype=float)})
    rate = odds_tilt(strata["n_swaps"], strata["n_tested"], strata["balanced"] * strata["n_tested"], TILTS)
    return pd.DataFrame({"tilt": TILTS, "rate": rate}).dropna().reset_index(drop=True)


__all__ = ["HORVITZ_THOMPSON", "POST_STRATIFIED", "GoodSwitch", "good_switch_by", "good_switch_rate"]
