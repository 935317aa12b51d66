"""The good-switch rate on facts small enough to work out by hand."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from models.figures.good_switch import good_switch_by, good_switch_rate
from models.figures.scope import Scope
from models.figures.strata import stratify, swaps_for_rate
from models.methods.numeral import canonical

EVERYTHING = Scope()


def _two_strata(put_swaps, selection="chosen"):
    """60 swaps without a reading: 20 tested, 15 good. 40 with unsupported evidence: 20 tested, 5 good."""
    verdict = ["good"] * 15 + ["faulty"] * 5 + [None] * 40 + ["good"] * 5 + ["faulty"] * 15 + [None] * 20
    evidence = ["no_reading"] * 60 + ["unclear"] * 40
    put_swaps(verdict=verdict, evidence=evidence, selection=[None if v is None else selection for v in verdict])


def test_tested_adjusted_and_bounds_by_hand(store, put_swaps, settings):
    _two_strata(put_swaps)
    rate = good_switch_rate(store, EVERYTHING, settings)
    assert (rate.n_swaps, rate.n_tested, rate.n_good, rate.n_faulty) == (100, 40, 20, 20)
    assert rate.tested.value == pytest.approx(20 / 40)
    assert rate.tested.coverage == pytest.approx(0.40)
    # .6 x 15/20 + .4 x 5/20
    assert rate.adjusted.value == pytest.approx(0.55)
    # Sum W^2 p (1 - p) / n + Sum W (p_h - p)^2 / N, on the logit
    variance = 0.36 * 0.75 * 0.25 / 20 + 0.16 * 0.25 * 0.75 / 20 + (0.6 * 0.2**2 + 0.4 * 0.3**2) / 100
    half = 1.959964 * np.sqrt(variance) / (0.55 * 0.45)
    logit = np.log(0.55 / 0.45)
    assert rate.adjusted.low == pytest.approx(1 / (1 + np.exp(-(logit - half))), abs=1e-6)
    assert rate.adjusted.high == pytest.approx(1 / (1 + np.exp(-(logit + half))), abs=1e-6)
    assert [bound.value for bound in rate.bounds] == pytest.approx([20 / 100, 80 / 100])
    assert rate.tilt.set_index("tilt")["rate"][1.0] == pytest.approx(0.55)
    assert rate.tilt["rate"].is_monotonic_increasing


def test_inconclusive_is_counted_beside_and_in_no_rate(store, put_swaps, settings):
    put_swaps(verdict=["good"] * 6 + ["faulty"] * 4 + ["inconclusive"] * 5 + [None] * 5)
    rate = good_switch_rate(store, EVERYTHING, settings)
    assert rate.inconclusive == 5
    assert rate.tested.value == pytest.approx(0.6)
    assert rate.tested.n == 10
    assert [bound.value for bound in rate.bounds] == pytest.approx([6 / 20, 16 / 20])


def test_recorded_drawing_probabilities_give_horvitz_thompson(store, put_swaps, settings):
    verdict = ["good"] * 10 + ["faulty"] * 10 + [None] * 180
    probability = [0.05] * 10 + [0.2] * 10 + [None] * 180
    put_swaps(verdict=verdict, selection=["random"] * 20 + [None] * 180, selection_probability=probability)
    rate = good_switch_rate(store, EVERYTHING, settings)
    assert rate.adjusted.method.startswith("Horvitz-Thompson")
    assert rate.adjusted.value == pytest.approx((10 / 0.05) / (10 / 0.05 + 10 / 0.2))


def test_one_drawing_without_its_probability_is_post_stratified(store, put_swaps, settings):
    verdict = ["good"] * 10 + ["faulty"] * 10 + [None] * 80
    probability = [0.2] * 19 + [None] * 81
    put_swaps(verdict=verdict, selection=["random"] * 20 + [None] * 80, selection_probability=probability)
    assert good_switch_rate(store, EVERYTHING, settings).adjusted.method == "post-stratified double sampling"


def test_tested_because_it_came_back_speaks_only_for_those_that_came_back(store, put_swaps, settings):
    """20 came back within 14 days, all tested and good; 180 did not, 40 tested, 10 good."""
    verdict = ["good"] * 20 + ["good"] * 10 + ["faulty"] * 30 + [None] * 140
    back = [5] * 20 + [None] * 180
    selection = ["returned_only"] * 20 + ["chosen"] * 40 + [None] * 140
    put_swaps(verdict=verdict, callback_days=back, possible_callback_days=back, selection=selection)
    rate = good_switch_rate(store, EVERYTHING, settings)
    assert rate.tested.value == pytest.approx(0.5)
    assert rate.adjusted.value == pytest.approx(0.1 * 1.0 + 0.9 * 0.25)
    assert rate.n_returned_only == 0


def test_returned_without_a_callback_on_record_stands_apart(store, put_swaps, settings):
    verdict = ["good"] * 10 + ["good"] * 10 + ["faulty"] * 10 + [None] * 30
    selection = ["returned_only"] * 10 + ["chosen"] * 20 + [None] * 30
    put_swaps(verdict=verdict, selection=selection)
    rate = good_switch_rate(store, EVERYTHING, settings)
    assert rate.n_returned_only == 10
    assert rate.adjusted.value == pytest.approx(0.5)


def test_refused_where_a_large_class_was_hardly_tested(store, put_swaps, settings):
    verdict = ["good"] * 10 + ["faulty"] * 10 + [None] * 380
    evidence = ["no_reading"] * 200 + ["unclear"] * 200
    put_swaps(verdict=verdict, evidence=evidence, selection="chosen")
    adjusted = good_switch_rate(store, EVERYTHING, settings).adjusted
    assert adjusted.value is None
    assert "unclear" in adjusted.sentence and "0 of 200" in adjusted.sentence


def test_thin_strata_are_pooled_by_counts_never_by_results(store, put_swaps, settings):
    rng = np.random.default_rng(3)
    n = 400
    verdict = np.where(rng.random(n) < 0.3, np.where(rng.random(n) < 0.5, "good", "faulty"), None)
    put_swaps(verdict=verdict, branch=rng.choice(["a", "b", "c"], n), tier=rng.choice(["none", "described"], n))
    swaps = swaps_for_rate(store, EVERYTHING, settings)
    swapped = swaps.assign(verdict=swaps["verdict"].map({"good": "faulty", "faulty": "good"}))
    labels = stratify(swaps)
    assert (labels == stratify(swapped)).all()
    tested = swaps["verdict"].notna().groupby(labels).sum()
    assert len(tested) > 1 and tested.min() >= 10


def test_by_branch_counts_and_coverage(store, put_swaps, settings):
    verdict = ["good"] * 4 + ["faulty"] * 1 + [None] * 5 + [None] * 10
    put_swaps(verdict=verdict, branch=["north"] * 10 + ["south"] * 10)
    table = good_switch_by(store, EVERYTHING, settings, "branch").set_index("branch")
    assert table.loc["north", "value"] == pytest.approx(0.8)
    assert table.loc["north", "coverage"] == pytest.approx(0.5)
    assert np.isnan(table.loc["south", "value"])
    assert "None of the 10" in table.loc["south", "sentence"]


def test_a_large_group_is_adjusted(store, put_swaps, settings):
    _two_strata(put_swaps)
    row = good_switch_by(store, EVERYTHING, settings, "part_number").iloc[0]
    assert row["value"] == pytest.approx(0.55)
    assert row["method"] == "post-stratified double sampling"


def test_scope_narrows(store, put_swaps, settings):
    put_swaps(verdict=["good", "faulty", "faulty"], branch=["north", "north", "south"])
    assert good_switch_rate(store, Scope(branch="north"), settings).n_swaps == 2
    assert good_switch_rate(store, Scope(end_on=date(2023, 1, 1)), settings).n_swaps == 0


def test_unknown_grouping_is_named(store, put_swaps, settings):
    with pytest.raises(ValueError, match="by: got 'colour'; must be one of branch"):
        good_switch_by(store, EVERYTHING, settings, "colour")


def test_the_random_draw_alone_stands_beside_the_adjusted_rate(store, put_swaps, settings):
    """20 drawn at random, 10 of them good at a chance of .05, 10 faulty at .2; 30 chosen ones, all good."""
    verdict = ["good"] * 10 + ["faulty"] * 10 + ["good"] * 30 + [None] * 150
    selection = ["random"] * 20 + ["chosen"] * 30 + [None] * 150
    put_swaps(verdict=verdict, selection=selection, selection_probability=[0.05] * 10 + [0.2] * 10 + [None] * 180)
    rate = good_switch_rate(store, EVERYTHING, settings)
    assert rate.drawn.value == pytest.approx((10 / 0.05) / (10 / 0.05 + 10 / 0.2))
    assert (rate.drawn.n, rate.drawn.method[:17]) == (20, "Horvitz-Thompson ")
    assert rate.adjusted.value == pytest.approx(40 / 50)


def test_a_draw_of_too_small_chances_is_refused(store, put_swaps, settings):
    verdict = ["good"] * 10 + ["faulty"] * 10 + [None] * 80
    put_swaps(verdict=verdict, selection="random", selection_probability=[0.01] + [0.2] * 99)
    rate = good_switch_rate(store, EVERYTHING, settings)
    assert rate.drawn.value is None and "1.0%" in canonical(rate.drawn.sentence)
    assert rate.adjusted.value is None


def test_a_group_that_was_drawn_throughout_is_weighted_by_its_chances(store, put_swaps, settings):
    verdict = (["good"] * 10 + ["faulty"] * 10 + [None] * 30) * 2
    chance = [0.1] * 10 + [0.4] * 10 + [None] * 30
    put_swaps(
        verdict=verdict, branch=["north"] * 50 + ["south"] * 50, selection=["random"] * 50 + ["chosen"] * 50,
        selection_probability=chance + [None] * 50,
    )  # fmt: skip
    rows = good_switch_by(store, EVERYTHING, settings, "branch").set_index("branch")
    assert rows.loc["north", "value"] == pytest.approx(0.8)
    assert rows.loc["north", "method"].startswith("Horvitz-Thompson")
    assert rows.loc["south", "value"] == pytest.approx(0.5)
    assert rows.loc["south", "method"] == "post-stratified double sampling"
    assert rows["coverage"].tolist() == [0.4, 0.4]
