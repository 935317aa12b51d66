"""What bench tests cost and bring, worked by hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime

import numpy as np
import pytest

from models.figures.bench_programme import bench_programme
from models.figures.scope import Scope
from models.figures.waste import waste
from models.methods.numeral import canonical
from models.misdiagnosis.scores import score_swaps

EVERYTHING = Scope()


def programme(con, settings, scope=EVERYTHING):
    scores = score_swaps(con, scope, settings)
    found = waste(con, scope, settings, scores, np.random.default_rng(1))
    return bench_programme(con, scope, settings, found), found


@pytest.fixture
def tested(store, put_swaps, put):
    """Eight swaps of parts at 40: two found good, one faulty, one inconclusive, four not tested; six tests, one astray."""
    put_swaps(
        verdict=["good", "good", "faulty", "inconclusive", None, None, None, None],
        unit_cost=40.0,
        branch=["north"] * 4 + ["south"] * 4,
        claim_outcome=["paid", None, "paid", "refused", "refused", "open", "paid", None],
        claim_credited_amount=[10.0, None, 15.0, None, None, None, 40.0, None],
    )
    tests = ["b0", "b1", "b2", "b3", "b0 again"]
    put("bench_match", bench_test_id=tests, swap_id=["v000000#1", "v000001#1", "v000002#1", "v000003#1", "v000000#1"],
        site_id="s")  # fmt: skip
    put("delivered.bench_tests", load_id=1, row_no=list(range(6)), bench_test_id=[*tests, "astray"],
        tested_at=datetime(2024, 2, 1, tzinfo=UTC))  # fmt: skip
    return store


def test_cost_by_hand(tested, settings):
    """5 tests x 12 minutes at 80 an hour = 5 x 0.2 x 80 = 80; the test that fits no swap is told apart."""
    found, _ = programme(tested, replace(settings, labour_cost_per_hour=80.0, bench_test_minutes=12.0))
    assert (found.n_tests, found.n_tested, found.n_untied) == (5, 4, 1)
    assert found.cost.value == pytest.approx(80.0)
    assert "12 minutes" in found.assumption and "80.00 USD an hour" in canonical(found.assumption)
    assert found.assumption.startswith("Assumed")


def test_no_rate_no_cost_and_it_says_so(tested, settings):
    found, _ = programme(tested, settings)
    assert found.cost.value is None and "labour_cost_per_hour" in found.cost.sentence
    assert found.n_tests == 5, "how many is known all the same"


def test_what_it_brought_by_hand(tested, settings):
    """Good: (40 - 10) + 40 = 70. Credit for tested switches: 10 + 15 = 25; the 40 of an untested one is not its doing."""
    found, money = programme(tested, settings)
    assert found.found.value == money.known.value == pytest.approx(70.0)
    assert found.found.n == 2
    assert found.credit.value == pytest.approx(25.0)
    assert found.claims == {
        "n_paid": 2, "n_refused": 1, "n_open": 0, "n_paid_untested": 1, "n_refused_untested": 1, "n_open_untested": 1,
    }  # fmt: skip


def test_the_narrowing_by_hand(tested, settings):
    """Without a test: 0 to 8 x 40 - 10 - 15 - 40 = 255. With: known 70 and what is estimated of the five open ones."""
    found, money = programme(tested, settings)
    assert found.without == (0.0, pytest.approx(255.0))
    assert found.with_tests == (pytest.approx(70 + money.estimated.low), pytest.approx(70 + money.estimated.high))
    width = found.with_tests[1] - found.with_tests[0]
    assert found.narrowing.value == pytest.approx(255 - width)
    assert 0 < found.narrowing.value < 255


def test_all_tested_leaves_no_range(store, put_swaps, settings):
    """Two good of three at 40: exactly 80, where 0 to 120 was possible: 120 narrower."""
    put_swaps(verdict=["good", "good", "faulty"], unit_cost=40.0)
    found, _ = programme(store, settings)
    assert found.without == (0.0, pytest.approx(120.0))
    assert found.with_tests == (pytest.approx(80.0), pytest.approx(80.0))
    assert found.narrowing.value == pytest.approx(120.0)


def test_a_credit_above_the_part_makes_the_lowest_negative(store, put_swaps, settings):
    """40 - 55 = -15 and 40: between -15 and 40."""
    put_swaps(verdict=[None, None], unit_cost=40.0, claim_outcome=["paid", None], claim_credited_amount=[55.0, None])
    found, _ = programme(store, settings)
    assert found.without == (pytest.approx(-15.0), pytest.approx(40.0))


def test_without_any_test_nothing_is_bought(store, put_swaps, settings):
    """0 to 40 + 60 and twice half an hour at 80: 180."""
    put_swaps(verdict=None, unit_cost=[40.0, 60.0])
    found, _ = programme(store, replace(settings, labour_cost_per_hour=80.0))
    assert (found.n_tests, found.cost.value, found.credit.value) == (0, 0.0, 0.0)
    assert found.found.value is None and found.with_tests is None
    assert found.without == (0.0, pytest.approx(180.0))
    assert found.narrowing.value is None and found.narrowing.sentence


def test_no_price_and_no_swap_are_not_known(store, put_swaps, settings):
    found, _ = programme(store, settings)
    assert found.without is None and found.narrowing.value is None
    put_swaps(verdict=["good", None], unit_cost=None)
    found, _ = programme(store, settings)
    assert found.without is None and "labour_cost_per_hour" in found.narrowing.sentence


def test_credits_in_another_currency_are_not_known_rather_than_nothing(store, put_swaps, settings):
    put_swaps(verdict=["good", None], currency=["EUR", "USD"], claim_outcome="paid", claim_credited_amount=20.0)
    assert programme(store, settings)[0].credit.value is None


def test_the_scope_narrows_tests_and_money(tested, settings):
    rates = replace(settings, labour_cost_per_hour=60.0)
    north, _ = programme(tested, rates, Scope(branch="north"))
    south, _ = programme(tested, rates, Scope(branch="south"))
    assert (north.n_tests, south.n_tests) == (5, 0)
    assert north.cost.value == pytest.approx(5 * 15.0)
    later, _ = programme(tested, rates, Scope(start_on=date(2025, 1, 1)))
    assert later.n_tests == 0
