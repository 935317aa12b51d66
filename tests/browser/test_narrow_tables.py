"""On a phone no table scrolls sideways inside itself: its rows stand one under the other, and a visit is still opened."""

from __future__ import annotations

import csv
from pathlib import Path

import mapping_steps
import pytest
import served_pages
from looking import assert_sound, is_scrolling_sideways, opened, show_whole, tables_that_scroll, violations
from test_mapping_in_browser import HEADER, ROWS

pytestmark = pytest.mark.browser
PHONE = {"width": 390, "height": 844}
# Pages with a table, and what is opened on them first.
PAGES = {
    "this_week": "Callbacks, newest first",
    "coaching?technician=T001": "All their swaps",
    "parts_waste": "Swaps of switches the bench found good",
    "sites": "How this was computed",
    "missing": "What each prediction takes for granted",
    "records": "The rows, with the cells that were refused",
}


@pytest.mark.parametrize("name", PAGES)
def test_no_table_scrolls_sideways_inside_itself(browser, fleet_address: str, name: str) -> None:
    with opened(browser, served_pages.address_of(fleet_address, name), size=PHONE) as (tab, seen):
        section = tab.get_by_text(PAGES[name], exact=True).first
        section.scroll_into_view_if_needed()
        section.click()
        tab.wait_for_timeout(500)
        served_pages.settled(tab)
        assert tab.locator("table.gp-list:visible").count() > 0
        assert tables_that_scroll(tab) == []
        for place in range(tab.get_by_role("tab").count()):
            tab.get_by_role("tab").nth(place).click()
            tab.wait_for_timeout(300)
            assert tables_that_scroll(tab) == []
        assert not is_scrolling_sideways(tab)
        assert_sound(tab, seen)


def test_a_window_of_visits_is_read_and_one_is_opened_on_a_phone(browser, fleet_address: str) -> None:
    with opened(browser, fleet_address, size=PHONE) as (tab, seen):
        tab.get_by_role("button", name="Show the visits behind it").first.click()
        window = tab.get_by_role("dialog")
        box = window.get_by_role("combobox", name="Visit to read in full")
        box.wait_for()
        served_pages.settled(tab)
        assert window.locator(".dvn-scroller:visible").count() == 0
        assert tables_that_scroll(tab) == []
        assert violations(tab) == []
        box.click()
        tab.get_by_role("option").first.click()
        window.get_by_text("Notes as written").wait_for()
        served_pages.settled(tab)
        assert tables_that_scroll(tab) == []
        assert "visit=" in tab.url
        # Turned on its side, or on a larger screen, the table is back, and the list has gone.
        tab.set_viewport_size({"width": 1280, "height": 800})
        window.locator(".dvn-scroller:visible").first.wait_for()
        assert window.get_by_role("combobox", name="Visit to read in full").count() == 0
        assert_sound(tab, seen)


def test_tables_of_two_columns_stay_side_by_side_and_links_are_whole(browser, fleet_address: str) -> None:
    with opened(browser, served_pages.address_of(fleet_address, "method"), size=PHONE) as (tab, _):
        row = tab.locator("table.gp-list:visible tbody tr").first
        term, meaning = (row.locator("td").nth(place).bounding_box() for place in (0, 1))
        assert meaning["x"] > term["x"] + 80 and abs(meaning["y"] - term["y"]) < 2
        tab.goto(served_pages.address_of(fleet_address, "records"))
        served_pages.settled(tab)
        links = tab.locator('[data-testid="stPageLink"] a:visible')
        assert links.count() > 0
        assert not links.evaluate_all("found => found.filter(one => one.scrollWidth > one.clientWidth + 1).length")
        assert links.evaluate_all(
            "found => found.every(one => [...one.querySelectorAll('*')].every(part => part.scrollWidth <= part.clientWidth + 1"
            " || getComputedStyle(part).overflow === 'visible'))"
        )


def test_a_mapping_is_tried_on_a_phone(browser, tmp_path: Path) -> None:
    sheet = tmp_path / "jobs.csv"
    with sheet.open("w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows([HEADER, *ROWS])
    home = tmp_path / "home"
    home.mkdir()
    with (
        served_pages.served(home) as address,
        opened(browser, served_pages.address_of(address, "records"), "dark", PHONE) as (tab, seen),
    ):
        mapping_steps.upload(tab, [sheet])
        mapping_steps.read_columns(tab)
        mapping_steps.preview(tab)
        rows = tab.locator('[class*="st-key-on_narrow_map_rows_in_"]').first.locator("table.gp-list:visible tbody tr")
        assert rows.count() == 2
        first = rows.first.locator("td").first
        assert (first.get_attribute("data-title"), first.inner_text()) == ("WO #", "W1")
        assert tab.locator(".dvn-scroller:visible").count() == 0
        assert tables_that_scroll(tab) == [] and not is_scrolling_sideways(tab)
        show_whole(tab, PHONE["width"])
        assert violations(tab) == []
        assert_sound(tab, seen)


def test_the_check_finds_what_it_looks_for(browser, empty_address: str) -> None:
    with opened(browser, empty_address, size=PHONE) as (tab, _):
        tab.evaluate(
            "document.querySelector('[data-testid=stMain]').insertAdjacentHTML('beforeend', "
            '\'<div class="dvn-scroller" style="width:300px;overflow:auto"><p style="width:900px">wide</p></div>'
            '<div style="width:300px"><table class="gp-list" style="width:700px"><tr><td>wide</td></tr></table></div>'
            '<div style="display:none"><div class="dvn-scroller" style="width:9px"><p style="width:99px">x</p></div></div>\')'
        )
        assert len(tables_that_scroll(tab)) == 2
