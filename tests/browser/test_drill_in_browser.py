"""A click on a mark opens its visits, the list beside it does the same by keyboard, and a visit leads to its appliance."""

from __future__ import annotations

from pathlib import Path

import pytest
import served_pages
from looking import assert_sound, is_scrolling_sideways, open_list, opened, violations

pytestmark = pytest.mark.browser

# Where to click, as a share of the picture's width and height; small marks take a click beside them.
CHARTS = {
    "this_week": ("control_no_root_cause", 0.6, 0.5, "Swaps in the week of"),
    "parts_waste": ("branch_rates", 0.5, 0.35, "Swaps, branch"),
    "sites": ("margin", 0.5, 0.5, "Visit "),
}


@pytest.fixture(scope="module")
def read_site(fleet_home: Path) -> str:
    """The site with the most drafts set against a make point."""
    import duckdb

    store = fleet_home / (fleet_home / "current").read_text().strip()
    with duckdb.connect(str(store), read_only=True) as con:
        return con.execute(
            "SELECT site_id FROM field_evidence WHERE margin_pa IS NOT NULL GROUP BY 1 ORDER BY count(*) DESC, 1 LIMIT 1"
        ).fetchone()[0]


def click_in(tab, key: str, across: float, down: float) -> None:
    chart = tab.locator(f'[class*="st-key-{key}_"] [data-testid="stVegaLiteChart"]').first
    chart.scroll_into_view_if_needed()
    chart.locator("canvas, svg").first.wait_for()
    tab.wait_for_timeout(700)
    box = chart.locator("canvas, svg").first.bounding_box()
    tab.mouse.click(box["x"] + box["width"] * across, box["y"] + box["height"] * down)


@pytest.mark.parametrize("name", CHARTS)
def test_a_click_on_a_mark_opens_what_is_behind_it_and_it_closes(
    browser, fleet_address: str, read_site: str, name: str
) -> None:
    key, across, down, told = CHARTS[name]
    address = served_pages.address_of(fleet_address, name)
    if name == "sites":
        address += f"?site={read_site}"
    with opened(browser, address) as (tab, seen):
        click_in(tab, key, across, down)
        behind = tab.locator(f".st-key-behind_mark_{key}")
        behind.wait_for()
        assert told in behind.inner_text()
        served_pages.settled(tab)
        assert not is_scrolling_sideways(tab)
        assert violations(tab) == []
        behind.get_by_role("button", name="Close").click()
        behind.wait_for(state="detached")
        assert_sound(tab, seen)


def test_a_month_of_the_season_opens_below_both_pictures(browser, fleet_address: str) -> None:
    with opened(browser, served_pages.address_of(fleet_address, "seasons")) as (tab, seen):
        # January stands right of the middle of the heating year; its bar reaches up from the axis.
        click_in(tab, "year_condensate", 0.575, 0.8)
        behind = tab.locator(".st-key-behind_mark_year_condensate")
        behind.wait_for()
        assert "Condensate faults in weeks whose middle lies in" in behind.inner_text()
        assert behind.bounding_box()["width"] > 900
        assert_sound(tab, seen)


def test_the_list_opens_a_week_by_keyboard(browser, fleet_address: str) -> None:
    with opened(browser, fleet_address) as (tab, seen):
        open_list(tab, tab.get_by_role("combobox", name="Visits of a week"))
        tab.keyboard.press("Enter")
        behind = tab.locator(".st-key-behind_mark_control_no_root_cause")
        behind.wait_for()
        assert "Swaps in the week of" in behind.inner_text()
        assert_sound(tab, seen)


def test_from_a_visit_to_the_whole_history_of_its_appliance(browser, fleet_address: str) -> None:
    with opened(browser, f"{fleet_address}/coaching?technician=T001") as (tab, seen):
        section = tab.get_by_text("The appliance's whole history").first
        section.scroll_into_view_if_needed()
        section.click()
        tab.get_by_text("a switch pulled on").first.wait_for()
        served_pages.settled(tab)
        assert "(this one)" in tab.locator('[data-testid="stMain"]').inner_text()
        for width in (390, 1280):
            tab.set_viewport_size({"width": width, "height": 900})
            tab.wait_for_timeout(500)
            assert not is_scrolling_sideways(tab), width
        assert violations(tab) == []
        assert_sound(tab, seen)
