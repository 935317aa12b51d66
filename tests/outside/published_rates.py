"""Proportions, partial testing and conformity of bench readings. See outside_registry for what a check is."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import duckdb
import numpy as np
import pandas as pd
from outside_registry import LIBRARY, MEMORY, READ, check
from scipy import stats

from models.methods import double_sampling
from models.methods.conformity import conformity_probability
from models.methods.proportion import wilson_interval

RATES, BENCH = "Good-switch rate", "Bench result"
NEWCOMBE = "Newcombe (1998), Stat. Med. 17:857, table I, method 3"
BEGG = "Begg and Greenes (1983), Biometrics 39:207, on Drum and Christacopoulos (1972), J. Nucl. Med. 13:908"
ON_THE_LIST = "The value comes with our list of checks; the paper was not read."
DATA = Path(__file__).parents[1] / "data"
MACROS = Path(__file__).parents[2] / "pipelines" / "sql" / "macros.sql"

for x, n, limits in (
    (81, 263, (0.2553, 0.3662)),
    (15, 148, (0.0624, 0.1605)),
    (0, 20, (0.0, 0.1611)),
    (1, 29, (0.0061, 0.1718)),
):
    check(RATES, f"Wilson interval of {x} of {n}", NEWCOMBE, MEMORY, limits, note="Quoted alike by several projects; the paper was not read.")(
        lambda x=x, n=n: wilson_interval(x, n)
    )  # fmt: skip


@check(RATES, "Wilson intervals, 24 cases, three levels", "statsmodels proportion_confint", LIBRARY, allowed=1e-12)
def _wilson_library():
    from statsmodels.stats.proportion import proportion_confint

    trials = np.array([1, 2, 5, 17, 400, 12345])
    theirs, ours = [], []
    for share in (0.0, 0.2, 0.5, 1.0):
        successes = np.round(share * trials)
        for level in (0.8, 0.95, 0.99):
            theirs.append(proportion_confint(successes, trials, alpha=1 - level, method="wilson"))
            ours.append(wilson_interval(successes, trials, level))
    # Only the largest difference goes on the list.
    return 0.0, np.abs(np.array(theirs) - np.array(ours)).max()


@cache
def hepatic() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The liver scan study by scan result: all cases, verified ones, verified with disease."""
    by_scan = pd.read_csv(DATA / "hepatic_scan.csv").groupby("test", sort=False)
    return by_scan.size().to_numpy(), by_scan["verified"].sum().to_numpy(), by_scan["disease"].sum().to_numpy()


@check(
    RATES,
    "Counts of the liver scan study: all, with and without disease by scan",
    BEGG,
    READ,
    (221, 429, 27, 231, 32, 54),
    allowed=0,
)
def _hepatic_counts():
    size, tested, good = hepatic()
    return (*sorted(size), *sorted(good), *sorted(tested - good))


@check(RATES, "Prevalence among the verified alone", BEGG, MEMORY, 0.7500, note=ON_THE_LIST)
def _naive():
    _, tested, good = hepatic()
    return good.sum() / tested.sum()


@check(RATES, "Prevalence corrected for who was verified", BEGG, MEMORY, 0.69303, allowed=5e-6, note=ON_THE_LIST)
def _corrected():
    return double_sampling.post_stratified_rate(*hepatic()).value


@check(RATES, "Standard error of the corrected prevalence", BEGG, MEMORY, 0.02443, allowed=5e-6, note=ON_THE_LIST)
def _corrected_error():
    return double_sampling.standard_error(*hepatic())


@check(RATES, "Bounds, all unverified without and all with disease", BEGG, MEMORY, (0.3969, 0.8677), note=ON_THE_LIST)
def _bounds():
    size, tested, good = (int(part.sum()) for part in hepatic())
    return double_sampling.bounds(good, tested - good, size - tested)


@check(RATES, "Horvitz-Thompson ratio with unequal chances", "statsmodels DescrStatsW.mean", LIBRARY, allowed=1e-12)
def _horvitz_thompson():
    from statsmodels.stats.weightstats import DescrStatsW

    rng = np.random.default_rng(3)
    chance = rng.uniform(0.05, 1, 80)
    good = rng.random(80) < 0.6
    return DescrStatsW(good, weights=1 / chance).mean, double_sampling.horvitz_thompson_rate(good, chance).value


@check(
    BENCH,
    "Zener diode: at most -5.40 V, measured -5.47 V, u = 0.05 V",
    "JCGM 106:2012, section 7",
    MEMORY,
    0.92,
    allowed=5e-3,
)
def _zener():
    return conformity_probability(-5.47, 0.05, -100.0, -5.40)


@cache
def macros() -> duckdb.DuckDBPyConnection:
    con = duckdb.connect()
    con.execute(MACROS.read_text("utf-8"))
    return con


@check(
    BENCH,
    "Normal distribution function from -40 to 12, as the store works it out",
    "scipy.stats.norm.cdf",
    LIBRARY,
    allowed=1e-13,
)
def _normal():
    z = np.linspace(-40, 12, 521)
    ours = macros().execute("SELECT list(normal_cdf(z)) FROM (SELECT unnest(?::DOUBLE[]) AS z)", [z.tolist()])
    return 0.0, np.abs(np.array(ours.fetchone()[0]) - stats.norm.cdf(z)).max()


@check(
    BENCH,
    "Student factors for two and three readings",
    "Table of Student's t, .975 with 1 and 2 degrees of freedom",
    MEMORY,
    (12.706, 4.303),
    allowed=5e-4,
)
def _student():
    factors = macros().execute("SELECT few_readings_factor(2), few_readings_factor(3)").fetchone()
    return np.array(factors) * stats.norm.ppf(0.975)


@check(
    BENCH,
    "Half width .26 of a uniform distribution: u = .15",
    "JCGM 100:2008, 4.3.7, example 1",
    MEMORY,
    0.15,
    allowed=5e-3,
)
def _uniform():
    return macros().execute("SELECT gauge_uncertainty_pa(0.0, 0.26, 100.0, NULL, 0.02)").fetchone()[0]


@check(BENCH, "Smallest step of 1: u = .29", "JCGM 100:2008, F.2.2.1", MEMORY, 0.29, allowed=5e-3)
def _resolution():
    return macros().execute("SELECT resolution_uncertainty_pa(1.0, 2.5)").fetchone()[0]
