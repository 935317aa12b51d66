"""What the bench label says is missing, and what a gauge's uncertainty comes from: each sentence, and when it is not said."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import pytest

from dashboard.bench_entry import FLAGS, missing_in_words
from dashboard.bench_tests import in_words

FULL = {
    **{f"{point}_{turn}": "200" for point in ("make", "break") for turn in (1, 2, 3)},
    **dict.fromkeys(FLAGS, "no"),
    "gauge_id": "G1", "contact_ohms": "0.2", "handling": "as_removed",
}  # fmt: skip
KNOWN = {"rated_make_pa": 200.0, "is_tolerance_assumed": False}
GAUGE = {
    "gauge_id": "G1", "full_scale_pa": 500.0, "accuracy_percent_full_scale": 0.5, "accuracy_percent_reading": None,
    "resolution_pa": 1.0, "calibrated_on": date(2025, 3, 2),
}  # fmt: skip


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A home with settings of its own: every amount said must be the one that is set."""
    (tmp_path / "settings.toml").write_text(
        'default_pressure_unit = "Pa"\nassumed_accuracy_share = 0.03\nassumed_resolution_pa = 12.45\n'
        "assumed_tolerance_share = 0.15\n",
        "utf-8",
    )
    monkeypatch.setenv("GOODPULL_HOME", str(tmp_path))
    return tmp_path


def missing(result: dict[str, Any] | None = KNOWN, **typed: str) -> list[str]:
    """What is missing of a full test with these cells instead."""
    cells = FULL | typed
    stored = {f"make_{turn}_pa": float(cells[f"make_{turn}"]) if cells[f"make_{turn}"] else None for turn in (1, 2, 3)}
    return missing_in_words(cells, stored, result)


def test_of_a_full_test_nothing_is_missing():
    assert missing() == [] and missing(result=None) == []


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        (
            {"make_1": "", "make_2": "", "make_3": ""},
            "A make reading: without one the switch can be found faulty by what is seen, but never good.",
        ),
        ({"make_2": "", "make_3": ""}, "2 more make readings: three narrow the uncertainty most."),
        ({"make_1": ""}, "1 more make reading: three narrow the uncertainty most."),
        (
            {"break_1": "", "break_2": "", "break_3": ""},
            "Break readings: kept for the record; no verdict rests on them.",
        ),
        ({"gauge_id": ""}, "The gauge: 3% of the reading and a step of 12 Pa are assumed."),
        ({"contact_ohms": ""}, "The resistance of the closed contacts."),
        ({"handling": ""}, "How it was handled: a switch drained or dropped can never be found good."),
        ({"has_water_inside": ""}, "Not looked at: water inside."),
        (dict.fromkeys(FLAGS, ""), "Not looked at: held the pressure, water inside and diaphragm torn."),
    ],
)
def test_each_thing_that_is_missing_is_said_alone_with_what_it_costs(typed, told):
    assert missing(**typed) == [told]


def test_one_break_reading_is_enough():
    assert missing(break_2="", break_3="") == []


@pytest.mark.parametrize(
    ("result", "told"),
    [
        (
            {"rated_make_pa": None, "is_tolerance_assumed": True},
            "The rated make point: not on record for this switch; read it off its label.",
        ),
        (
            {"rated_make_pa": 200.0, "is_tolerance_assumed": True},
            "The tolerance: 15% of the rated make point is assumed.",
        ),
    ],
)
def test_a_rating_or_tolerance_not_on_record_is_said(result, told):
    """Without a rated make point there is nothing that a tolerance would be a share of: one sentence, not two."""
    assert missing(result) == [told]


def test_all_that_is_missing_is_said_in_the_order_of_what_it_costs():
    told = missing({"rated_make_pa": 200.0, "is_tolerance_assumed": True}, **dict.fromkeys(FULL, ""))
    assert [one.split(":")[0].split(" of ")[0] for one in told] == [
        "A make reading", "Break readings", "The gauge", "The tolerance", "Not looked at", "The resistance",
        "How it was handled",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({}, "G1: up to 500 Pa, 0.5% of full scale, step 1.0 Pa, calibrated 2 Mar 2025"),
        (
            {"accuracy_percent_reading": 1.0},
            "G1: up to 500 Pa, 0.5% of full scale and 1% of reading, step 1.0 Pa, calibrated 2 Mar 2025",
        ),
        (
            {"accuracy_percent_full_scale": None, "accuracy_percent_reading": 2.0, "calibrated_on": None},
            "G1: up to 500 Pa, 2% of reading, step 1.0 Pa",
        ),
        (
            {"full_scale_pa": None, "accuracy_percent_full_scale": None, "resolution_pa": float("nan")},
            "G1: accuracy not on record, 3% assumed, step not on record, calibrated 2 Mar 2025",
        ),
    ],
)
def test_a_gauge_is_told_with_what_its_uncertainty_comes_from(changed, told):
    assert in_words(GAUGE | changed) == told


def test_a_company_that_reads_inches_is_told_pressures_in_inches(home):
    (home / "settings.toml").write_text('default_pressure_unit = "[in_i\'H2O]"\nassumed_resolution_pa = 2.5\n', "utf-8")
    assert in_words(GAUGE) == (
        "G1: up to 2.01 in. w.c. (500 Pa), 0.5% of full scale, step 0.0040 in. w.c. (1.0 Pa), calibrated 2 Mar 2025"
    )
    assert missing(gauge_id="") == ["The gauge: 2% of the reading and a step of 0.010 in. w.c. (2.5 Pa) are assumed."]
