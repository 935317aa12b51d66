"""Cumulative incidence beside other ends: by hand, against 1 - Kaplan-Meier, and its jackknife against the direct one."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from models.methods import site_jackknife as sj


def made_up(rng, n=200, n_sites=40):
    """Days, event, competing end, site: half are watched to 60 days, the others end by an event or another end."""
    days = np.ceil(rng.exponential(40, n))
    what = rng.random(n)
    event, other = what < 0.4, what > 0.7
    return np.minimum(days, 60), event & (days <= 60), other & (days <= 60), rng.integers(0, n_sites, n)


def test_by_hand():
    """Four subjects: event on day 1, competing end on day 2, event on day 3, watched to day 9: 1/4 + 2/4 x 1/2."""
    days, event, other = [1, 2, 3, 9], [True, False, True, False], [False, True, False, False]
    share = sj.site_jackknife(days, event, [True] * 4, list("abcd"), [3], is_competing=other)[0].with_cause
    assert share.value == pytest.approx(1 / 4 + 2 / 4 * 1 / 2)
    alone = sj.site_jackknife(days, event, [True] * 4, list("abcd"), [3])[0].with_cause
    assert alone.value == pytest.approx(1 - 3 / 4 * 1 / 2)


def test_without_other_ends_it_is_one_minus_kaplan_meier():
    days, event, _, site = made_up(np.random.default_rng(1))
    group = np.arange(days.size) % 2 == 0
    plain = sj.site_jackknife(days, event, group, site, [7, 30])
    assert sj.site_jackknife(days, event, group, site, [7, 30], is_competing=np.zeros(days.size, bool)) == plain


def test_it_never_exceeds_one_minus_kaplan_meier_and_both_ends_add_up():
    days, event, other, site = made_up(np.random.default_rng(2))
    group = np.ones(days.size, dtype=bool)

    def share(first, second):
        return sj.site_jackknife(days, first, group, site, [30], is_competing=second)[0].with_cause.value

    assert share(event, other) < sj.site_jackknife(days, event, group, site, [30])[0].with_cause.value
    either = sj.site_jackknife(days, event | other, group, site, [30])[0].with_cause.value
    assert share(event, other) + share(other, event) == pytest.approx(either, abs=1e-12)


def test_the_range_is_that_of_leaving_out_each_site_anew():
    days, event, other, site = made_up(np.random.default_rng(3))
    group = np.ones(days.size, dtype=bool)
    whole = sj.site_jackknife(days, event, group, site, [30], is_competing=other)[0].with_cause
    names = np.unique(site)
    left_out = np.array(
        [
            sj.site_jackknife(days[k], event[k], group[k], site[k], [30], is_competing=other[k])[0].with_cause.value
            for k in (site != name for name in names)
        ]
    )
    logit = np.log(left_out / (1 - left_out))
    m = names.size
    half = stats.t.ppf(0.975, m - 1) * np.sqrt((m - 1) / m * ((logit - logit.mean()) ** 2).sum())
    middle = np.log(whole.value / (1 - whole.value))
    assert whole.low == pytest.approx(1 / (1 + np.exp(half - middle)), rel=1e-9)
    assert whole.high == pytest.approx(1 / (1 + np.exp(-half - middle)), rel=1e-9)


def test_once_all_have_ended_for_good_later_windows_are_known():
    found = sj.site_jackknife([5, 8], [True, False], [True] * 2, ["a", "b"], [30], is_competing=[False, True])[0]
    assert found.with_cause.value == pytest.approx(0.5)
    assert found.with_cause.coverage == 1.0


def test_one_subject_cannot_end_twice():
    with pytest.raises(ValueError, match="position 1: got both"):
        sj.site_jackknife([5, 8], [True, True], [True] * 2, ["a", "b"], [30], is_competing=[False, True])
