"""What is missing and what filling it would bring, on facts small enough to work out by hand."""

from __future__ import annotations

import numpy as np
import pytest

from models.figures.all import compute
from models.figures.cases import visits_behind
from models.figures.missing import CASES
from models.figures.missing_counts import more_tests_by_stratum
from models.figures.scope import Scope
from models.figures.strata import swaps_for_rate
from models.methods.estimate import Estimate, unknown
from models.methods.filled_width import (
    most_left_of_sum,
    width_between_bounds,
    width_by_logit,
    width_of_difference,
    width_of_share,
    width_unthinned,
    width_with_more_tests,
)

EVERYTHING = Scope()


def share(value, low, high, n=100):
    return Estimate(value, low, high, n, 1.0, "any")


def figure(found, field, name):
    rows = found.figures[(found.figures["field"] == field) & (found.figures["figure"] == name)]
    assert len(rows) == 1
    return rows.iloc[0]


def test_widths_by_hand():
    # Four times the cases, half the width, on the logit.
    narrow = width_by_logit(share(0.5, 0.4, 0.6), 4)
    edge = 1 / (1 + np.exp(-np.log(0.6 / 0.4) / 2))
    assert narrow == pytest.approx(2 * edge - 1)
    # Wilson (1927) by hand: 5 of 10, z = 1.96.
    assert width_of_share(5, 10) == pytest.approx(0.52681, abs=1e-4)
    assert width_of_share(5, 10, 30) == pytest.approx(width_of_share(20, 40))
    groups = share(0.2, 0.1, 0.3, 100), share(0.4, 0.3, 0.5, 100)
    difference = share(0.2, 0.05, 0.35)
    assert width_of_difference(difference, groups, (400, 400)) == pytest.approx(0.15)
    assert width_of_difference(difference, groups, (100, 100)) == pytest.approx(0.3)
    assert np.isnan(width_of_difference(difference, groups, (200, 0)))
    assert width_unthinned(20, 0.36, 1.0) == pytest.approx(16)
    assert width_unthinned(20, 0.36, 4.0) == pytest.approx(20 * np.sqrt(0.91))
    certain, possible = share(0.2, 0.15, 0.25), share(0.3, 0.25, 0.4)
    assert width_between_bounds(certain, possible) == pytest.approx(0.25)
    assert width_between_bounds(certain, possible, 0.5) == pytest.approx(0.2)
    assert most_left_of_sum(10, 0.75) == pytest.approx(5)


def test_no_range_now_gives_none_then():
    none = unknown("nothing")
    assert np.isnan(width_by_logit(none, 2)) and np.isnan(width_between_bounds(none, none))
    assert np.isnan(width_of_share(0, 0)) and np.isnan(width_of_difference(none, (none, none), (1, 1)))
    assert np.isnan(width_with_more_tests([10.0], [0.0], [np.nan], [np.nan], [5.0]))


def test_a_stratum_has_never_more_tested_than_it_holds():
    full = width_with_more_tests([50], [50], [0.5], [50], [0])
    assert width_with_more_tests([50], [25], [0.5], [25], [500]) == pytest.approx(full)
    assert full < width_with_more_tests([50], [25], [0.5], [25], [0])


def test_an_empty_store_lacks_nothing_and_promises_nothing(store, settings):
    found = compute(store, settings).missing
    assert found.fields["n_cases"].eq(0).all() and not found.fields["is_blocking"].any()
    assert found.figures["width_filled"].isna().all() and found.figures["told"].str.len().gt(10).all()


def test_every_field_is_counted_and_opens_its_visits(store, put_swaps, put, settings):
    """12 swaps: 3 without a tag, 4 without a reading, 2 without a make point, 5 without a code, 1 without an appliance."""
    n = np.arange(12)
    put_swaps(
        appliance_key=[None if i == 0 else f"a{i}" for i in n],
        evidence=np.where(n < 4, "no_reading", "condemnation_not_supported"),
        cause_code=np.where(n < 5, None, "hose_water"),
        tier=np.where(n < 5, "none", "described"),
    )
    for column in ("removed_tag", "rated_make_pa"):
        store.execute(f"ALTER TABLE swap_case ADD COLUMN IF NOT EXISTS {column} VARCHAR")
    store.execute("UPDATE swap_case SET removed_tag = 'T' || visit_id WHERE visit_id > 'v000002'")
    store.execute("UPDATE swap_case SET rated_make_pa = 200 WHERE visit_id > 'v000001'")
    reason = "draft was read, but not whether the contacts were open or closed"
    store.execute(
        "UPDATE field_evidence SET evidence = 'unclear', reason = ? WHERE draft_fault_id = (SELECT min(draft_fault_id) "
        "FROM swap_case)", [reason]
    )  # fmt: skip
    found = compute(store, settings).missing
    counts = found.fields.set_index("field")["n_missing"].to_dict()
    assert counts == {"removed_tag": 3, "reading": 4, "make_point": 2, "cause": 5, "appliance": 1}
    assert found.fields["n_cases"].eq(12).all()
    assert found.reading_lacks == {"not_read": 3, "not_before": 0, "no_contacts": 1}
    for field in CASES:
        assert len(visits_behind(store, EVERYTHING, f"lacks_{field}")) == counts[field]


def test_filling_readings_narrows_their_share_as_the_score_interval_says(store, put_swaps, settings):
    n = np.arange(80)
    evidence = np.select(
        [n < 40, n < 60, n < 75], ["no_reading", "condemnation_not_supported", "switch_shown_faulty"], "unclear"
    )
    put_swaps(evidence=evidence)
    line = figure(compute(store, settings).missing, "reading", "readings")
    # 35 of 40 readings decide, 20 of them not for the switch; 40 more readings would bring 35 more that decide.
    assert line["width_now"] == pytest.approx(width_of_share(20, 35))
    assert line["width_filled"] == pytest.approx(width_of_share(40, 70))


def test_without_any_reading_the_figure_waits_for_it(store, put_swaps, settings):
    put_swaps(site_id=["s1", "s2", "s3"])
    found = compute(store, settings).missing
    first = found.fields.iloc[0]
    assert first["is_blocking"] and figure(found, "reading", "readings")["is_blocked"]
    assert np.isnan(figure(found, "reading", "readings")["width_now"])


def test_untagged_switches_are_taken_to_be_tested_like_tagged_ones(store, put_swaps, settings):
    n = np.arange(200)
    put_swaps(verdict=np.where(n < 50, np.where(n % 2 == 0, "good", "faulty"), None), selection="chosen")
    store.execute("UPDATE swap_case SET removed_tag = 'T' || visit_id WHERE visit_id < 'v000100'")
    more = more_tests_by_stratum(swaps_for_rate(store, EVERYTHING, settings))
    # 50 of 100 tagged ones are tested: 50 of the 100 others would be.
    assert more["more_by_tag"].sum() == pytest.approx(50) and more["more_by_rating"].sum() == 0
    found = compute(store, settings).missing
    line = figure(found, "removed_tag", "adjusted_rate")
    assert 0.6 < line["width_filled"] / line["width_now"] < 0.8
    assert "50 more clear bench results" in line["told"]


def test_with_every_tag_written_nothing_is_promised(store, put_swaps, settings):
    n = np.arange(200)
    put_swaps(verdict=np.where(n < 50, np.where(n % 2 == 0, "good", "faulty"), None), selection="chosen")
    store.execute("UPDATE swap_case SET removed_tag = 'T' || visit_id")
    line = figure(compute(store, settings).missing, "removed_tag", "adjusted_rate")
    assert line["width_filled"] == pytest.approx(line["width_now"])


def test_causes_move_swaps_between_the_groups(store, put_swaps, settings):
    n = np.arange(300)
    coded, came = n % 3 > 0, n % 4 == 0
    put_swaps(
        tier=np.where(coded & (n % 2 == 0), "described", "none"),
        cause_code=np.where(coded, "hose_water", None),
        callback_days=[10 if c else None for c in came],
        possible_callback_days=[10 if c else None for c in came],
        observed_days=np.where(came, 10, 400),
    )
    found = compute(store, settings)
    line = figure(found.missing, "cause", "callback_difference")
    window = found.callbacks.windows[30]
    # 200 coded, 100 of them with a root cause: 50 of the 100 others would join these.
    expected = width_of_difference(window["difference"], (window["with_cause"], window["without_cause"]), (150, 150))
    assert line["width_filled"] == pytest.approx(expected)
    assert "50 swaps of 100" in line["told"]


def test_most_swaps_without_an_appliance_hold_the_callbacks_back(store, put_swaps, settings):
    put_swaps(appliance_key=[None, None, None, "a"])
    found = compute(store, settings).missing
    assert found.fields.set_index("field").loc["appliance", "is_blocking"]
    assert "same one came back" in figure(found, "appliance", "callbacks")["told"]
