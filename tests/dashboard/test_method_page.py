"""Settings and the model card in the words of people, each value with its unit."""

from __future__ import annotations

import re
from dataclasses import fields
from pathlib import Path

import pytest
from page_texts import assert_drawn, opened, said

from dashboard.model_card import facts, weights
from dashboard.views.method import setting_value
from pipelines.settings import Settings

CARD = {
    "is_available": True, "reason": "", "purpose": "Where to look first.", "method": "logistic regression", "penalty_c": 1.0,
    "n": 100, "n_good": 70, "n_faulty": 30, "first_on": "2022-05-02", "last_on": "2026-06-26", "largest_weight": 5.2,
    "validation": "6 blocks", "recalibration": "slope", "base_rate": 0.7, "n_validated": 80, "brier_skill": None,
    "calibration_slope": 0.92, "calibration_slope_error": None, "calibration_error": 0.015, "case_mix_brier_skill": 0.05,
    "calibration_table": [{"predicted": 0.15, "observed": 0.13, "n": 40}],
    "features": [
        {"name": "cause_code", "about": "the cause that was recorded", "group": "diagnosis", "known_at": "visit_close",
         "reference": "not recorded", "weights": {"cause_code = hose_water": 0.5, "cause_code = diaphragm_leak": -2.0}},
        {"name": "season_cos", "about": "time of the year", "group": "case_mix", "known_at": "before", "reference": "",
         "weights": {"season_cos": 0.11}},
    ],
    "case_mix_features": ["season_cos"],
}  # fmt: skip


def test_every_setting_has_a_meaning_for_people() -> None:
    meanings = [entry.metadata.get("meaning", "") for entry in fields(Settings)]
    assert all(len(meaning) > 20 and meaning[0].isupper() for meaning in meanings)
    assert len(set(meanings)) == len(meanings)
    # Words, not names of columns.
    assert not any(re.search(r"\w_\w", meaning) for meaning in meanings)


@pytest.mark.parametrize(
    ("name", "shown"),
    [
        ("bench_good_probability", "95%"),
        ("flag_margin", "8 points"),
        ("callback_windows", "7, 14, 30, 60 and 90 days"),
        ("season_starts_month", "July"),
        ("heating_base_c", "18.3 °C (65 °F)"),
        ("assumed_resolution_pa", "2.5 Pa"),
        ("trip_cost", "not set"),
        ("swap_labour_minutes", "30 minutes"),
        ("random_seed", "20260101"),
    ],
)
def test_settings_are_shown_with_their_unit(name: str, shown: str) -> None:
    entry = next(entry for entry in fields(Settings) if entry.name == name)
    assert setting_value(getattr(Settings(), name), entry.metadata["unit"], "USD") == shown


def test_a_cost_is_shown_in_the_currency() -> None:
    assert setting_value(95.0, "currency", "EUR") == "95.00 EUR"


def test_the_model_card_is_told_in_words() -> None:
    told = dict(facts(CARD))
    assert told["Learned from"].startswith("100 switches with a clear bench result: 70 good, 30 faulty; 2 May 2022")
    assert told["Skill"] == "not known"
    assert told["The case mix is"] == "time of the year"
    assert not any("_" in text for row in facts(CARD) for text in row)
    table = weights(CARD["features"])
    assert table["Category"].tolist() == ["water in the sensing hose", "diaphragm leaking or torn", ""]


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
def test_the_method_page_shows_no_raw_names(served_home: Path) -> None:
    test = opened("method")
    assert_drawn(test)
    text = said(test)
    for raw in ("brier_skill", "visit_close", "case_mix", "n_good", "is_available", "{'", "18.3333"):
        assert raw not in text, raw
    assert "Time to fit a switch" in text
