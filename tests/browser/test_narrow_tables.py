"""On a phone no table scrolls sideways inside itself: its rows stand one under the other, and a visit is still opened."""

from __future__ import annotations

import pytest
import served_pages
from looking import assert_sound, is_scrolling_sideways, opened, tables_that_scroll, violations

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


def test_the_check_finds_what_it_looks_for(browser, empty_address: str) -> None:
    with opened(browser, empty_address, size=PHONE) as (tab, _):
        tab.evaluate(
            "document.querySelector('[data-testid=stMain]').insertAdjacentHTML('beforeend', "
            '\'<div class="dvn-scroller" style="width:300px;overflow:auto"><p style="width:900px">wide</p></div>'
            '<div style="width:300px"><table class="gp-list" style="width:700px"><tr><td>wide</td></tr></table></div>'
            '<div style="display:none"><div class="dvn-scroller" style="width:9px"><p style="width:99px">x</p></div></div>\')'
        )
        assert len(tables_that_scroll(tab)) == 2
