"""What is not known is said, never drawn as zero; sentences hold only where what they speak of is there."""

from __future__ import annotations

import datetime as dt
import re
from pathlib import Path

import pandas as pd
import pytest
from page_texts import assert_drawn, opened, said
from streamlit.testing.v1 import AppTest

from dashboard import words
from dashboard.lookups import safety_items
from dashboard.notices import why_no_swap
from dashboard.scope_bar import freshness
from dashboard.views import sites
from dashboard.week_parts import at_most
from models.figures.scope import Scope
from models.methods.estimate import Estimate
from pipelines.loading import load


@pytest.mark.parametrize("served_home", ["unproven_home"], indirect=True)
def test_callbacks_without_appliances_are_not_known_and_not_zero(served_home: Path) -> None:
    text = said(opened("this_week"))
    card = re.search(r"Back within 30 days, no root cause recorded.*", text)[0]
    assert "Not known" in card and "12 of 12 swaps do not say on which appliance" in card
    assert "Up to 100% if the unproven ones are the same appliance" in card
    weekly = opened("this_week")
    weekly.session_state["weekly"] = "callback_30"
    weekly.run()
    assert_drawn(weekly)
    assert "No picture: 12 of 12 swaps do not say" in said(weekly)


def test_the_upper_bound_is_said_only_where_it_differs() -> None:
    certain, possible = (Estimate(value, None, None, 90, 1.0, "m") for value in (0.1, 0.3))
    assert at_most(certain, possible) == "Up to 30% if the unproven ones are the same appliance."
    assert at_most(certain, certain) == at_most(certain, None) == ""


@pytest.mark.parametrize("served_home", ["unproven_home"], indirect=True)
def test_without_bench_tests_nobody_is_as_expected(served_home: Path) -> None:
    test = opened("coaching")
    assert_drawn(test)
    text = said(test)
    assert "Outcomes are not compared" in test.markdown[0].value.replace("\\", "")
    for untrue in ("Nobody stands out", "Sit with the people above", "as expected", "New starters, apart"):
        assert untrue not in text.replace("New starters stand apart", ""), untrue
    assert "Start not known" in text and "Established" not in text
    # No reading and no check was ever loaded: that is not a habit of leaving them out.
    assert re.search(r"Gauge reading of the draft\s+Not known\s+The table readings has no row", text)
    assert "most often missing is: gauge" not in text
    # No mark is drawn: a rate nobody knows is not a rate of nothing.
    assert not test.get(CHART)
    assert opened("this_week").get(CHART)


@pytest.mark.parametrize("served_home", ["unproven_home"], indirect=True)
def test_known_waste_without_a_test_is_not_known(served_home: Path) -> None:
    text = said(opened("parts_waste"))
    card = re.search(r"Known: the bench found the switch good.*", text)[0]
    assert "Not known" in card and "0 USD" not in card


@pytest.mark.parametrize("served_home", ["unproven_home"], indirect=True)
def test_faults_without_an_appliance_are_counted_by_month(served_home: Path) -> None:
    text = said(opened("seasons"))
    assert "No faults and no appliances" not in text
    assert "Not known" in text


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
def test_the_card_of_known_waste_counts_the_good_ones(served_home: Path) -> None:
    from dashboard import store_access

    n_good = store_access.row("SELECT count(*) AS n FROM swap_case WHERE verdict = 'good'")["n"]
    card = re.search(r"Known: the bench found the switch good.*", said(opened("parts_waste")))[0]
    assert words.plural(n_good, "swap of a good switch", "swaps of good switches") in card


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
def test_tested_and_clear_are_told_apart(served_home: Path) -> None:
    from dashboard import store_access

    n, tested, clear = store_access.row(
        "SELECT count(*) AS n, count(verdict) AS tested, "
        "count(*) FILTER (verdict IN ('good', 'faulty')) AS clear FROM swap_case"
    ).values()
    assert n > tested > clear
    said_so = words.tested(tested, clear, n)
    assert f"({words.share(tested / n)}); {clear:,} with a clear result ({words.share(clear / n)})" in said_so
    assert said_so in said(opened("this_week"))


@pytest.mark.parametrize("served_home", ["unclassed_home"], indirect=True)
def test_part_lines_without_a_class_are_the_reason_for_no_swap(served_home: Path) -> None:
    why = "None of 2 part lines says which part is a draft switch"
    for name in ("this_week", "parts_waste"):
        text = said(opened(name))
        assert why in text, name
        assert "nothing was wasted" not in text and "no switch was pulled" not in text
    records = said(opened("records"))
    assert re.search(r"part lines whose kind of part is known[\s|]+0 of 2", records)


def test_why_no_swap_follows_from_the_part_lines() -> None:
    assert "load part_lines" in why_no_swap({"n_part_lines": 0, "n_part_lines_classed": 0})
    assert "3 of 5 part lines do not say" in why_no_swap({"n_part_lines": 5, "n_part_lines_classed": 2})
    plain = why_no_swap({"n_part_lines": 5, "n_part_lines_classed": 5})
    assert plain == "No switch was pulled for these filters."


@pytest.mark.parametrize("served_home", ["unproven_home"], indirect=True)
def test_sentences_about_the_week_need_something_to_speak_of(served_home: Path) -> None:
    text = said(opened("this_week"))
    assert "No safety item is open on record" in text
    assert "Call the owner of each open safety item" not in text
    # The newest visits are returns without a swap.
    assert "Every swap of the last 7 days" not in text
    assert "No switch is known to have been pulled in the last 7 days on record" in text


@pytest.mark.parametrize("served_home", ["one_visit_home"], indirect=True)
def test_old_records_say_how_old_they_are(served_home: Path) -> None:
    extent = {"n_visits": 1, "first_on": dt.date(2026, 1, 5), "last_on": dt.date(2026, 1, 5)}
    assert "the newest visit is 40 days old" in freshness(extent, dt.date(2026, 2, 14))
    assert "days old" not in freshness(extent, dt.date(2026, 1, 19))


CHART = "vega_lite_chart"
SAFETY = """visit_id,site_id,appliance_id,technician_id,arrived_at,visit_kind,cause_code
V1,S1,A1,T1,2024-01-05T10:00:00Z,no_heat,exchanger_breached
V2,S1,A1,T1,2024-03-05T10:00:00Z,maintenance,
V3,S2,A2,T1,2024-01-05T10:00:00Z,no_heat,safety_bypassed
V4,S2,A2,T1,2024-01-09T10:00:00Z,other_fault,
V5,S3,A3,T1,2024-01-05T10:00:00Z,no_heat,exchanger_restricted
V6,S3,A3,T1,2024-01-09T10:00:00Z,no_heat,hose_water
V7,S4,A4,T1,2024-01-05T10:00:00Z,no_heat,exchanger_breached
V8,S4,A5,T1,2024-01-09T10:00:00Z,no_heat,hose_water
V9,S5,,T1,2024-01-05T10:00:00Z,no_heat,exchanger_breached
V10,S5,,T1,2024-02-05T10:00:00Z,no_heat,exchanger_breached
V11,S6,A6,T1,2024-01-05T10:00:00Z,no_heat,exchanger_breached
V12,S6,A6,T1,2024-01-09T10:00:00Z,other_fault,
V13,S9,A9,T1,2026-01-05T10:00:00Z,no_heat,not_found
"""
CHECKS = """visit_id,check_code,outcome
V2,combustion,sound
V4,switch_at_rest,sound
V6,combustion,sound
V8,heat_exchanger,sound
V12,heat_exchanger,fault
"""


@pytest.fixture(scope="session")
def safety_home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    home = tmp_path_factory.mktemp("safety")
    (home / "visits.csv").write_text(SAFETY, "utf-8")
    (home / "checks.csv").write_text(CHECKS, "utf-8")
    load(home, [home / "visits.csv", home / "checks.csv"])
    return home


@pytest.mark.parametrize("served_home", ["safety_home"], indirect=True)
def test_a_safety_item_stays_open_until_it_was_looked_into(served_home: Path) -> None:
    """Two years old; since then a test that rules out neither a breach (V2) nor a restriction (V6), another appliance's
    exchanger found sound (V8), the exchanger found at fault (V12)."""
    assert sorted(safety_items(Scope())["visit_id"]) == ["V1", "V10", "V11", "V5", "V7"]
    text = said(opened("this_week"))
    assert "found sound what the item is about" in text
    assert "Call the owner of each open safety item" in text


def test_dates_in_sentences_are_written_as_on_the_pages() -> None:
    assert words.with_dates("the latest, 2026-05-02, above it") == "the latest, 2 May 2026, above it"
    assert words.with_dates("part 2026-99-02") == "part 2026-99-02"


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
def test_nothing_is_loaded_into_the_invented_fleet(served_home: Path, tmp_path: Path) -> None:
    from dashboard import store_access

    file = tmp_path / "visits.csv"
    file.write_text("visit_id,site_id,technician_id,arrived_at,visit_kind\nOWN1,S1,T1,2026-01-05,no_heat\n", "utf-8")
    before = store_access.generation()
    test = opened("records")
    assert "holds the invented demo fleet" in said(test)
    test.text_input(key="load_path").set_value(str(file)).run()
    assert test.button(key="load_button_path").disabled
    assert not test.button(key="check_button_path").disabled
    test.button(key="check_button_path").click().run()
    assert_drawn(test)
    assert store_access.generation() == before


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
def test_a_load_begun_before_the_home_became_a_demo_is_refused(served_home: Path, tmp_path: Path) -> None:
    def late() -> None:
        from pathlib import Path

        from dashboard import record_loading

        record_loading.load_paths([Path("/nowhere/visits.csv")], is_dry_run=False)

    test = AppTest.from_function(late, default_timeout=60).run()
    assert "invented demo fleet" in test.error[0].value.replace("\\", "")


@pytest.mark.parametrize("served_home", ["empty_home"], indirect=True)
def test_a_check_says_why_cells_are_refused_with_one_of_them(
    served_home: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("GOODPULL_HOME", str(tmp_path / "home"))
    file = tmp_path / "visits.csv"
    file.write_text(
        "visit_id,site_id,technician_id,arrived_at,visit_kind\n"
        "V1,S1,T1,2026-01-05,no_heat\nV2,S1,T1,yesterday,no_heat\nV3,S1,T1,sometime,no_heat\n",
        "utf-8",
    )
    test = opened("records")
    test.text_input(key="load_path").set_value(str(file)).run()
    test.button(key="check_button_path").click().run()
    text = said(test)
    assert "2 cells held back, such as line 3: arrived_at is yesterday; must be a date and time such as" in text
    assert "not_a_time" not in text


@pytest.mark.parametrize("served_home", ["empty_home"], indirect=True)
def test_an_empty_page_says_how_the_demo_is_opened_again(served_home: Path) -> None:
    assert re.search(r"goodpull demo.*run again, it opens the same one at once", said(opened("this_week")))


def site(slope: float, low: float, high: float) -> pd.DataFrame:
    names = ("margin_slope_pa_per_year", "margin_slope_low", "margin_slope_high", "n_margins")
    return pd.DataFrame([dict(zip(names, (slope, low, high, 4), strict=True))])


def readings(*days: str) -> pd.DataFrame:
    return pd.DataFrame({"arrived_on": pd.to_datetime(list(days)), "appliance": "A1"})


def test_a_slope_needs_a_year_of_readings_and_a_side() -> None:
    falling = site(-25.0, -50.0, -5.0)
    years = readings("2024-01-01", "2024-06-01", "2025-01-01", "2026-01-01")
    known = sites.slope(falling, years, "Pa")
    assert (known.value, known.low, known.high) == (-25.0, -50.0, -5.0)
    assert sites.slope(falling, years, None).value == pytest.approx(-25.0 / 249.08891)
    weeks = sites.slope(falling, readings("2026-01-01", "2026-01-10", "2026-02-01", "2026-02-05"), "Pa")
    assert weeks.value is None and "within 35 days" in weeks.sentence
    # What a newcomer saw: -0.86 in. w.c. a year, between -35.79 and 0.02.
    scattered = sites.slope(site(-214.0, -8915.0, 5.0), years, None)
    assert scattered.value is None and "scatter too much" in scattered.sentence


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
def test_sites_open_on_the_first_one_listed(served_home: Path) -> None:
    from dashboard import figures_access

    listed = figures_access.whole().sites["site_id"].tolist()
    assert opened("sites").selectbox(key="listed_site_choice").value == listed[0]


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
def test_no_date_in_prose_is_written_in_figures_alone(served_home: Path) -> None:
    for name in ("this_week", "sites", "seasons"):
        found = re.search(r"\b\d{4}-\d{2}-\d{2}\b", said(opened(name)))
        assert not found, (name, found)


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
def test_no_caption_names_a_method_or_ends_with_none(served_home: Path) -> None:
    test = opened("this_week")
    captions = " ".join(caption.value for caption in test.caption)
    assert not re.search(r"none\.|Laney|binomial", captions)
