"""Stores with little or nothing in them: words, never a NaN, a blank or a made-up zero."""

from __future__ import annotations

import json
from dataclasses import fields, is_dataclass
from datetime import date

import numpy as np
import pytest

from models.figures.all import compute
from models.figures.coverage import came_back
from models.figures.published import as_json
from models.methods.estimate import Estimate


def _estimates(value):
    if isinstance(value, Estimate):
        yield value
    elif is_dataclass(value):
        for entry in fields(value):
            yield from _estimates(getattr(value, entry.name))
    elif isinstance(value, dict):
        for entry in value.values():
            yield from _estimates(entry)
    elif isinstance(value, list | tuple):
        for entry in value:
            yield from _estimates(entry)


def _check(figures):
    json.dumps(as_json(figures, "store-000001.duckdb"), allow_nan=False)
    found = list(_estimates(figures))
    assert len(found) > 50
    for estimate in found:
        assert estimate.sentence, estimate
        if estimate.value is None:
            assert estimate.low is None and estimate.high is None
        elif estimate.low is not None and estimate.method != "Poisson regression on annual harmonics":
            assert estimate.low <= estimate.value <= estimate.high, estimate
    return figures


def test_empty_store(store, settings):
    figures = _check(compute(store, settings))
    assert figures.as_of is None
    assert figures.good_switch.adjusted.value is None
    assert figures.callbacks.sentence == "No swap has been followed yet."
    assert figures.technicians.sentence == "No draft faults on record yet."
    assert figures.waste.known.sentence == "No switch has been swapped yet."
    assert len(figures.sites) == 0
    for season in figures.seasons.values():
        assert not season.is_claimed and len(season.by_month) == 12


def test_one_swap(store, put_swaps, settings):
    put_swaps(swapped_on=date(2024, 1, 10))
    figures = _check(compute(store, settings))
    assert figures.as_of == date(2024, 1, 10)
    assert figures.good_switch.n_swaps == 1
    assert "None of the 1" in figures.good_switch.adjusted.sentence
    assert not figures.scores.is_available
    row = figures.technicians.table.iloc[0]
    assert (row["draft_fault_visits"], row["swaps"], row["is_flagged"]) == (1, 1, False)
    assert np.isnan(row["probability_above"])


def test_one_swap_tested_good(store, put_swaps, settings):
    put_swaps(verdict="good", selection="chosen")
    figures = _check(compute(store, settings))
    assert figures.good_switch.tested.value == 1.0
    # Wilson 1/1: 0.2065 to 1.
    assert figures.good_switch.tested.low == pytest.approx(0.2065, abs=1e-4)
    assert figures.waste.known.value == pytest.approx(40.0)


def test_nothing_tested(store, put_swaps, settings):
    put_swaps(verdict=[None] * 50, technician_id=["t1", "t2"] * 25)
    figures = _check(compute(store, settings))
    assert figures.good_switch.tested.value is None
    assert [bound.value for bound in figures.good_switch.bounds] == [0.0, 1.0]
    assert figures.waste.estimated.value is None
    assert "No model yet" in figures.scores.sentence
    assert not figures.technicians.table["is_flagged"].any()
    assert figures.technicians.table["observed"].isna().all()


def test_no_callback_at_all(store, put_swaps, settings):
    put_swaps(tier=["none", "described"] * 30)
    month = _check(compute(store, settings)).callbacks.windows[30]
    assert month["with_cause"].value == 0.0
    # Rule of three, exact: 1 - .05^(1/30).
    assert month["with_cause"].high == pytest.approx(1 - 0.05 ** (1 / 30))
    assert month["ratio"].value is None
    assert "No ratio" in month["ratio"].sentence


def test_swaps_of_one_spring_have_hardly_run(store, put_swaps, settings):
    put_swaps(
        tier=["none", "described"] * 20,
        swapped_on=[date(2024, 5, 1 + i % 25) for i in range(40)],
        observed_days=10,
        heating_days_observed=2,
    )
    figures = _check(compute(store, settings))
    assert figures.callbacks.windows[7]["with_cause"].value == 0.0
    assert figures.callbacks.windows[30]["with_cause"].value is None
    assert "followed for 30 days" in figures.callbacks.windows[30]["with_cause"].sentence
    assert figures.callbacks.heating_clock[7]["with_cause"].value is None
    assert figures.control["callback_30"].weeks["share"].isna().all()


def test_no_weather_records_leave_the_heating_clock_unknown(store, put_swaps, settings):
    put_swaps(tier=["none", "described"] * 10)
    estimate = _check(compute(store, settings)).callbacks.heating_clock[30]["with_cause"]
    assert estimate.value is None
    assert estimate.sentence == "No weather records to count heating days by."


def test_no_branch_no_region_no_part(store, put_swaps, settings):
    put_swaps(branch=None, region=None, part_number=None, unit_cost=None, verdict=["good", "faulty"] * 20)
    figures = _check(compute(store, settings))
    assert len(figures.good_switch_by["branch"]) == 1
    assert any("no part cost" in words for words in figures.waste.assumptions)


def test_callbacks_of_swaps_without_an_appliance_are_not_published_as_none(store, put_swaps, settings):
    """Without appliances no callback is certain: that is unknown, not zero."""
    put_swaps(tier=["none", "described"] * 30, appliance_key=[None] * 31 + ["a"] * 29, possible_callback_days=20)
    figures = _check(compute(store, settings))
    assert figures.coverage["n_swaps_unproven"] == 31
    month = as_json(figures, "store-000001.duckdb")["callbacks"]["windows"]["30"]
    assert month["without_cause"]["value"] is None and month["without_cause"]["high"] is None
    assert month["difference"]["value"] is None
    told = came_back(figures.callbacks.windows[30]["without_cause"], figures.coverage).sentence
    assert told.startswith("31 of 60 swaps do not say on which appliance")
    assert any("31 of 60 swaps" in words for words in figures.waste.assumptions)


def test_callbacks_of_proven_appliances_are_published_as_they_are(store, put_swaps, settings):
    put_swaps(tier=["none", "described"] * 30, appliance_key=[None] * 30 + ["a"] * 30)
    month = as_json(compute(store, settings), "store-000001.duckdb")["callbacks"]["windows"]["30"]
    assert month["without_cause"]["value"] == 0.0


def test_known_waste_counts_the_good_ones(store, put_swaps, settings):
    put_swaps(verdict=["good"] * 3 + ["faulty"] * 5 + ["inconclusive"] + [None])
    known = compute(store, settings).waste.known
    assert (known.value, known.n, known.coverage) == (pytest.approx(120.0), 3, pytest.approx(0.8))


def test_known_waste_without_a_clear_result_is_unknown(store, put_swaps, settings):
    put_swaps(verdict=[None, None, "inconclusive"], branch=["north", "south", "south"])
    waste = _check(compute(store, settings)).waste
    assert waste.known.value is None
    assert waste.known.sentence == "No removed switch has a clear bench result yet."
    assert waste.by_branch["known"].isna().all()
    assert all(np.isnan(amount) for amount in waste.parts.values())


def test_without_a_model_no_rate_of_good_pulls_is_observed(store, put_swaps, put, settings):
    """A draft fault without a swap is not one where no good switch was pulled, as far as outcomes go."""
    put_swaps(technician_id="t1")
    put("draft_fault", draft_fault_id=["f1"], technician_id="t2", arrived_on=date(2024, 1, 10), arrived_at=None)
    put("delivered.technicians", technician_id=["t1"], started_on=date(2015, 1, 1))
    table = compute(store, settings).technicians.table.set_index("technician_id")
    assert table.loc["t2", "swaps"] == 0
    assert table[["observed", "observed_rate", "value"]].isna().all(axis=None)
    assert table["is_start_known"].to_dict() == {"t1": True, "t2": False}


def test_faults_without_an_appliance_are_told_as_such(store, put, settings):
    put("fault_week", region="r1", week_on=[date(2024, 1, 8)] * 2, family=["condensate", "blockage"], n_faults=[130, 0],
        n_appliances=0)  # fmt: skip
    put("visit", visit_id=["a", "b"], arrived_on=[date(2024, 1, 1), date(2024, 1, 31)])
    seasons = _check(compute(store, settings)).seasons
    assert seasons["condensate"].sentence == "130 faults, but no appliance on record to count them against."
    assert seasons["blockage"].sentence == "No fault of this family and no appliance is on record yet."


def test_the_upper_bound_of_callbacks_stands_where_no_appliance_is_proven(store, put_swaps, settings):
    put_swaps(tier=["none", "described"] * 30, appliance_key=[None] * 60, possible_callback_days=20)
    store.execute("UPDATE callback SET possible_observed_days = 20")
    published = as_json(compute(store, settings), "store-000001.duckdb")["callbacks"]
    assert published["windows"]["30"]["without_cause"]["value"] is None
    assert published["competing"]["30"]["without_cause"]["value"] is None
    assert published["possible"]["30"]["without_cause"]["value"] == 1.0
