"""A reader who writes 1.234,5 finds no 1,234.5 on any page or printed pack; what only looks like a number stays as it is."""

from __future__ import annotations

import base64
import html
import json
import re
import shutil
from pathlib import Path

import pandas as pd
import pytest
from page_texts import assert_drawn, opened
from shown_texts import everything, tables
from streamlit.testing.v1 import AppTest

from dashboard import code_names, exports, number_cells, outside_list, page, reader_choice, store_access, theme, words
from dashboard.charts.draft_history import draft_history
from dashboard.charts.margin import draft_margin
from dashboard.printed import packs, web_page
from models.figures.published import as_json
from models.figures.scope import Scope
from models.figures.sidecar import figures_for
from models.methods.numeral import BEGIN, END, canonical, marked, numeral

PAGES = (
    "this_week", "coaching", "parts_waste", "seasons", "sites", "bench", "records", "missing", "corrections", "method",
)  # fmt: skip
# In one of them a point stands between thousands, in the other nowhere: together they leave no English number unseen.
COMMA, SPACE = "1.234,5", "1 234,5"
ENGLISH = {COMMA: r"(?<![\d.,])[1-9]\d{0,2},\d{3}(?!\d)|(?<![\d.])0\.\d", SPACE: r"\d\.\d"}
# A line of the settings file is shown as it stands there.
IN_FILE = "such as labour_cost_per_hour = 95.0"
SETTINGS = "labour_cost_per_hour = 95.5\ntrip_cost = 1250.0\nbench_test_minutes = 12\n"


@pytest.fixture(scope="module")
def priced_home(fleet_home: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The fleet with rates of its own, so that every amount and assumption is told."""
    home = tmp_path_factory.mktemp("priced") / "home"
    shutil.copytree(fleet_home, home, ignore=shutil.ignore_patterns("*.figures"))
    (home / "settings.toml").write_text(SETTINGS, "utf-8")
    return home


def without_records(text: str) -> str:
    """The text without what technicians wrote, which is shown as they wrote it."""
    notes = store_access.frame("SELECT DISTINCT notes FROM delivered.visits WHERE notes IS NOT NULL")["notes"]
    for note in sorted(notes, key=len, reverse=True):
        for line in str(note).split("\n"):
            text = text.replace(line, "") if re.search(r"\d", line) else text
    return text


def assert_none_english(text: str, style: str, where: str) -> None:
    found = [match[0] for match in re.finditer(f".{{0,60}}(?:{ENGLISH[style]}).{{0,30}}", text)]
    assert not found, (where, style, found[:5])
    assert BEGIN not in text and END not in text, where


@pytest.mark.parametrize("served_home", ["priced_home"], indirect=True)
@pytest.mark.parametrize("name", PAGES)
def test_no_english_number_on_a_page(name: str, served_home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # Sections that are opened by a click are read as well.
    monkeypatch.setattr(page, "lazily", lambda title, key, content: content())
    people = store_access.frame("SELECT technician_id FROM draft_fault GROUP BY 1 ORDER BY count(*) DESC LIMIT 1")
    # Published checks are cited as they were published.
    monkeypatch.setattr(outside_list, "show", lambda: None)
    # Three digits behind a comma are decimals on the Method page, so only the other style can tell them there.
    for style in (SPACE,) if name == "method" else (COMMA, SPACE):
        test = opened(name, numbers=style, technician=str(people["technician_id"].iloc[0]))
        assert_drawn(test)
        assert_none_english(without_records(everything(test)).replace(IN_FILE, ""), style, name)


@pytest.mark.parametrize("served_home", ["priced_home"], indirect=True)
def test_sentences_of_the_models_follow_the_reader(served_home: Path) -> None:
    def told(style: str) -> str:
        return everything(opened("parts_waste", numbers=style))

    english, comma = told("1,234.5"), told(COMMA)
    for form in (
        r"labour at 95{0}50 \w+ an hour",
        r"a trip costs 1{1}250{0}00",
    ):
        assert re.search(form.format(r"\.", ","), english), form
        assert re.search(form.format(",", r"\."), comma), form


@pytest.mark.parametrize("served_home", ["priced_home"], indirect=True)
@pytest.mark.parametrize("style", [COMMA, SPACE])
def test_no_english_number_in_a_printed_pack(style: str, served_home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reader_choice, "_chosen", lambda key: style if key == reader_choice.NUMBERS_KEY else "")
    one = store_access.row("SELECT technician_id AS one FROM draft_fault GROUP BY 1 ORDER BY count(*) DESC, 1")["one"]
    claim = store_access.row("SELECT claim_id AS one FROM warranty_claim ORDER BY 1")["one"]
    for kind in packs.KINDS:
        document = packs.document(kind, Scope(), code_names.naming(False), technician_id=one, claim_id=claim, font=None)
        printed = web_page.web_page(document).decode()
        drawn = [base64.b64decode(one).decode() for one in re.findall(r"svg\+xml;base64,([^\"]+)", printed)]
        inside = [text for svg in drawn for text in re.findall(r">([^<]+)</text>", svg)]
        alts = re.findall(r'alt="([^"]*)"', printed)
        body = re.sub(r"<[^>]+>", " ", re.sub(r"<style>.*?</style>", "", printed.replace("<wbr>", ""), flags=re.DOTALL))
        text = without_records(html.unescape("\n".join([body, *alts, *inside])))
        assert_none_english(text, style, kind)


@pytest.mark.parametrize("served_home", ["priced_home"], indirect=True)
def test_tables_show_the_readers_numbers_and_sort_by_number(served_home: Path) -> None:
    test = opened("parts_waste", numbers=COMMA)
    shown, sent = next(
        (shown, one.value) for shown, one in zip(tables(test), test.dataframe, strict=True) if "Known" in one.value
    )
    assert pd.api.types.is_float_dtype(sent["Estimated"])
    for text, value in zip(shown["Estimated"], sent["Estimated"], strict=True):
        assert text == f"{value:,.0f}".replace(",", ".")
    assert any("." in text for text in shown["Estimated"])


def test_a_table_cell_keeps_its_number_and_gets_its_text(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reader_choice, "_chosen", lambda key: COMMA)
    frame = pd.DataFrame(
        {"amount": [1234.0, None], "share": [12.5, 3.0], "n": [5224, 1], "part": ["DS-1.5", None]}, index=[3, 3]
    )
    styled = number_cells.shown(frame, {"amount": words.count})
    cells = [
        [cell["display_value"] for cell in line if cell["type"] == "td"]
        for line in styled._translate(False, False)["body"]
    ]
    assert cells == [["1.234", "12,5", "5224", "DS-1.5"], ["", "3", "1", ""]]
    assert styled.data["amount"].tolist()[0] == 1234.0
    assert isinstance(number_cells.shown(frame[["n", "part"]]), pd.DataFrame)


def test_only_what_was_marked_is_rewritten(monkeypatch: pytest.MonkeyPatch) -> None:
    sentence = f"Part 1.5-X of 2026-05-02, {numeral(1234.5, ',.1f')} times {numeral(7)} ({numeral(0.0425, '.1%')})"
    assert canonical(sentence) == "Part 1.5-X of 2026-05-02, 1,234.5 times 7 (4.2%)"
    assert words.told(sentence) == canonical(sentence)
    monkeypatch.setattr(reader_choice, "_chosen", lambda key: COMMA)
    assert words.told(sentence) == "Part 1.5-X of 2026-05-02, 1.234,5 times 7 (4,2%)"
    # Marks that came with somebody's text stay where they are.
    assert words.told(f"{BEGIN}V1.5{END}") == f"{BEGIN}V1.5{END}"
    assert words.told(marked("93.5 to 96.5% of 12,345")) == "93,5 to 96,5% of 12.345"


def test_files_stay_canonical(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reader_choice, "_chosen", lambda key: COMMA)
    frame = pd.DataFrame({"why": [f"{numeral(1234)} of 2", None], "value": [1234.5, 2.0]})
    made = exports.csv_bytes(exports.canonical_frame(frame)).decode("utf-8-sig")
    assert made == 'why,value\r\n"1,234 of 2",1234.5\r\n,2.0\r\n'


@pytest.mark.parametrize("served_home", ["priced_home"], indirect=True)
def test_the_published_figures_hold_no_mark(served_home: Path) -> None:
    figures = figures_for(store_access.store(), store_access.settings())
    assert any(BEGIN in said for said in figures.waste.assumptions)
    published = json.dumps(as_json(figures, "x"), ensure_ascii=False)
    assert BEGIN not in published and END not in published and "a trip costs 1,250.00 USD" in published


def test_charts_of_drafts_write_the_readers_numbers(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reader_choice, "_chosen", lambda key: COMMA if key == reader_choice.NUMBERS_KEY else "")
    readings = pd.DataFrame(
        {
            "arrived_on": pd.to_datetime(["2025-01-05", "2026-01-05"]), "visit_id": ["V1", "V2"], "appliance": ["A1"] * 2,
            "draft_pa": [300.0, 250.0], "make_pa": [236.6] * 2, "margin_pa": [63.4, 13.4], "taken": ["before_repair"] * 2,
            "contacts": ["open"] * 2,
        }
    )  # fmt: skip
    told = draft_history(readings, [236.6], theme.LIGHT)
    assert "between 1,00 and 1,20 in. w.c.; rated make point 0,95 in. w.c." in told.text
    assert "rated make point 0,95 in. w.c." in told.chart.to_json()
    assert "from 0,25 in. w.c. on 5 Jan 2025 to 0,05 in. w.c." in draft_margin(readings, theme.LIGHT).text


def test_the_margin_of_a_site_is_told_in_the_readers_unit() -> None:
    def script() -> None:
        import datetime as dt

        import pandas as pd

        from dashboard.views import sites

        margin = "Draft margin shrinks by 0.15 in. w.c. a year over 6 readings (between 0.10 and 0.20)."
        listed = {
            "site_id": "S1", "region": "N", "n_draft_faults": 6, "n_unexplained": 2, "expected_unexplained": 0.5,
            "n_repeats": 0, "last_visit_on": dt.date(2026, 1, 5), "n_safety_open": 0, "is_margin_flagged": True,
            "n_margins": 6, "margin_slope_pa_per_year": -37.4, "margin_slope_low": -49.8, "margin_slope_high": -24.9,
            "reasons": ["Safety: something, last on 2026-05-02.", margin],
        }  # fmt: skip
        sites._list(pd.DataFrame([listed]), "", "flagged_sites")

    def told(**address: str) -> str:
        test = AppTest.from_function(script, default_timeout=60)
        for key, value in address.items():
            test.query_params[key] = value
        return re.sub(r"<[^>]+>", "", test.run().get("html")[0].proto.body)

    assert "shrinks by 0.15 in. w.c. a year over 6 readings (between 0.10 and 0.20)" in told(draft_in="in. w.c.")
    assert "last on 2 May 2026. Draft margin shrinks by 37 Pa a year over 6 readings (between 25 and 50)" in told(
        draft_in="Pa"
    )
    assert "shrinks by 0,15 in. w.c. a year" in told(draft_in="in. w.c.", numbers=COMMA)
