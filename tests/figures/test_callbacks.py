"""Callbacks on facts small enough to work out by hand."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from models.figures.callbacks import callbacks
from models.figures.scope import Scope

EVERYTHING = Scope()


def _days(with_back: int, without_back: int, each: int = 50):
    """`each` swaps with and without a cause, of which so many came back after 20 days; the others were followed 400 days."""
    back = [20] * with_back + [None] * (each - with_back) + [20] * without_back + [None] * (each - without_back)
    return {
        "tier": ["described"] * each + ["none"] * each,
        "callback_days": back,
        "possible_callback_days": back,
        "observed_days": [400 if day is None else day for day in back],
    }


def test_shares_by_hand_and_the_windows_around_the_event(store, put_swaps, settings):
    put_swaps(**_days(5, 20))
    found = callbacks(store, EVERYTHING, settings)
    assert set(found.windows) == {7, 14, 30, 60, 90}
    assert found.windows[14]["without_cause"].value == 0
    month = found.windows[30]
    assert month["with_cause"].value == pytest.approx(0.10)
    assert month["without_cause"].value == pytest.approx(0.40)
    assert month["difference"].value == pytest.approx(0.30)
    assert month["ratio"].value == pytest.approx(4.0)
    assert month["difference"].low < 0.30 < month["difference"].high
    assert found.logrank_p < 0.01
    assert (found.n_swaps, found.n_callbacks) == (100, 25)
    assert "association" in found.sentence


def test_censored_swaps_leave_the_risk_set(store, put_swaps, settings):
    """Four swaps: one back on day 10, one lost on day 5, two followed on. 1 - (1 - 1/3)."""
    put_swaps(
        tier="none",
        callback_days=[10, None, None, None],
        possible_callback_days=[10, None, None, None],
        observed_days=[10, 5, 400, 400],
    )
    assert callbacks(store, EVERYTHING, settings).windows[30]["without_cause"].value == pytest.approx(1 / 3)


def test_uncertain_ones_count_only_in_the_upper_bound(store, put_swaps, settings):
    put_swaps(
        tier="none",
        callback_days=[None] * 10,
        possible_callback_days=[8] * 2 + [None] * 8,
        observed_days=400,
    )
    store.execute("UPDATE callback SET possible_observed_days = coalesce(possible_callback_days, 400)")
    found = callbacks(store, EVERYTHING, settings)
    assert found.windows[30]["without_cause"].value == 0
    assert found.possible[30]["without_cause"].value == pytest.approx(0.2)
    assert found.n_uncertain == 2


def test_the_line_may_be_drawn_elsewhere(store, put_swaps, settings):
    put_swaps(tier=["measured"] * 10 + ["described"] * 10 + ["code_only"] * 10 + ["none"] * 10)
    cuts = callbacks(store, EVERYTHING, settings).cuts
    n_with = {name: cuts[name][30]["with_cause"].n for name in cuts}
    assert n_with == {"measured": 10, "described": 20, "code_only": 30}


def test_heating_days_are_a_clock_of_their_own(store, put_swaps, settings):
    """A spring swap: back after 100 days, of which 12 were heating days."""
    put_swaps(
        tier="none",
        callback_days=[100] * 5 + [None] * 5,
        possible_callback_days=[100] * 5 + [None] * 5,
        observed_days=[100] * 5 + [400] * 5,
        heating_days_observed=[12] * 5 + [200] * 5,
    )
    found = callbacks(store, EVERYTHING, settings)
    assert found.windows[30]["without_cause"].value == 0
    assert found.heating_clock[30]["without_cause"].value == pytest.approx(0.5)


def test_a_difference_made_by_the_mix_is_gone_within_strata(store, put_swaps, settings):
    """Within either symptom the shares are the same; only the mix differs."""
    tier, symptom, back = [], [], []
    for name, share, n_with, n_without in (("draft_not_proven", 0.5, 40, 160), ("runs_then_stops", 0.1, 160, 40)):
        for kind, n in (("described", n_with), ("none", n_without)):
            k = round(share * n)
            tier += [kind] * n
            symptom += [name] * n
            back += [10] * k + [None] * (n - k)
    observed = [400 if day is None else day for day in back]
    put_swaps(tier=tier, symptom=symptom, callback_days=back, possible_callback_days=back, observed_days=observed)
    found = callbacks(store, EVERYTHING, settings)
    assert found.windows[30]["difference"].value == pytest.approx(0.42 - 0.18)
    assert found.within_strata.value == pytest.approx(0.0, abs=1e-9)
    assert found.within_strata.n == 400
    rows = found.by_stratum[found.by_stratum["stratum_kind"] == "symptom"].set_index("stratum")
    assert rows.loc["runs_then_stops", "difference"] == pytest.approx(0.0, abs=1e-9)


def test_nobody_to_follow_is_told_in_words(store, put_swaps, settings):
    found = callbacks(store, EVERYTHING, settings)
    assert found.windows[30]["with_cause"].value is None
    assert found.windows[30]["with_cause"].sentence == "No swap has been followed yet."
    assert found.logrank_p is None
    assert found.curve.empty


def test_curve_rises_and_starts_at_zero(fleet, settings):
    curve = callbacks(fleet[0], EVERYTHING, settings).curve
    for _, part in curve.groupby("group"):
        assert part["value"].iloc[0] == 0
        assert (np.diff(part["value"]) >= 0).all()


def test_removal_and_the_next_swap_are_ends_of_their_own(store, put_swaps, settings):
    """Ten swaps: four taken out on day 5, three back on day 10, three watched on. Of all ten, three came back."""
    back = [None] * 4 + [10] * 3 + [None] * 3
    put_swaps(
        tier="none", callback_days=back, possible_callback_days=back, observed_days=[5] * 4 + [10] * 3 + [400] * 3
    )
    store.execute("""UPDATE callback SET censored_because = CASE WHEN observed_days = 5 THEN 'removed'
        WHEN observed_days = 400 THEN 'limit' END""")
    found = callbacks(store, EVERYTHING, settings)
    assert found.windows[30]["without_cause"].value == pytest.approx(3 / 6)
    assert found.competing[30]["without_cause"].value == pytest.approx(3 / 10)
    assert found.competing[30]["without_cause"].method.startswith("Aalen-Johansen")
    assert found.n_ends == {"removed": 4, "next_swap": 0}


def test_a_callback_that_comes_back_again_counts_again(store, put_swaps, put, settings):
    """Ten swaps; the first comes back after 10 days (its fault v000009 is followed by a visit after 20 more days)."""
    back = [10] + [None] * 8 + [20]
    put_swaps(
        tier="none", callback_days=back, possible_callback_days=back, observed_days=[10] + [400] * 8 + [20],
        swapped_on=[date(2024, 1, 10)] * 9 + [date(2024, 1, 20)],
    )  # fmt: skip
    store.execute("UPDATE callback SET callback_visit_id = 'v000009' WHERE draft_fault_id = 'v000000'")
    put("draft_visit", visit_id=["v000009"], draft_fault_id="v000009")
    repeats = callbacks(store, EVERYTHING, settings).repeats
    # Within 7 days none, within 14 one, within 30 the second of the first swap and that of the last one.
    means = [repeats[days]["without_cause"].value for days in (7, 14, 30)]
    # The first swap is followed to day 10 + 20, so that ten are at risk at day 20 and at day 30 nine but the last.
    assert means == pytest.approx([0.0, 0.1, 0.1 + 1 / 10 + 1 / 9])
    assert repeats[30]["with_cause"].value is None and repeats[30]["with_cause"].sentence
