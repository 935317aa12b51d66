"""Numbers and codes in words."""

from __future__ import annotations

import datetime as dt

import pytest

from dashboard import words
from dashboard.glossary import GLOSSARY
from models.methods.estimate import Estimate
from pipelines.contract.codes import CAUSE_CODE


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0.456, "46%"),
        (0.061, "6.1%"),
        (0.0, "0%"),
        (1.0, "100%"),
        (0.9993, "99.9%"),
        (0.99999, "99.9%"),
        (-0.021, "-2.1%"),
    ],
)
def test_share(value: float, text: str) -> None:
    assert words.share(value) == text


@pytest.mark.parametrize("unit", [*words.FORMATS, "money", "ratio", "pressure_pa"])
@pytest.mark.parametrize("missing", [None, float("nan")])
def test_unknown_is_said_never_shown_as_zero(unit: str, missing: float | None) -> None:
    assert words.value_of(missing, unit, "USD") == "not known"


def test_pressure_has_both_units_and_a_true_minus() -> None:
    # NIST SP 811: conventional inch of water 249.08891 Pa (published and read in the contract).
    assert words.pressure(249.08891 * 0.82) == "0.82 in. w.c. (204 Pa)"
    assert words.pressure(-50.0) == "−0.20 in. w.c. (−50 Pa)"
    assert words.pressure(204.2, "Pa") == "204 Pa"


def test_range_names_its_unit_once() -> None:
    estimate = Estimate(61200, 50100, 73900, 10, 0.5, "m")
    assert words.range_of(estimate, "money", "USD") == "between 50,100 and 73,900 USD"
    assert words.range_of(Estimate(0.46, 0.41, 0.52, 10, 0.5, "m"), "share") == "between 41% and 52%"
    assert words.range_of(Estimate(0.46, None, None, 10, 0.5, "m"), "share") == "range not known"
    assert words.range_of(Estimate(75, 75, 75, 2, 0.5, "m"), "money", "USD") == "counted, so without a range"
    assert "without a range" not in words.range_of(Estimate(75, 74.9, 75.2, 2, 0.5, "m"), "money", "USD")


def test_days_of_the_year_wrap_round() -> None:
    assert words.day_of_year(14) == "14 Jan"
    assert words.day_of_year(-2) == "29 Dec"
    assert words.day_of_year(370) == "5 Jan"


def test_dates_and_counts() -> None:
    assert words.date(dt.date(2026, 11, 9)) == "9 Nov 2026"
    assert words.plural(1, "visit") == "1 visit"
    assert words.plural(1200, "switch", "switches") == "1,200 switches"
    assert words.joined(["a", "b", "c"]) == "a, b and c"


@pytest.mark.parametrize("text", ["=cmd()", "+1", "-1+2", "@SUM(A1)", "\t=1", "\r=1"])
def test_cells_that_look_like_formulas_are_defused(text: str) -> None:
    assert words.formula_safe(text) == "'" + text


def test_plain_text_and_numbers_are_left_alone() -> None:
    assert words.formula_safe("draft 0.82") == "draft 0.82"
    assert words.formula_safe(-1.5) == -1.5


def test_markup_in_records_is_text() -> None:
    assert words.plain("**S1** <b>$x$</b>") == r"\*\*S1\*\* \<b\>\$x\$\</b\>"


def test_every_cause_has_words() -> None:
    assert set(CAUSE_CODE.values()) == set(words.CAUSE_WORDS)
    assert words.in_words("hose_water", words.CAUSE_WORDS) == "water in the sensing hose"
    assert words.in_words(None, words.CAUSE_WORDS) == "not recorded"


def test_glossary_entries_are_sentences() -> None:
    for term, meaning in GLOSSARY.items():
        assert term[0].isupper() and meaning.endswith("."), term


def test_a_callback_share_says_of_how_many_the_answer_is_known():
    told = words.followed(Estimate(1.0, 0.3, 1.0, 5, 0.4, "m"), 30)
    assert told == "5 swaps followed up, 2 of them for 30 days or until they came back"
    assert words.followed(Estimate(1.0, 0.3, 1.0, 1, None, "m"), 30) == "1 swap followed up"
