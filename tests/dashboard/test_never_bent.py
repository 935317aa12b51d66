"""What the pages and the packs must always and must never say; over every page and every pack."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from page_texts import APP, assert_drawn, opened, said, text_tables

from dashboard import code_names, notices, page, store_access, technician_sheet
from dashboard.printed import packs, web_page
from models.figures.scope import Scope

PAGES = sorted({path.stem for path in (APP.parent / "views").glob("[!_]*.py")} - {"own_sheet"})
# Pages and packs that lead to work on an appliance; pages and packs that show figures about people.
LEADS_TO_WORK = {"this_week", "seasons", "sites", "bench", "missing"}
ABOUT_PEOPLE = {"coaching", "parts_waste"}
PACKS_ABOUT_PEOPLE = {"week", "coaching"}
# What the safety text says, whatever its wording becomes: each of these together in one of its sentences.
SAFETY = (
    ("carbon monoxide alarm", "unwell", "out", "call the emergency service"),
    ("never", "bypass", "adjust", "substitute", "safety switch"),
    ("specified part only",),
    ("find why", "did not make"),
    ("combustion", "carbon monoxide test", "after the work"),
    ("suspected heat exchanger", "shut down"),
    ("licensed people", "manufacturer's instructions", "local code", "decide"),
    ("never say that an appliance is safe",),
)
FAIRNESS = (
    ("for coaching",),
    ("must not decide pay or discipline", "local labour and data-protection law"),
    ("no ranking",),
    ("mix of calls",),
    ("look here first", "never a finding of fault"),
    ("new starters", "apart"),
    ("few cases", "range is wide"),
)
# "Safe" is said of an appliance only to say that nobody says it.
DENIED = r"(?:never says?|nothing here says) that an appliance is safe"
FORBIDDEN = (
    r"\b(?:is|are|was|be|now|again) safe\b", r"\bsafe to (?:use|run|operate|relight|leave)\b", r"\bat fault\b",
    r"\bleague\b", r"\branked?\b", r"\b(?:best|worst) technicians?\b", r"\b(?:top|bottom) (?:\d+|ten|five|three)\b",
    r"\bto blame\b", r"\bguilty\b", r"\bincompetent\b",
)  # fmt: skip


def assert_nothing_forbidden(text: str, where: str) -> None:
    left = re.sub(DENIED, "", " ".join(text.split()), flags=re.I)
    for pattern in FORBIDDEN:
        found = re.search(rf".{{0,60}}{pattern}.{{0,60}}", left, re.I)
        assert not found, f"{where}: {found[0]}"


def test_the_two_texts_say_all_they_must() -> None:
    for points, wanted in ((notices.SAFETY_POINTS, SAFETY), (notices.FAIRNESS_POINTS, FAIRNESS)):
        told = " ".join(points).casefold()
        for words in wanted:
            assert all(word in told for word in words), words


def test_the_rule_against_forbidden_words_can_fail() -> None:
    assert_nothing_forbidden("These pages never say that an appliance is safe.", "x")
    for text in (
        "The appliance is safe now.",
        "It is safe to run.",
        "Jo was at fault.",
        "He ranks; she is ranked third.",
    ):
        with pytest.raises(AssertionError):
            assert_nothing_forbidden(text, "x")


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
@pytest.mark.parametrize("name", PAGES)
def test_every_page(served_home: Path, name: str) -> None:
    test = opened(name)
    assert_drawn(test)
    text = said(test)
    assert_nothing_forbidden(text, name)
    assert (notices.SAFETY_POINTS[1] in text) == (name in LEADS_TO_WORK), name
    assert (notices.FAIRNESS_POINTS[0] in text) == (name in ABOUT_PEOPLE), name
    if name == "coaching":
        (established, *_) = [table for table in text_tables(test) if {"Separable", "Swaps"} <= set(table)]
        assert established["Technician"] == sorted(established["Technician"]), "by name, not by figure"
        assert {"Draft faults", "Swaps", "Clear tests"} <= set(established), "the number of cases stands beside it"
        assert [one for one in test.toggle if one.key == code_names.SWITCH_KEY]


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
@pytest.mark.parametrize("name", PAGES)
def test_no_table_of_people_can_be_sorted(served_home: Path, name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    # With every part that is closed at first.
    monkeypatch.setattr(page, "lazily", lambda title, key, content: content())
    test = opened(name)
    assert_drawn(test)
    people = store_access.frame("SELECT technician_id, technician_name FROM technician")
    known = {str(one) for column in people for one in people[column].dropna()} | set(
        map(code_names.naming(), people["technician_id"])
    )
    for table in test.dataframe:
        # A row that is a visit may name who made it; a row that is a person may not be put in order by a click.
        if "Visit" not in table.value:
            assert "Technician" not in table.value, (name, list(table.value))
            cells = {str(cell) for column in table.value for cell in table.value[column]}
            assert not cells & known, (name, list(table.value))
    tables = [table for table in text_tables(test) if list(table)[:1] == ["Technician"]]
    assert len(tables) >= {"coaching": 1, "parts_waste": 1, "this_week": 1}.get(name, 0), name
    for table in tables:
        assert table["Technician"] == sorted(table["Technician"]), (name, list(table))


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
@pytest.mark.parametrize("kind", packs.KINDS)
def test_every_pack(served_home: Path, kind: str) -> None:
    one = store_access.row("SELECT technician_id AS one FROM draft_fault GROUP BY 1 ORDER BY count(*) DESC, 1")["one"]
    claim = store_access.row("SELECT min(claim_id) AS one FROM warranty_claim")["one"]
    document = packs.document(kind, Scope(), code_names.naming(True), one, claim, None)
    text = re.sub(r"<style.*?</style>|<svg.*?</svg>", " ", web_page.web_page(document).decode(), flags=re.S)
    text = re.sub(r"<[^>]+>", " ", text.replace("<wbr>", "").replace("&#x27;", "'").replace("\u200b", ""))
    assert_nothing_forbidden(text, kind)
    assert notices.SAFETY_POINTS[1] in text, kind
    assert (notices.FAIRNESS_POINTS[0] in text) == (kind in PACKS_ABOUT_PEOPLE), kind


def test_the_steps_and_the_words_of_a_sheet_name_no_fault() -> None:
    for words in (*technician_sheet.STEPS.values(), *technician_sheet.CHECK_WORDS.values()):
        assert_nothing_forbidden(words, "sheet")
