"""What avoidable swaps cost, added up by hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from models.figures.costs import swap_costs
from models.figures.scope import Scope
from models.figures.waste import waste
from models.methods.numeral import canonical
from models.misdiagnosis.scores import score_swaps

EVERYTHING = Scope()


def _waste(con, settings, seed=1):
    return waste(con, EVERYTHING, settings, score_swaps(con, EVERYTHING, settings), np.random.default_rng(seed))


def test_only_parts_count_while_no_rates_are_given_and_it_says_so(store, put_swaps, settings):
    put_swaps(verdict=["good", "good", "faulty"], unit_cost=[40.0, 60.0, 50.0])
    found = _waste(store, settings)
    assert found.known.value == found.known.low == found.known.high == pytest.approx(100.0)
    assert found.parts["part"] == pytest.approx(100.0) and found.parts["labour"] == 0
    assert any("labour is left out" in words for words in found.assumptions)
    assert any("trips are left out" in words for words in found.assumptions)


def test_labour_trips_callbacks_and_credit_by_hand(store, put_swaps, put, settings):
    """40 part + 30 min at 90/h + a trip of 70 made to fit it + callback (70 + 60 min at 90/h) - 25 credit."""
    put_swaps(
        verdict="good",
        callback_days=9,
        possible_callback_days=9,
        observed_days=9,
        claim_outcome="paid",
        claim_credited_amount=25.0,
    )
    store.execute("UPDATE swap_case SET visit_id = 'later'")
    store.execute("UPDATE callback SET callback_visit_id = 'again'")
    put("visit", visit_id=["again"], n_minutes=60.0, arrived_on=None)
    rates = replace(settings, labour_cost_per_hour=90.0, trip_cost=70.0, swap_labour_minutes=30.0)
    found = _waste(store, rates)
    assert found.known.value == pytest.approx(40 + 45 + 70 + (70 + 90) - 25)
    assert any("Assumed: labour at 90.00 USD an hour" in canonical(words) for words in found.assumptions)
    assert found.credit["credited"] == pytest.approx(25.0)


def test_a_callback_visit_is_charged_once(store, put_swaps, settings):
    put_swaps(verdict="good", swapped_on=[date(2024, 1, d) for d in (1, 5)],
              callback_days=[9, 5], possible_callback_days=[9, 5], observed_days=[9, 5])  # fmt: skip
    store.execute("UPDATE callback SET callback_visit_id = 'again'")
    costs = swap_costs(store, EVERYTHING, replace(settings, trip_cost=70.0)).swaps
    assert costs["callbacks"].tolist() == [0.0, 70.0]


def test_a_refused_credit_adds_nothing(store, put_swaps, settings):
    put_swaps(verdict="good", claim_outcome="refused", claim_credited_amount=25.0)
    found = _waste(store, settings)
    assert found.known.value == pytest.approx(40.0)
    assert found.credit["n_refused"] == 1


def test_other_currencies_and_missing_prices_are_named(store, put_swaps, settings):
    put_swaps(verdict="good", unit_cost=[40.0, 60.0, None], currency=["USD", "EUR", None])
    found = _waste(store, settings)
    assert found.known.value == pytest.approx(40.0)
    assert "priced in EUR, not in USD" in found.assumptions[0]
    assert any("1 of 3 swaps has no part cost" in words for words in found.assumptions)


def test_without_a_model_untested_switches_take_the_adjusted_rate(store, put_swaps, settings):
    put_swaps(verdict=["good"] * 12 + ["faulty"] * 8 + [None] * 20, selection=["chosen"] * 20 + [None] * 20)
    found = _waste(store, settings)
    assert found.known.value == pytest.approx(12 * 40)
    assert found.estimated.value == pytest.approx(20 * 0.6 * 40)
    assert found.estimated.low < found.estimated.value < found.estimated.high
    assert any("adjusted rate of 60%" in words for words in found.assumptions)


def test_estimated_waste_of_the_made_up_fleet(fleet, settings):
    con, truth = fleet
    found = _waste(con, settings)
    n_open = con.execute("SELECT count(*) FROM swap_case WHERE verdict IS NULL OR verdict = 'inconclusive'").fetchone()[
        0
    ]
    n_good = con.execute("SELECT count(*) FROM swap_case WHERE verdict = 'good'").fetchone()[0]
    n_swaps = con.execute("SELECT count(*) FROM swap_case").fetchone()[0]
    truly_good_open = truth.good_rate * n_swaps - n_good
    # The bench leaves some good switches inconclusive; they are among the open ones.
    assert found.estimated.low <= 40 * truly_good_open <= found.estimated.high
    assert found.estimated.n == n_open
    for table in (found.by_branch, found.by_part, found.by_technician, found.by_month):
        assert table["known"].sum() == pytest.approx(found.known.value)
        assert table["estimated"].sum() == pytest.approx(found.estimated.value)
        assert ((table["low"] <= table["estimated"]) & (table["estimated"] <= table["high"])).all()
    assert found.what_if.low <= found.what_if.value <= found.what_if.high
    assert found.what_if.value < (found.known.value + found.estimated.value) / 3


def test_same_generator_same_money(fleet, settings):
    first, second = (_waste(fleet[0], settings).estimated for _ in range(2))
    assert first == second


def test_prices_in_another_currency_alone_are_not_known_rather_than_nothing(store, put_swaps, settings):
    put_swaps(verdict=["good", "good", None], unit_cost=60.0, currency="EUR")
    found = _waste(store, settings)
    for estimate in (found.known, found.estimated):
        assert estimate.value is None and 'currency = "EUR"' in estimate.sentence
    assert np.isnan(found.parts["part"])
    for frame in (found.by_branch, found.by_technician, found.by_month):
        assert frame[["known", "estimated", "low", "high"]].isna().all(axis=None)


def test_swaps_without_any_price_or_rate_have_no_known_cost(store, put_swaps, settings):
    put_swaps(verdict=["good", None], unit_cost=None)
    found = _waste(store, settings)
    assert found.known.value is None and "labour_cost_per_hour" in found.known.sentence
    with_labour = _waste(store, replace(settings, labour_cost_per_hour=60.0))
    assert with_labour.known.value == pytest.approx(30.0) and "at least" in with_labour.known.sentence


def test_an_estimate_that_rests_on_one_bench_test_has_a_range(store, put_swaps, settings):
    put_swaps(verdict=["good", *[None] * 5], unit_cost=55.0, currency="USD")
    found = _waste(store, settings).estimated
    assert found.value == pytest.approx(275, abs=1)
    assert found.low < 150 and found.high <= 275.01


def test_a_credit_in_the_company_s_currency_is_told_though_no_part_has_a_price(store, put_swaps, settings):
    put_swaps(verdict="good", unit_cost=None, currency="USD", claim_outcome="paid", claim_credited_amount=20.0)
    found = _waste(store, replace(settings, labour_cost_per_hour=60.0))
    assert found.parts["credit_received"] == pytest.approx(20.0) and np.isnan(found.parts["part"])
    assert found.known.value == pytest.approx(30.0 - 20.0)
