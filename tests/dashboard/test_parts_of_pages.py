"""Exports, code names, periods, the visits picked to talk about, and hostile text in a visit's sheet."""

from __future__ import annotations

import csv
import datetime as dt
import io
import re
from pathlib import Path

import pandas as pd
import pytest
from streamlit.testing.v1 import AppTest

from dashboard.code_names import TREES, code_names
from dashboard.exports import csv_bytes
from dashboard.glossary import GLOSSARY
from dashboard.talking_cases import chosen_cases
from dashboard.technician_sheet import skipped_checks
from dashboard.visit_table import readable
from models.figures.periods import period_dates

VIEWS = Path(__file__).parents[2] / "dashboard" / "views"


def test_no_cell_of_an_export_is_a_formula() -> None:
    frame = pd.DataFrame({"=Notes": ["=1+1", "+x", "@y", "plain", None], "n": [-1.5, 2, 3, 4, 5]})
    data = csv_bytes(frame)
    assert data.startswith(b"\xef\xbb\xbf")
    rows = list(csv.reader(io.StringIO(data.decode("utf-8-sig"))))
    assert [row[0] for row in rows] == ["'=Notes", "'=1+1", "'+x", "'@y", "plain", ""]
    # A negative number is a number, not a formula.
    assert rows[1][1] == "-1.5"
    assert frame["=Notes"][0] == "=1+1"


def test_code_names_are_distinct_lasting_and_without_order() -> None:
    ids = [f"T{number:03d}" for number in range(120)]
    names = code_names(ids, seed=3)
    assert len(set(names.values())) == 120
    assert names == code_names(ids, seed=3)
    assert names != code_names(ids, seed=4)
    assert [names[one] for one in ids[:10]] != sorted(names[one] for one in ids[:10])
    assert len(set(TREES)) == len(TREES)


def test_periods_are_counted_back_from_the_last_day_on_record() -> None:
    first, last = dt.date(2022, 5, 1), dt.date(2026, 2, 10)
    assert period_dates("All records", first, last, 7) == (None, None)
    assert period_dates("This heating season", first, last, 7) == (dt.date(2025, 7, 1), last)
    assert period_dates("Last heating season", first, last, 7) == (dt.date(2024, 7, 1), dt.date(2025, 6, 30))
    assert period_dates("Last 90 days", first, last, 7)[0] == dt.date(2025, 11, 13)


def swaps(**columns: list) -> pd.DataFrame:
    n = len(columns["visit_id"])
    plain = {"verdict": [None] * n, "evidence": ["unclear"] * n, "tier": ["measured"] * n, "callback_days": [None] * n}
    return pd.DataFrame({**plain, **columns})


def test_three_visits_to_talk_through_are_of_different_kinds() -> None:
    cases = chosen_cases(
        swaps(
            visit_id=["V1", "V2", "V3", "V4", "V5"],
            verdict=[None, "good", "good", None, None],
            evidence=["unclear", "unclear", "unclear", "condemnation_not_supported", "unclear"],
            tier=["measured", "measured", "measured", "measured", "none"],
            callback_days=[None, None, None, None, 12],
        )
    )
    assert cases["visit_id"].tolist() == ["V2", "V4", "V5"]
    assert chosen_cases(swaps(visit_id=["V1"]))["visit_id"].tolist() == ["V1"]
    assert chosen_cases(swaps(visit_id=[])).empty


def test_skipped_checks_name_the_widest_gaps_only() -> None:
    checks = pd.DataFrame(
        {
            "technician_id": ["T1"] * 3 + ["T2"],
            "step": ["hose", "port", "vent_outlet", "hose"],
            "n": 20,
            "rate": [0.1, 0.5, 0.58, 0.9],
            "company_rate": [0.6, 0.7, 0.6, 0.6],
        }
    )
    lines = skipped_checks(checks, "T1")
    assert [line.split(" (")[1] for line in lines] == ["10% against 60%)", "50% against 70%)"]
    assert skipped_checks(checks, "T2") == []


def test_readable_table_puts_codes_into_words() -> None:
    frame = pd.DataFrame(
        {"visit_id": ["V1"], "technician_id": ["T1"], "evidence": ["no_reading"], "cause_code": [None]}
    )
    shown = readable(frame, lambda one: f"code {one}")
    assert shown.iloc[0].to_dict() == {
        "Visit": "V1",
        "Technician": "code T1",
        "Readings say": "no reading",
        "Cause recorded": "",
    }


def test_terms_named_by_the_pages_stand_in_the_glossary() -> None:
    named = [
        term
        for view in VIEWS.glob("*.py")
        for block in re.findall(r"^TERMS = \((.*?)\)$", view.read_text("utf-8"), re.M | re.S)
        for term in re.findall(r'"([^"]+)"', block)
    ]
    assert len(named) > 20
    assert not set(named) - set(GLOSSARY)


@pytest.mark.parametrize("served_home", ["one_visit_home"], indirect=True)
def test_html_in_notes_is_shown_as_text(served_home: Path) -> None:
    def sheet() -> None:
        from dashboard import visit_sheet

        visit_sheet.show("V1")

    test = AppTest.from_function(sheet, default_timeout=60).run()
    assert not test.exception
    assert [element.value for element in test.text] == [
        '<img src=x onerror="alert(1)"> =HYPERLINK("http://example.invalid")'
    ]
    assert not any("<img" in element.proto.body for element in test.get("html"))


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
def test_a_new_generation_is_seen_at_the_next_look(served_home: Path, tmp_path: Path, monkeypatch) -> None:
    from dashboard import store_access
    from pipelines.loading import load

    (tmp_path / "visits.csv").write_text(
        "visit_id,site_id,technician_id,arrived_at,visit_kind\nV1,S1,T1,2026-01-05T10:00:00Z,no_heat\n", "utf-8"
    )
    home = tmp_path / "home"
    monkeypatch.setenv("GOODPULL_HOME", str(home))
    assert store_access.generation() is None
    load(home, [tmp_path / "visits.csv"])
    count = "SELECT count(*) AS n FROM visit"
    assert store_access.row(count)["n"] == 1
    held = store_access.reader()
    (tmp_path / "visits.csv").write_text(
        "visit_id,site_id,technician_id,arrived_at,visit_kind\nV2,S1,T1,2026-01-06T10:00:00Z,no_heat\n", "utf-8"
    )
    load(home, [tmp_path / "visits.csv"])
    assert store_access.row(count)["n"] == 2
    # A page that was being drawn on the old generation still finishes.
    assert held.execute(count).fetchone()[0] == 1
