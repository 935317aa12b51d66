"""The evidence table and the coaching effect in words, and the bench list as it stands on its page."""

from __future__ import annotations

import json
from html import unescape
from importlib import resources
from pathlib import Path

import pandas as pd
import pytest
from page_texts import assert_drawn, opened, said

from dashboard import evidence
from dashboard.coached import line, own_lines
from models.figures.coaching_effect import MeasureEffect
from models.methods.estimate import Estimate, unknown
from models.methods.numeral import canonical

ROW = {
    "id": "x", "what": "Range holds the truth", "bar": "93.5 to 96.5%", "value": 0.951, "unit": "share", "error": 0.0096,
    "n": 500, "n_of": "fleets", "is_held": True, "note": "",
}  # fmt: skip


def test_rows_are_shown_with_their_unit_and_their_error() -> None:
    assert evidence.line(ROW) == ("Range holds the truth", "93.5 to 96.5%", "95.1% ± 1.0", "500 fleets", "yes")
    assert evidence.amount(ROW | {"unit": "points", "value": -0.0031, "error": 0.0004}) == "−0.3 points ± 0.04"
    assert evidence.amount(ROW | {"unit": "per point", "value": 0.0036, "error": 0.0002}) == "0.0036 ± 0.0002"
    assert evidence.amount(ROW | {"unit": "ratio", "value": 0.48, "error": 0.02}) == "0.48 ± 0.02"
    assert evidence.amount(ROW | {"unit": "ratio", "value": 0.0287, "error": 0.0017}) == "0.029 ± 0.002"
    assert "promised 93.5 to 96.5%, found 95.1%" in evidence.missed(ROW)


def test_rounding_never_shows_a_promise_not_kept_as_one_that_was() -> None:
    missed = ROW | {"is_held": False}
    assert evidence.amount(missed | {"value": 0.96512}) == "96.51% ± 1.0"
    assert evidence.amount(missed | {"value": 0.968}) == "96.8% ± 1.0"
    assert evidence.amount(missed | {"unit": "ratio", "value": 0.8958, "error": 0.01}) == "0.896 ± 0.01"
    assert evidence.amount(missed | {"unit": "points", "value": -0.0051, "error": 0.0004}) == "−0.51 points ± 0.04"
    assert evidence.amount(missed | {"unit": "points", "value": 0.02, "error": 0.0004}) == "+2.0 points ± 0.04"


def test_a_value_that_is_not_known_is_neither_wide_nor_narrow() -> None:
    row = ROW | {"id": "coverage_peak_condensate", "value": float("nan"), "is_held": False}
    assert "found not known" in evidence.limit(row)
    assert "whether it is kept is not known" in evidence.limit(row)
    assert "claims less" not in evidence.limit(row) and "too narrow" not in evidence.limit(row)


def test_a_ratio_kept_by_less_than_its_error_is_not_told_from_one() -> None:
    row = ROW | {"bar": evidence.MORE_THAN_ONE, "unit": "ratio"}
    assert evidence.kept(row | {"value": 1.026, "error": 0.046}) == "yes, but not told from 1"
    assert evidence.kept(row | {"value": 1.2, "error": 0.046}) == "yes"
    assert evidence.kept(row | {"value": 0.97, "error": 0.046, "is_held": False}) == "no"


def test_the_table_in_this_copy_is_whole() -> None:
    made = json.loads(resources.files("models").joinpath("evidence", evidence.FILE).read_text("utf-8"))
    assert made["n_fleets"] > 0 and made["made_on"] and made["command"]
    ids = [row["id"] for row in made["rows"]]
    assert len(ids) == len(set(ids))
    assert {
        "coverage_good_switch_rate",
        "bias_adjusted",
        "control_signals",
        "coaching_bias",
        "classifier_slope",
    } <= set(ids)
    assert evidence.MORE_THAN_ONE in {row["bar"] for row in made["rows"]}
    for row in made["rows"]:
        assert set(row) == set(ROW) and isinstance(row["is_held"], bool) and row["n"] > 0


@pytest.mark.parametrize("served_home", ["empty_home", "fleet_home"], indirect=True)
def test_the_method_page_shows_every_row_and_what_was_not_kept(served_home: Path) -> None:
    test = opened("method")
    assert_drawn(test)
    assert [tab.label for tab in test.tabs][-2:] == ["What these figures were proven on", "Honest limits"]
    text, made = unescape(said(test)), evidence.table()
    assert made is not None
    for row in made["rows"]:
        assert canonical(row["what"].split(":")[0])[:40] in text
        if not row["is_held"]:
            assert f"promised {canonical(row['bar'])}" in text
            # The limits repeat it with the reason.
            assert row["id"] in evidence.WHY and canonical(evidence.limit(row)) in text


def test_a_promise_not_kept_without_a_known_reason_says_so() -> None:
    limit = evidence.limit(ROW | {"is_held": False, "note": "Blocks in order: 1, 2."})
    assert limit.endswith("over 500 fleets. Blocks in order: 1, 2. Why is not known.")


@pytest.mark.parametrize(("value", "told"), [(0.928, "too narrow"), (0.968, "it claims less than it could")])
def test_a_range_too_narrow_is_never_called_a_careful_one(value: float, told: str) -> None:
    row = ROW | {"id": "coverage_peak_condensate", "value": value, "is_held": False}
    assert told in evidence.limit(row)
    assert ("it claims less" in evidence.limit(row)) != ("too narrow" in evidence.limit(row))


def test_a_copy_without_the_table_says_how_to_make_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(evidence, "FILE", "none.json")
    assert evidence.table() is None


def test_measures_are_told_with_their_range_or_their_reason() -> None:
    gap = Estimate(-0.1, -0.16, -0.04, 120, None, "m")
    one = MeasureEffect("no_reading", "process", "Swaps without a reading", "swaps", gap, gap, -0.2, 5, 20, 48.0, 60.0)
    assert line(one) == (
        "Swaps without a reading", "48 of 120 swaps", "60", "−10.0 points (−16.0 points to −4.0 points)", "−20.0 points",
    )  # fmt: skip
    none = MeasureEffect("x", "outcome", "Came back", "swaps", unknown("Too few."), gap, None, 0, 0, 0.0, None)
    assert line(none) == ("Came back", "not known", "not known", "Too few.", "not known")


def test_own_lines_leave_out_what_is_not_known() -> None:
    own = pd.DataFrame({
        "measure": ["no_reading", "no_cause"], "n_before": [20, 0], "hits_before": [12.0, 0], "n_after": [10, 0],
        "hits_after": [2.0, 0], "expected_after": [float("nan"), float("nan")],
    })  # fmt: skip
    assert own_lines(own) == [
        "Swaps without a gauge reading of the draft: 12 of 20 swaps before, 2 of 10 in the twelve months after."
    ]
    own.loc[0, "expected_after"] = 5.4
    assert "about 5 to be expected without coaching" in own_lines(own)[0]


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
def test_the_coaching_page_compares_before_and_after(served_home: Path) -> None:
    test = opened("coaching")
    assert_drawn(test)
    text = said(test)
    assert "What changed after coaching" in [header.value for header in test.header]
    assert "Swaps without a gauge reading of the draft" in text and "This is an association" in text


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
def test_the_bench_list_stands_on_the_records_page(served_home: Path) -> None:
    test = opened("records")
    assert_drawn(test)
    assert "drawn at random" in said(test) or "No removed switch can be drawn now" in said(test)
