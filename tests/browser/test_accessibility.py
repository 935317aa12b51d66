"""axe-core on every page, light and dark, at a phone's width, a laptop's and a large screen's; nothing scrolls sideways.

Thin records are looked at in test_everything_opens.py, one's own sheet in test_sign_in_in_browser.py.
"""

from __future__ import annotations

import pytest
import served_pages
from looking import charts_out_of_view, is_scrolling_sideways, opened, show_whole, violations

pytestmark = pytest.mark.browser
WIDTHS = (390, 1280, 1920)


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("name", served_pages.PAGES)
def test_no_serious_violation_at_any_width(browser, fleet_address: str, name: str, theme: str) -> None:
    with opened(browser, served_pages.address_of(fleet_address, name), theme) as (tab, _):
        for width in WIDTHS:
            show_whole(tab, width)
            assert violations(tab) == [], width
            assert not is_scrolling_sideways(tab), width
            assert charts_out_of_view(tab) == [], width


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_what_opens_over_and_in_a_page_has_none_either(browser, fleet_address: str, theme: str) -> None:
    with opened(browser, f"{fleet_address}/coaching?technician=T001", theme) as (tab, _):
        tab.get_by_text("what did the gauge say?").wait_for()
        tab.get_by_text("How this was computed").click()
        tab.get_by_role("button", name="Units").click()
        tab.get_by_text("is not converted").wait_for()
        show_whole(tab, 1280)
        assert violations(tab) == []
        tab.keyboard.press("Escape")
        tab.get_by_role("button", name="Show the visits behind it").first.click()
        tab.get_by_role("dialog").locator("canvas").first.wait_for()
        served_pages.settled(tab)
        assert violations(tab) == []


def test_the_check_finds_what_it_looks_for(browser, empty_address: str) -> None:
    with opened(browser, empty_address) as (tab, _):
        tab.evaluate(
            "document.querySelector('[data-testid=stMain]').insertAdjacentHTML('beforeend', "
            '\'<p style="color:#999;background:#fff">pale</p><img src="data:,"><div style="width:3000px">wide</div>'
            '<div data-testid="stVegaLiteChart"><canvas style="width:3000px"></canvas></div>\')'
        )
        found = " ".join(violations(tab))
        assert "color-contrast" in found and "image-alt" in found
        assert is_scrolling_sideways(tab)
        assert len(charts_out_of_view(tab)) == 1


def test_a_term_explains_itself_by_keyboard_and_by_pointer(browser, fleet_address: str) -> None:
    shown = "getComputedStyle(document.querySelector('.gp-card .gp-term'), '::after').display"
    with opened(browser, fleet_address) as (tab, _):
        term = tab.locator(".gp-card .gp-term").first
        assert tab.evaluate(shown) == "none"
        term.hover()
        assert tab.evaluate(shown) == "block"
        tab.mouse.move(0, 0)
        assert tab.evaluate(shown) == "none"
        tab.get_by_role("heading", name="This week").click()
        for _ in range(20):
            tab.keyboard.press("Tab")
            if tab.evaluate(shown) == "block":
                break
        assert tab.evaluate(shown) == "block"
        assert "switch taken out was in fact good" in (term.get_attribute("aria-description") or "")
