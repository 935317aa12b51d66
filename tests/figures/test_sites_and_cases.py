"""Sites to look at, the visits behind a figure, and what the figures rest on."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest

from models.figures.cases import KEYS, WHAT, count_behind, visits_behind
from models.figures.coverage import coverage
from models.figures.margins import margin_trends
from models.figures.scope import Scope
from models.figures.sites import SITE_COLUMNS, sites
from models.methods.numeral import canonical

EVERYTHING = Scope()
# Of what fewer than twenty visits may be on record in a small fleet.
RARE = (
    "safety",
    "condensate",
    "blockage",
    "uncertain_callbacks",
    "lacks_appliance",
    "tested_and_credited",
    "skipped_note_rate",
)


def _sites(con, settings):
    return sites(con, EVERYTHING, settings).set_index("site_id")


def _serve(put, n=400):
    """Appliances of `n` sites under service for two years."""
    ids = [f"s{i:06d}" for i in range(n)]
    put("appliance_service", site_id=ids, appliance_key=[f"a{i}" for i in ids], region="r1", appliance_kind="furnace",
        is_condensing=True, served_from_on=date(2023, 1, 1), served_until_on=date(2025, 1, 1))  # fmt: skip


@pytest.mark.parametrize("column", ["cause_code", "contributing_cause_code"])
def test_safety_lists_a_site_whatever_the_statistics(store, put_swaps, put, settings, column):
    put_swaps(site_id=["calm", "other"])
    put("visit", visit_id=["x"], site_id="calm", arrived_on=date(2024, 2, 1), cause_group="heat_exchanger" if column == "cause_code" else None,
        **{column: "exchanger_breached"})  # fmt: skip
    table = _sites(store, settings)
    assert table.loc["calm", "is_safety"] and table.loc["calm", "is_flagged"]
    assert "heat exchanger recorded as breached" in table.loc["calm", "reasons"][0]
    assert "other" not in table.index


def test_safety_of_an_appliance_taken_out_since_is_closed(store, put_swaps, put, settings):
    put_swaps(site_id=["calm"])
    put("visit", visit_id=["x"], site_id="calm", appliance_key="old", arrived_on=date(2024, 2, 1), cause_group="installation",
        cause_code="safety_bypassed")  # fmt: skip
    assert "calm" in _sites(store, settings).index
    put("delivered.appliances", appliance_id="old", site_id="calm", removed_on=[date(2024, 3, 1)])
    assert "calm" not in _sites(store, settings).index


def test_a_site_with_far_more_unexplained_faults_is_flagged(store, put_swaps, put, settings):
    _serve(put)
    site = ["s000000"] * 6 + [f"s{i:06d}" for i in range(1, 60)]
    put_swaps(site_id=site, appliance_key=[f"a{s}" for s in site], tier="none",
              swapped_on=[date(2024, 1, 1) + timedelta(days=7 * i) for i in range(65)])  # fmt: skip
    row = _sites(store, settings).loc["s000000"]
    assert row["is_flagged"] and not row["is_safety"]
    assert row["n_unexplained"] == 6 and row["n_repeats"] == 5
    # 65 faults over 400 like appliances served alike.
    assert row["expected_unexplained"] == pytest.approx(65 / 400)
    assert "6 draft faults without a recorded root cause; 0.2 expected" in canonical(row["reasons"][0])


def test_a_recorded_cause_takes_a_site_off(store, put_swaps, put, settings):
    _serve(put)
    site = ["s000000"] * 6 + [f"s{i:06d}" for i in range(1, 60)]
    put_swaps(site_id=site, appliance_key=[f"a{s}" for s in site], tier=["described"] * 6 + ["none"] * 59,
              swapped_on=[date(2024, 1, 1) + timedelta(days=7 * i) for i in range(65)])  # fmt: skip
    assert "s000000" not in _sites(store, settings).index


def test_a_shrinking_margin_is_flagged_and_a_wavering_one_is_not(store, put_swaps, settings):
    day = [date(2023, 1, 1) + timedelta(days=60 * i) for i in range(8)]
    put_swaps(
        site_id=["falls"] * 8 + ["wavers"] * 8,
        appliance_key=["a"] * 8 + ["b"] * 8,
        tier="described",
        swapped_on=day * 2,
        margin_pa=[60.0 - 6 * i for i in range(8)] + [40.0, 55, 38, 52, 41, 57, 36, 50],
    )
    table = _sites(store, settings)
    assert table.loc["falls", "is_flagged"]
    assert table.loc["falls", "margin_slope_pa_per_year"] == pytest.approx(-6 * 365.25 / 60)
    assert table.loc["falls", "n_margins"] == 8
    # Exact one-sided Kendall of 8 falling readings: 1 / 8!.
    assert table.loc["falls", "margin_p_value"] == pytest.approx(1 / 40320)
    assert "Draft margin shrinks" in table.loc["falls", "reasons"][0]
    assert "wavers" not in table.index


def test_nothing_to_list_keeps_the_columns(store, put_swaps, settings):
    put_swaps(tier="described")
    table = sites(store, EVERYTHING, settings)
    assert tuple(table.columns) == SITE_COLUMNS and table.empty


@pytest.mark.parametrize(
    "what", [*WHAT, *(f"back_{days}{group}" for days in (14, 90) for group in ("", "_with_cause", "_without_cause"))]
)
def test_every_figure_opens_its_visits(fleet, what):
    found = visits_behind(fleet[0], EVERYTHING, what, limit=20)
    assert len(found) == min(20, count_behind(fleet[0], EVERYTHING, what))
    assert found["visit_on"].is_monotonic_decreasing
    if what not in RARE:
        assert len(found) == 20


@pytest.mark.parametrize(
    ("what", "count"),
    [
        ("swaps", "SELECT count(*) FROM swap_case"),
        ("bench_good", "SELECT count(*) FROM swap_case WHERE verdict = 'good'"),
        ("without_cause", "SELECT count(*) FROM swap_case WHERE NOT has_root_cause"),
        ("callbacks", "SELECT count(*) FROM callback WHERE callback_days IS NOT NULL"),
        ("draft_faults", "SELECT count(*) FROM draft_fault"),
        ("back_30", "SELECT count(*) FROM callback WHERE swap_id IS NOT NULL AND callback_days <= 30"),
        ("back_5", "SELECT count(*) FROM callback WHERE swap_id IS NOT NULL AND callback_days <= 5"),
        (
            "back_45_with_cause",
            "SELECT count(*) FROM callback JOIN swap_case USING (swap_id) WHERE callback_days <= 45 AND has_root_cause",
        ),
    ],
)
def test_as_many_visits_as_the_figure_counts(fleet, what, count):
    con, _ = fleet
    n = con.execute(count).fetchone()[0]
    assert len(visits_behind(con, EVERYTHING, what, limit=None)) == count_behind(con, EVERYTHING, what) == n


def test_groups_and_scope_narrow(store, put_swaps):
    put_swaps(branch=["north", "north", None], technician_id=["t1", "t2", "t1"])
    assert len(visits_behind(store, EVERYTHING, "swaps", branch="north")) == 2
    assert len(visits_behind(store, EVERYTHING, "swaps", branch=None)) == 1
    assert count_behind(store, EVERYTHING, "swaps", branch="north") == 2
    assert count_behind(store, Scope(branch="north"), "swaps", technician_id="t1") == 1
    assert len(visits_behind(store, Scope(branch="north"), "swaps", technician_id="t1")) == 1
    assert len(visits_behind(store, Scope(start_on=date(2025, 1, 1)), "swaps")) == 0


def test_notes_are_cut_and_shown_as_text(store, put_swaps, put):
    put_swaps()
    put("delivered.visits", visit_id=["v000000"], notes="<b>=cmd()</b>" + "x" * 500)
    notes = visits_behind(store, EVERYTHING, "swaps")["notes"].iloc[0]
    assert notes.startswith("<b>=cmd()</b>") and len(notes) == 200


def test_unknown_names_are_told(store):
    for what in ("back_0", "back_", "back_30_", "back_30 OR true", "back_1000", "back_30_swaps"):
        with pytest.raises(ValueError, match="must be one of draft_faults"):
            visits_behind(store, EVERYTHING, what)
    with pytest.raises(ValueError, match="what: got 'nothing'; must be one of draft_faults"):
        visits_behind(store, EVERYTHING, "nothing")
    with pytest.raises(ValueError, match="key: got 'colour'; must be one of " + KEYS[0]):
        visits_behind(store, EVERYTHING, "swaps", colour="red")
    with pytest.raises(ValueError, match="what: got 'nothing'"):
        count_behind(store, EVERYTHING, "nothing")


def test_coverage_counts(store, put_swaps, put):
    put_swaps(verdict=["good", None, None, None], tier=["none", "none", "described", "measured"],
              has_gauge_reading=[True, False, False, True], swapped_on=[date(2023, 3, 1), date(2023, 12, 1), date(2024, 1, 1), date(2024, 2, 1)])  # fmt: skip
    store.execute("UPDATE draft_fault SET appliance_key = NULL WHERE draft_fault_id = 'v000000'")
    store.execute("UPDATE draft_fault SET is_closed = draft_fault_id <> 'v000001'")
    put("held_back", load_id=[1, 1, 1], row_no=[7, 7, 8], table_name="visits")
    found = coverage(store, EVERYTHING)
    told = {
        key: found[key]
        for key in (
            "n_visits",
            "n_swaps",
            "n_tested",
            "n_with_cause",
            "n_with_reading",
            "n_swaps_never_complete",
            "n_appliance_unproven",
            "n_held_back",
        )
    }
    assert told == {
        "n_visits": 4,
        "n_swaps": 4,
        "n_tested": 1,
        "n_with_cause": 2,
        "n_with_reading": 2,
        "n_swaps_never_complete": 1,
        "n_appliance_unproven": 1,
        "n_held_back": 2,
    }
    assert (found["first_on"], found["last_on"]) == ("2023-03-01", "2024-02-01")
    assert found["n_seasons"] == 2
    assert coverage(store, Scope(start_on=date(2024, 1, 1)))["n_swaps_never_complete"] == 0
    assert np.all([isinstance(value, int | str) for value in found.values()])


def test_steps_of_the_gauge_and_two_faults_on_a_day_are_no_trend_of_their_own(store, put_swaps, settings):
    """Falling in steps of the gauge on 8 days, the last with two readings: the day counts once, ties exactly."""
    day = [date(2023, 1, 1) + timedelta(days=60 * i) for i in range(8)]
    put_swaps(
        site_id="steps", appliance_key="a", tier="described", swapped_on=[*day, day[-1]],
        margin_pa=[50.0, 50, 25, 25, 25, 0, 0, -20, -30],
    )  # fmt: skip
    row = margin_trends(store, EVERYTHING, 0.1).iloc[0]
    assert row["n_margins"] == 8
    # No pair rises: of the 8! / (2! 3! 2! 1!) orders of these values exactly one.
    assert row["margin_p_value"] == pytest.approx(1 / 1680)
