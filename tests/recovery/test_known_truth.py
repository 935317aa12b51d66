"""Do the figures find what really happened? Fleets with known truth go through files, loading and facts like any other.

Every judgement allows for the number of fleets: a 95% range must hold the truth in at least as many of them as the
lower
1% point of the binomial says, and a share must not lie below (or above) its promise by more than chance can do at 1%.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy import stats

pytestmark = pytest.mark.recovery

N_FLEETS = 50
VISITS = 20_000
FIRST_SEED = 1001
YEAR_DAYS = 365.25
# A flag is a false one when the technician's true excess does not reach the margin of the settings.
MARGIN = 0.08
FALSE_FLAG_LIMIT = 0.10
# The power the smallest visible excess is worked out for.
POWER = 0.8
# Widest mean range that still says something: shares in points, peaks in days.
WIDEST = {
    "good_switch_rate": 0.15,
    "callbacks_with_cause": 0.10,
    "callbacks_without_cause": 0.15,
    "peak_condensate": 45.0,
    "peak_blockage": 80.0,
}


@pytest.fixture(scope="module")
def fleets() -> list[dict[str, Any]]:
    """One comparison per fleet, worked out in two processes of their own."""
    n_workers = max(1, min(os.cpu_count() or 1, 4))
    seeds = [str(FIRST_SEED + i) for i in range(N_FLEETS)]
    with ThreadPoolExecutor(n_workers) as pool:
        found = list(pool.map(_some, [seeds[i::n_workers] for i in range(n_workers)]))
    return sorted((fleet for part in found for fleet in part), key=lambda fleet: fleet["seed"])


def _some(seeds: list[str]) -> list[dict[str, Any]]:
    script = Path(__file__).with_name("fleets.py")
    done = subprocess.run(
        [sys.executable, str(script), str(VISITS), *seeds], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr[-3000:]
    return [json.loads(line) for line in done.stdout.splitlines()]


def holds_truth(figure: dict[str, Any]) -> bool:
    """Whether the range holds the truth; a range over the turn of the year has its low end above its high one."""
    low, high, truth = figure["low"], figure["high"], figure["truth"]
    return low <= truth <= high if low <= high else truth >= low or truth <= high


def width(figure: dict[str, Any]) -> float:
    return (
        (figure["high"] - figure["low"]) % YEAR_DAYS
        if figure["low"] > figure["high"]
        else figure["high"] - figure["low"]
    )


def least_of(n: int, share: float = 0.95) -> int:
    """Fewest hits among n that chance explains at 1% when each has this share."""
    return int(stats.binom.ppf(0.01, n, share))


@pytest.mark.parametrize("name", list(WIDEST))
def test_ranges_hold_the_truth_and_are_narrow_enough(fleets, name, record_property):
    known = [fleet[name] for fleet in fleets if fleet[name]["value"] is not None]
    assert len(known) >= 0.9 * len(fleets), f"{name} was given for {len(known)} of {len(fleets)} fleets only"
    n_held = sum(holds_truth(figure) for figure in known)
    mean_width = float(np.mean([width(figure) for figure in known]))
    told = f"{name}: the range held the truth in {n_held} of {len(known)} fleets; mean width {mean_width:.3f}"
    record_property("result", told)
    print(told)
    assert n_held >= least_of(len(known)), told
    assert mean_width <= WIDEST[name], told


def test_the_adjusted_rate_is_nearer_than_the_tested_one(fleets):
    """Who gets tested is no fair draw: the plain share of tested switches is off, the adjusted one is not."""
    error = {
        name: np.array(
            [fleet[name]["value"] - fleet[name]["truth"] for fleet in fleets if fleet[name]["value"] is not None]
        )
        for name in ("tested_only", "good_switch_rate")
    }
    bias = {name: (values.mean(), values.std(ddof=1) / np.sqrt(values.size)) for name, values in error.items()}
    print(f"mean error and its standard error: {bias}")
    assert bias["tested_only"][0] > 5 * bias["tested_only"][1], (
        "the fleets do not test selectively, so this shows nothing"
    )
    # A quarter of the error at most is left, plus what the number of fleets cannot tell.
    left = abs(bias["good_switch_rate"][0]) - 2.33 * bias["good_switch_rate"][1]
    assert left <= 0.25 * bias["tested_only"][0], bias


def _compared(fleets: list[dict[str, Any]]) -> list[dict[str, Any]]:
    return [row for fleet in fleets for row in fleet["technicians"] if row["is_compared"]]


def test_planted_weak_technicians_are_among_the_flagged(fleets):
    weak = [row for row in _compared(fleets) if row["is_weak"]]
    visible = [row for row in weak if row["true_excess"] >= row["smallest_visible"]]
    n_flagged = sum(row["is_flagged"] for row in visible)
    print(
        f"weak technicians: {sum(row['is_flagged'] for row in weak)} of {len(weak)} flagged; of {len(visible)} whose excess "
        f"the page says could be seen, {n_flagged}"
    )
    assert len(visible) >= 50
    assert n_flagged >= least_of(len(visible), POWER)
    assert sum(row["is_flagged"] for row in weak) >= least_of(len(weak), POWER)


def test_few_others_are_flagged(fleets):
    flagged = [row for row in _compared(fleets) if row["is_flagged"]]
    false = [row for row in flagged if row["true_excess"] <= MARGIN]
    n_others = sum(not row["is_weak"] for row in flagged)
    print(f"{len(flagged)} flagged, {n_others} of them not planted, {len(false)} without an excess over the margin")
    assert len(flagged) >= 50
    assert len(false) <= stats.binom.ppf(0.99, len(flagged), FALSE_FLAG_LIMIT)


def test_shrunken_rates_hold_the_truth(fleets):
    rows = [row for row in _compared(fleets) if np.isfinite(row["low"])]
    n_held = sum(row["low"] <= row["truth"] <= row["high"] for row in rows)
    print(f"shrunken rate: range held the truth for {n_held} of {len(rows)} technicians")
    assert len(rows) >= 0.9 * len(_compared(fleets))
    assert n_held >= least_of(len(rows), 0.95)


def test_shrunken_rates_are_nearer_than_raw_ones(fleets):
    """Raw: good pulls over draft faults, untested switches counted by their probability."""
    rows = [row for row in _compared(fleets) if np.isfinite(row["low"])]
    error = {name: np.mean([(row[name] - row["truth"]) ** 2 for row in rows]) for name in ("value", "raw")}
    print(f"mean squared error: {error['value']:.5f} shrunken, {error['raw']:.5f} raw, over {len(rows)} technicians")
    assert error["value"] <= 0.5 * error["raw"]
