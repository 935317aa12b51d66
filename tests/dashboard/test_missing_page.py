"""The page What is missing and the close-out checklist: the answer, the visits without a field, one page of paper."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest
from page_texts import assert_drawn, opened, said
from pypdf import PdfReader

from dashboard import code_names, figures_access, missing_parts, notices, roles
from dashboard.printed import packs, paper, typeset, web_page
from models.figures.missing import CASES, FIELD_COLUMNS, FIGURE_COLUMNS, Missing
from models.figures.scope import Scope

ROWS = [
    ("reading", "swaps", 332, 685, 0.28, False),
    ("cause", "draft faults", 454, 1594, 0.14, False),
    ("appliance", "draft faults", 17, 1594, 0.04, False),
    ("removed_tag", "swaps", 45, 685, 0.013, False),
    ("make_point", "swaps", 0, 685, 0.0, False),
]


def made(rows=ROWS, now: float = 0.099, filled: float = 0.072) -> Missing:
    lines = [(row[0], "readings", "share", now, filled, False, False, "why") for row in rows]
    return Missing(pd.DataFrame(rows, columns=list(FIELD_COLUMNS)), pd.DataFrame(lines, columns=list(FIGURE_COLUMNS)))


def test_the_answer_names_one_thing_and_both_widths() -> None:
    told = missing_parts.answer(made())
    assert told.startswith(
        "Ask first for the draft before the repair, with contacts: missing on 332 of 685 swaps (48%)"
    )
    assert "7.2 points wide instead of 9.9 points" in told and told.count(".") >= 1


def test_which_half_of_a_reading_is_missing_is_said() -> None:
    halves = replace(made(), reading_lacks={"not_read": 300, "not_before": 0, "no_contacts": 32})
    told = missing_parts.reading_lacks(halves)
    assert told == (
        "Of these: 300 without any reading of the draft; "
        "32 with the draft before the repair, but not whether the contacts were open or closed."
    )
    assert missing_parts.reading_lacks(made()) == ""


def test_the_answer_is_honest_where_there_is_little_to_say() -> None:
    none = [(*row[:2], 0, 0, float("nan"), False) for row in ROWS]
    assert "No draft fault is on record" in missing_parts.answer(made(none))
    whole = [(*row[:2], 0, 685, 0.0, False) for row in ROWS]
    assert "None of these fields is missing" in missing_parts.answer(made(whole))
    little = [(*row[:4], 0.002, False) for row in ROWS]
    assert "narrow no range by more than 1%" in missing_parts.answer(made(little))
    unknown = [(*row[:4], float("nan"), False) for row in ROWS]
    assert "cannot be worked out" in missing_parts.answer(made(unknown)), "nothing was compared, so nothing is promised"
    # The field that would bring most is missing nowhere: the next one is asked for.
    unasked = [("make_point", "swaps", 0, 685, 0.4, False), *ROWS[:-1]]
    assert missing_parts.answer(made(unasked)).startswith("Ask first for the draft before the repair")
    found = made([("reading", "swaps", 3, 3, float("nan"), True), *ROWS[1:]])
    found.figures.loc[0, "is_blocked"] = True
    assert missing_parts.answer(found).endswith("cannot be given at all.")


def test_what_becomes_of_a_range_is_told_with_its_unit() -> None:
    lines = pd.DataFrame(
        [
            ("cause", "callback_difference", "share", 0.1, 0.125, False, False, ""),
            ("cause", "season_blockage", "days", 43.2, 39.7, False, False, ""),
            ("removed_tag", "waste", "money", 4257.0, 2838.0, True, False, ""),
            ("reading", "draft_margin", "share", float("nan"), float("nan"), False, False, ""),
        ],
        columns=list(FIGURE_COLUMNS),
    )
    told = [line[1:] for line in missing_parts.figure_lines(lines, "USD")]
    assert told[0] == ("10.0 points", "12.5 points", "grows by 25%")
    assert told[1] == ("43 days", "40 days", "shrinks by 8.1%")
    assert told[2] == ("4,257 USD", "at most 2,838 USD", "shrinks by at least 33%")
    assert told[3] == ("not known", "not known", "not known")
    assert missing_parts.why(lines) == f"{missing_parts.SHRINKS} {missing_parts.GROWS}"
    assert missing_parts.why(lines[1:]) == missing_parts.SHRINKS
    assert missing_parts.why(lines[:1]) == missing_parts.GROWS
    assert missing_parts.why(lines[3:]) == "", "nothing is known to change"


def test_amounts_are_told_in_their_currency_or_not_at_all() -> None:
    found = made([("removed_tag", "swaps", 45, 685, 0.25, False), *ROWS[:3], ROWS[-1]], 4000.0, 3000.0)
    found.figures.loc[0, ["figure", "unit", "is_at_most"]] = ["waste", "money", True]
    told = missing_parts.answer(found, "USD")
    assert told.endswith("would be at most 3,000 USD wide instead of 4,000 USD.")
    hidden = missing_parts.answer(found)
    assert hidden.endswith("“Estimated waste” would shrink by at least 25%.") and "000" not in hidden
    line = missing_parts.figure_lines(found.figures[:1], None)[0]
    assert line == ("Estimated waste", "not shown", "not shown", "shrinks by at least 25%")


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
def test_the_trainer_sees_no_amount(served_home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    seen = {}
    for role in ("manager", "trainer"):
        monkeypatch.setattr(roles, "person", lambda role=role: roles.Person(role))
        test = opened("missing")
        assert_drawn(test)
        seen[role] = said(test)
    assert re.search(r"[\d,]+ USD", seen["manager"]) and not re.search(r"\d USD", seen["trainer"])
    assert "Estimated waste" in seen["trainer"]


def test_every_field_has_its_words() -> None:
    assert set(missing_parts.FIELDS) == set(CASES)


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
def test_page_opens_the_visits_and_narrows_with_the_filters(served_home: Path) -> None:
    test = opened("missing")
    assert_drawn(test)
    assert test.markdown[0].value.startswith("Ask first for the ")
    text = said(test)
    assert "Never bypass, adjust or substitute a safety switch" in text and "Ask:" in text
    assert missing_parts.SHRINKS in text
    n_whole = figures_access.missing(Scope()).fields.set_index("field").loc["reading", "n_missing"]
    assert re.search(rf"Missing on {n_whole:,} of [\d,]+ swaps", text)
    test.button(key="behind_lacks_reading").click().run()
    assert_drawn(test)
    assert len(test.dataframe[0].value) == n_whole
    branch = test.selectbox(key="branch").options[1]
    narrowed = opened("missing", branch=branch)
    assert_drawn(narrowed)
    n_branch = figures_access.missing(Scope(branch=branch)).fields.set_index("field").loc["reading", "n_missing"]
    assert 0 < n_branch < n_whole and f"Missing on {n_branch:,} of" in said(narrowed)


@pytest.mark.parametrize("served_home", ["fleet_home", "one_visit_home"], indirect=True)
def test_checklist_is_one_page_of_either_paper(served_home: Path) -> None:
    document = packs.document("closeout", Scope(), code_names.naming(False))
    for size, width in (("a4", 595), ("letter", 612)):
        pdf = typeset.pdf(document, size)
        pages = PdfReader(io.BytesIO(pdf)).pages
        assert len(pages) == 1 and round(pages[0].mediabox.width) == width
        text = " ".join(pages[0].extract_text().replace("\u200b", "").split())
        for point in notices.SAFETY_POINTS:
            assert point in text
        assert "teed into the hose" in text and "Where the water came from" in text and "local code decide" in text
    page = web_page.web_page(document).decode()
    assert all(field.title in page.replace("<wbr>", "") for field in missing_parts.FIELDS.values())
    assert document.at_most == 1


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
def test_checklist_asks_in_the_order_of_the_page(served_home: Path) -> None:
    document = packs.document("closeout", Scope(), code_names.naming(False))
    asked = [one.title for one in document.blocks if isinstance(one, paper.Bullets)][:-1]
    order = [missing_parts.FIELDS[name].title for name in figures_access.missing(Scope()).fields["field"]]
    assert [re.sub(r"^\d\. | \(missing.*", "", title) for title in asked] == order
