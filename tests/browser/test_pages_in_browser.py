"""Every page in a real browser, light and dark: no error, no outside request, figures open their visits."""

from __future__ import annotations

import csv
import io
import re
from pathlib import Path

import pytest
import served_pages
from looking import assert_sound, opened

pytestmark = pytest.mark.browser


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("name", served_pages.PAGES)
def test_page_over_a_fleet(browser, fleet_address: str, name: str, theme: str) -> None:
    with opened(browser, served_pages.address_of(fleet_address, name), theme) as (tab, seen):
        assert_sound(tab, seen)
        ground = tab.evaluate("getComputedStyle(document.querySelector('[data-testid=stApp]')).backgroundColor")
        assert ground == {"light": "rgb(250, 249, 246)", "dark": "rgb(22, 27, 30)"}[theme]
        # No page scrolls sideways.
        assert tab.evaluate("document.querySelector('[data-testid=stMain]').scrollWidth <= window.innerWidth")


@pytest.mark.parametrize("home", ["empty_address", "one_visit_address"])
def test_pages_over_an_empty_home_and_over_one_visit(browser, home: str, request: pytest.FixtureRequest) -> None:
    address = request.getfixturevalue(home)
    for name in served_pages.PAGES:
        with opened(browser, served_pages.address_of(address, name)) as (tab, seen):
            assert_sound(tab, seen)
            assert tab.locator("h1").count() == 1


# What a page says where a single swap is on record: what is known of it, and that no more can be said.
ONE_VISIT = {
    "this_week": "With so few, a week says nothing about the habit",
    "coaching": "Nobody can be named yet",
    "parts_waste": "not known",
    "seasons": "no appliance on record to count them against|No whole week is on record yet|No fault of this family",
    "sites": "none stands out beyond chance",
}


@pytest.mark.parametrize("name", ONE_VISIT)
def test_one_visit_is_told_in_plain_words_whatever_is_opened(browser, one_visit_address: str, name: str) -> None:
    size = {"width": 390, "height": 900}
    with opened(browser, served_pages.address_of(one_visit_address, name), "dark", size) as (tab, seen):
        assert re.search(ONE_VISIT[name], tab.locator('[data-testid="stMain"]').inner_text())
        closed = tab.locator('[data-testid="stExpander"] details:not([open]) > summary')
        for _ in range(closed.count()):
            closed.first.click()
            tab.wait_for_timeout(300)
            served_pages.settled(tab)
        assert closed.count() == 0
        assert_sound(tab, seen)
        assert tab.evaluate("document.querySelector('[data-testid=stMain]').scrollWidth <= window.innerWidth")


def test_an_empty_page_leads_to_where_records_are_loaded(browser, empty_address: str) -> None:
    with opened(browser, empty_address) as (tab, seen):
        tab.get_by_role("button", name="Go to Records").click()
        tab.get_by_role("heading", name="Load files").wait_for()
        assert_sound(tab, seen)


@pytest.mark.parametrize("name", ["this_week", "coaching", "seasons"])
def test_page_on_a_narrow_screen_does_not_scroll_sideways(browser, fleet_address: str, name: str) -> None:
    size = {"width": 420, "height": 800}
    with opened(browser, served_pages.address_of(fleet_address, name), size=size) as (tab, seen):
        assert_sound(tab, seen)
        assert tab.evaluate("document.querySelector('[data-testid=stMain]').scrollWidth <= window.innerWidth")


def test_charts_are_drawn_and_named(browser, fleet_address: str) -> None:
    with opened(browser, served_pages.address_of(fleet_address, "seasons")) as (tab, seen):
        charts = tab.locator('[data-testid="stVegaLiteChart"]')
        assert charts.count() >= 2
        for place in range(charts.count()):
            assert charts.nth(place).locator("svg, canvas").count() > 0
        names = tab.evaluate(
            "[...document.querySelectorAll('[aria-label]')].map(one => one.getAttribute('aria-label'))"
        )
        assert any("by month. Highest in" in name for name in names), names
        assert_sound(tab, seen)


def test_a_figure_opens_its_visits_and_exports_them(browser, fleet_address: str) -> None:
    with opened(browser, fleet_address) as (tab, seen):
        tab.get_by_role("button", name="Show the visits behind it").first.click()
        window = tab.get_by_role("dialog")
        window.locator("canvas").first.wait_for()
        assert "Pick a row to see the visit in full" in window.inner_text()
        with tab.expect_download() as started:
            window.get_by_role("button", name="Export as CSV").click()
        rows = list(csv.DictReader(io.StringIO(Path(started.value.path()).read_text("utf-8-sig"))))
        assert rows and {"Visit", "Date", "Site", "Notes"} <= set(rows[0])
        assert not any(cell[:1] in ("=", "@") for row in rows for cell in row.values())
        # The first row opens the visit in full.
        box = window.locator("canvas").first.bounding_box()
        tab.mouse.click(box["x"] + 15, box["y"] + 50)
        window.get_by_text("Notes as written").wait_for()
        assert rows[0]["Visit"] in window.inner_text()
        assert_sound(tab, seen)


def test_a_filter_stands_in_the_address_and_is_kept(browser, fleet_address: str) -> None:
    with opened(browser, fleet_address) as (tab, seen):
        tab.get_by_role("combobox", name="Period").click()
        tab.get_by_role("option", name="Last 12 months").click()
        tab.wait_for_url("**period=Last*")
        served_pages.settled(tab)
        tab.get_by_role("link", name="Seasons").first.click()
        tab.wait_for_url("**/seasons**")
        served_pages.settled(tab)
        assert "period=Last" in tab.url
        assert_sound(tab, seen)
