"""The coaching effect from records: who counts as coached, who is compared, what is left out."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest

from models.figures.coaching_effect import coaching_effect
from models.figures.pulls import good_pulls
from models.figures.scope import Scope
from models.misdiagnosis.scores import score_swaps

EVERYTHING = Scope()
FIRST_ON, MONTHS = date(2021, 1, 4), 36
COACHED_ON = date(2022, 7, 10)


def worked_out(store, settings):
    return coaching_effect(
        store, EVERYTHING, settings, good_pulls(store, EVERYTHING, score_swaps(store, EVERYTHING, settings))
    )


def fill(
    put, put_swaps, coached=range(6), held_on=COACHED_ON, n_technicians=24, skipped_after=0.25, started=None
) -> None:
    """Four swaps a month each; the gauge is skipped on 60%, and by those coached on `skipped_after` afterwards."""
    rng = np.random.default_rng(8)
    who = np.repeat(np.arange(n_technicians), MONTHS * 4)
    day = np.tile(np.arange(MONTHS * 4) * 7, n_technicians) + rng.integers(0, 7, who.size)
    on = np.array([FIRST_ON + timedelta(days=int(d)) for d in day])
    is_late = np.isin(who, list(coached)) & (on > COACHED_ON)
    reads = rng.random(who.size) > np.where(is_late, skipped_after, 0.6)
    back = [7 if chance < 0.1 else None for chance in rng.random(who.size)]
    put_swaps(
        technician_id=np.array([f"t{i:02d}" for i in who], dtype=object), swapped_on=on, has_gauge_reading=reads,
        n_readings_before=reads.astype(int), tier=np.where(rng.random(who.size) < 0.5, "described", "none"),
        callback_days=back, possible_callback_days=back,
    )  # fmt: skip
    names = [f"t{i:02d}" for i in range(n_technicians)]
    hired = [started.get(i, date(2015, 1, 1)) if started else date(2015, 1, 1) for i in range(n_technicians)]
    put("delivered.technicians", technician_id=names, technician_name=names, branch="north", started_on=hired)
    ids = [f"t{i:02d}" for i in coached for _ in range(2)]
    days = [held_on + timedelta(days=21 * (k % 2)) for k in range(len(ids))]
    put("delivered.coaching_sessions", session_id=[f"k{k}" for k in range(len(ids))], technician_id=ids, held_on=days)


def test_what_coaching_changed_is_found_and_the_rest_is_not(store, put, put_swaps, settings):
    fill(put, put_swaps)
    effect = worked_out(store, settings)
    assert (effect.n_sessions, effect.n_coached, effect.n_new_starters) == (12, 6, 0)
    found = {one.name: one for one in effect.measures}
    # Process first.
    assert [one.kind for one in effect.measures] == ["process", "process", "outcome", "outcome"]
    reading = found["no_reading"]
    assert reading.n_coached == 6 and reading.n_compared == 18
    assert reading.difference.low <= -0.35 <= reading.difference.high < 0
    assert reading.ratio.value == pytest.approx(0.25 / 0.6, abs=0.12)
    for name in ("no_cause", "came_back"):
        assert found[name].difference.low <= 0 <= found[name].difference.high, name
    # Without bench results nothing is said of good switches.
    assert not found["good_pulls"].difference.is_known and "bench" in found["good_pulls"].difference.sentence
    assert "gauge reading" in effect.sentence
    own = effect.people[(effect.people["technician_id"] == "t00") & (effect.people["measure"] == "no_reading")].iloc[0]
    # Twelve months after the month of coaching, four or five swaps each.
    assert 48 <= own["n_after"] <= 54 and own["hits_after"] < own["expected_after"]


def test_the_first_year_of_a_new_starter_counts_for_nothing(store, put, put_swaps, settings):
    fill(put, put_swaps, started={0: date(2022, 3, 1), 10: date(2021, 6, 1)})
    effect = worked_out(store, settings)
    assert effect.n_new_starters == 1 and "left out" in effect.sentence
    assert effect.measures[0].n_coached == 5 and effect.measures[0].n_compared == 18
    assert "t00" not in set(effect.people["technician_id"])


def test_coached_before_the_records_begin_is_neither_coached_nor_compared(store, put, put_swaps, settings):
    fill(put, put_swaps, held_on=date(2020, 1, 1))
    effect = worked_out(store, settings)
    assert effect.n_coached == 6
    assert not effect.measures[0].difference.is_known and effect.measures[0].n_compared == 18
    assert "0 coached" in effect.sentence


def test_without_sessions_or_faults_words_are_given(store, put, put_swaps, settings):
    assert "No coaching session" in worked_out(store, settings).sentence
    put("delivered.coaching_sessions", session_id=["k1"], technician_id=["t1"], held_on=[COACHED_ON])
    assert "No draft fault" in worked_out(store, settings).sentence
    put_swaps(technician_id="t1")
    effect = worked_out(store, settings)
    assert "Not compared" in effect.sentence and all(one.difference.value is None for one in effect.measures)


def test_callbacks_nobody_can_tell_are_no_cases(store, put, put_swaps, settings):
    """Where no visit names its appliance there are no certain callbacks; that is not the same as none."""
    fill(put, put_swaps)
    known = {one.name: one for one in worked_out(store, settings).measures}["came_back"]
    assert known.difference.is_known
    store.execute("UPDATE swap_case SET is_appliance_proven = false")
    store.execute("UPDATE callback SET callback_days = NULL")
    unknown = {one.name: one for one in worked_out(store, settings).measures}["came_back"]
    assert not unknown.difference.is_known and unknown.observed == 0 and unknown.plain_difference is None
