"""Scores of swaps: refusal on few labels, skill on later swaps, calibration, and honest words."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest

from models.figures.good_switch import good_switch_rate
from models.figures.scope import Scope
from models.misdiagnosis.scores import SCORE_COLUMNS, score_swaps
from models.misdiagnosis.validation import blocks_of, recalibrate, rolling_origin

EVERYTHING = Scope()


@pytest.mark.parametrize(
    ("n_good", "n_faulty", "is_available"),
    [(45, 15, True), (44, 15, False), (46, 14, False), (14, 60, False), (15, 45, True)],
)
def test_refused_under_sixty_labels_or_fifteen_of_a_kind(store, put_swaps, settings, n_good, n_faulty, is_available):
    n = n_good + n_faulty
    put_swaps(
        verdict=["good"] * n_good + ["faulty"] * n_faulty + [None] * 10,
        selection=["chosen"] * n + [None] * 10,
        swapped_on=[date(2024, 1, 1) + timedelta(days=(7 * i) % 300) for i in range(n + 10)],
    )
    scores = score_swaps(store, EVERYTHING, settings)
    assert scores.is_available is is_available
    assert scores.model_card["is_available"] is is_available
    assert len(scores.swap_score) == n + 10
    assert scores.swap_score["probability_good"].isna().all() == (not is_available)
    if not is_available:
        assert f"{n_good} good, {n_faulty} faulty" in scores.sentence


def test_scores_tell_good_from_faulty_and_carry_a_range(fleet, settings):
    scores = score_swaps(fleet[0], EVERYTHING, settings)
    table = scores.swap_score
    assert tuple(table.columns) == SCORE_COLUMNS
    assert table["swap_id"].is_monotonic_increasing
    assert ((table["low"] < table["probability_good"]) & (table["probability_good"] < table["high"])).all()
    by_verdict = table.groupby("verdict")["probability_good"].mean()
    assert by_verdict["good"] > by_verdict["faulty"] + 0.2


def test_model_card_says_how_far_to_trust_it(fleet, settings):
    con, _ = fleet
    card = score_swaps(con, EVERYTHING, settings).model_card
    assert card["brier_skill"] > 0.1
    assert 0 < card["n_validated"] < card["n"]
    assert abs(card["calibration_slope"] - 1) < 3.5 * card["calibration_slope_error"]
    assert card["calibration_error"] < 0.15
    assert card["n_good"] + card["n_faulty"] == card["n"]
    assert card["first_on"] <= card["last_on"]
    assert {feature["known_at"] for feature in card["features"]} <= {"before", "visit_close"}
    # The case mix cannot tell one switch from another here, by construction.
    assert card["case_mix_brier_skill"] < 0.05


def test_mean_score_of_the_untested_is_near_the_truth(fleet, settings):
    con, truth = fleet
    table = score_swaps(con, EVERYTHING, settings).swap_score
    is_open = ~table["verdict"].isin(["good", "faulty"])
    total = table.loc[is_open, "probability_good"].sum() + (table["verdict"] == "good").sum()
    assert total / len(table) == pytest.approx(truth.good_rate, abs=0.03)


def test_results_of_later_swaps_do_not_reach_back():
    """Predictions of a block must not change when labels of later blocks do."""
    rng = np.random.default_rng(2)
    x = rng.normal(size=(600, 3))
    y = (rng.random(600) < 1 / (1 + np.exp(-x[:, 0]))).astype(float)
    other = y.copy()
    other[400:] = 1 - other[400:]
    first, second = (rolling_origin(x, labels, np.ones(600)).probability for labels in (y, other))
    assert np.isnan(first[:100]).all()
    assert np.array_equal(first[100:400], second[100:400])
    assert not np.allclose(first[500:], second[500:])


def test_nothing_is_predicted_from_fewer_labels_than_a_model_needs():
    # One faulty switch in ten: 15 of them are there after 150 labels, long after the sixth of 240 and after the 60.
    y = np.tile([0.0] + [1.0] * 9, 24)
    block = blocks_of(y)
    assert block[:141].tolist() == [0] * 141
    assert np.bincount(block).tolist() == [141, 20, 20, 20, 20, 19]
    assert (np.diff(block) >= 0).all()
    # Many of both kinds: a sixth of them.
    assert np.bincount(blocks_of(np.tile([0.0, 1.0], 300))).tolist() == [100] * 6
    # Never enough of a kind: nothing is predicted.
    assert not blocks_of(np.ones(500)).any()
    assert np.isnan(rolling_origin(np.ones((500, 1)), np.ones(500), np.ones(500)).probability).all()


def test_recalibration_undoes_overconfidence_and_leaves_nothing_alone():
    rng = np.random.default_rng(4)
    logit = rng.normal(size=4000)
    y = (rng.random(4000) < 1 / (1 + np.exp(-(0.5 * logit + 0.3)))).astype(float)
    found = recalibrate(logit, logit, y, np.ones(4000))
    assert found.slope == pytest.approx(0.5, abs=0.1)
    assert found.intercept == pytest.approx(0.3, abs=0.1)
    # No later block predicted: the slope stays, the mean is still matched.
    nothing = recalibrate(np.full(4, np.nan), np.zeros(4), np.array([1.0, 1.0, 1.0, 0.0]), np.ones(4))
    assert nothing.slope == 1.0
    assert nothing.intercept == pytest.approx(np.log(3))


def test_scores_add_up_to_the_adjusted_rate(fleet, settings):
    con, _ = fleet
    adjusted = good_switch_rate(con, EVERYTHING, settings).adjusted
    assert score_swaps(con, EVERYTHING, settings).swap_score["probability_good"].mean() == pytest.approx(
        adjusted.value, abs=0.01
    )


def test_same_records_same_scores(fleet, settings):
    first, second = (score_swaps(fleet[0], EVERYTHING, settings).swap_score for _ in range(2))
    assert first.equals(second)
