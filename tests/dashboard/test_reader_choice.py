"""Units and separators as the reader chose them; terms found in our own texts; the glossary in the README."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from page_texts import opened, said

from dashboard import glossary, reader_choice, words
from dashboard.views import coaching
from dashboard.views.seasons import weather_line
from models.methods.numeral import canonical

README = Path(__file__).parents[2] / "README.md"


@pytest.mark.parametrize(
    ("style", "count", "share", "pressure", "money"),
    [
        ("1,234.5", "12,345", "4.2%", "−0.12 in. w.c. (−30 Pa)", "−1,234 USD"),
        ("1.234,5", "12.345", "4,2%", "−0,12 in. w.c. (−30 Pa)", "−1.234 USD"),
        ("1 234,5", "12\u202f345", "4,2%", "−0,12 in. w.c. (−30 Pa)", "−1\u202f234 USD"),
    ],
)
def test_numbers_stand_in_the_readers_separators(
    style: str, count: str, share: str, pressure: str, money: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(reader_choice, "_chosen", lambda key: style)
    assert words.count(12345) == count
    assert words.share(0.042) == share
    assert words.pressure(-30.0) == pressure
    assert words.money(-1234.0, "USD") == money


def test_a_temperature_read_is_told_in_the_readers_degrees(monkeypatch: pytest.MonkeyPatch) -> None:
    # Freezing and boiling water, by the definition of the two scales.
    for chosen, told in (("", "212.00 °F"), ("°F", "212.00 °F"), ("°C", "100.00 °C")):
        monkeypatch.setattr(reader_choice, "_chosen", lambda key, chosen=chosen: chosen)
        assert words.reading(212.0, "[degF]") == told
    for chosen, told in (("", "0.00 °C"), ("°C", "0.00 °C"), ("°F", "32.00 °F")):
        monkeypatch.setattr(reader_choice, "_chosen", lambda key, chosen=chosen: chosen)
        assert words.reading(0.0, "Cel") == told
        assert words.reading(24.0, "V") == "24.00 V" and words.reading(24.0, None) == "24.00 (unit unknown)"


def test_weather_is_told_in_the_readers_degrees(monkeypatch: pytest.MonkeyPatch) -> None:
    found = {"ratio": 2.0, "low": 1.5, "high": 3.0}
    assert "(°C) more in the week: 2.00 times the faults (1.50 to 3.00)" in weather_line("heating_degree_days_c", found)
    monkeypatch.setattr(reader_choice, "temperature", lambda: "°F")
    # Ten degree-days in °F are 5.56 in °C: 2 to the power of 5/9 is 1.47.
    assert "(°F) more in the week: 1.47 times the faults (1.25 to 1.84)" in weather_line("heating_degree_days_c", found)
    assert "2.00 times" in weather_line("n_freezing_nights", found)


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
def test_choices_stand_in_the_address(served_home: Path) -> None:
    asked = {"draft_in": "Pa", "numbers": "1.234,5"}
    test = opened("this_week", **asked)
    assert test.selectbox(key="draft_in_choice").value == "Pa"
    assert re.search(r"\d\.\d{3} visits", said(test))
    test.selectbox(key="numbers_choice").select("1,234.5").run()
    assert "numbers" not in test.query_params and re.search(r"\d,\d{3} visits", said(test))
    # An address somebody made up changes nothing.
    assert opened("this_week", draft_in="psi").selectbox(key="draft_in_choice").value == "in. w.c."


def test_terms_are_found_and_explained() -> None:
    assert set(glossary.FORMS.values()) == set(glossary.GLOSSARY), (
        "every term is explained somewhere, and every form has one"
    )
    for term, meaning in glossary.GLOSSARY.items():
        assert glossary.help_for(term) == canonical(meaning), term
    for told, term in (
        ("The tested ones weighted to stand for all pulled", "Adjusted rate"),
        ("Break readings: kept for the record", "Break point"),
        ("Draft before", "Draft"),
        ("Standard uncertainty, in. w.c.", "Water column"),
        ("Draft margin, in. w.c.", "Draft margin"),
        ("Counted for the owner of the job", "Owner of a job"),
    ):
        assert glossary.help_for(told) == canonical(glossary.GLOSSARY[term]), told
    assert glossary.help_for("Claims on draft switches") is None
    marked = glossary.with_terms("Good switches pulled per draft fault")
    assert re.findall(r">([^<]+)</span>", marked) == ["Good switches pulled", "per draft fault"]
    assert glossary.with_terms("Nothing of ours, &amp;swapped") == "Nothing of ours, &amp;swapped"
    assert glossary.help_for("Range from") == glossary.GLOSSARY["Range"]
    assert glossary.help_for("Last visit") is None
    said = "3 rows = 1 accepted + 2 held back + 0 exact duplicates; 1 near-certain pair; draw at random by removed tag; a mapping"
    assert re.findall(r">([^<]+)</span>", glossary.with_terms(said)) == [
        "held back", "exact duplicates", "near-certain", "draw at random", "removed tag", "mapping",
    ]  # fmt: skip
    assert glossary.help_for("Understood") and glossary.help_for("If filled")


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
@pytest.mark.parametrize(
    ("name", "heads"),
    [
        ("coaching", ("Clear tests", "Separable")),
        ("parts_waste", ("Bench good", "Likely good, no clear test")),
    ],
)
def test_statistical_heads_of_tables_are_terms(served_home: Path, name: str, heads: tuple[str, ...]) -> None:
    test = opened(name)
    marked = " ".join(str(part.proto.body) for part in test.get("html"))
    for head in heads:
        assert re.search(rf'<th [^>]*><span class="gp-term"[^>]*>{re.escape(head)}</span>', marked), head


@pytest.mark.parametrize("head", [*coaching.OUTCOMES, "came again", "Condensate", "Blockage", "Bench good"])
def test_a_head_that_is_not_on_every_page_is_a_term(head: str) -> None:
    assert 'class="gp-term"' in glossary.with_terms(head)


def test_the_glossary_stands_in_the_readme() -> None:
    assert glossary.reference() in README.read_text("utf-8"), "print it with: python -m dashboard.glossary"


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
def test_the_tour_has_three_steps_and_is_left_for_good(served_home: Path) -> None:
    test = opened("this_week")
    assert "1 of 3" in said(test)
    for place in ("2 of 3", "3 of 3"):
        test.button(key="tour_next").click().run()
        assert place in said(test)
    test.button(key="tour_leave").click().run()
    assert "of 3" not in said(test)
    test.switch_page("views/seasons.py").run()
    assert "of 3" not in said(test)
    test.button(key="tour_again").click().run()
    assert "1 of 3" in said(test)


@pytest.mark.parametrize("served_home", ["empty_home"], indirect=True)
def test_an_empty_home_has_no_tour(served_home: Path) -> None:
    assert "of 3" not in said(opened("this_week"))
