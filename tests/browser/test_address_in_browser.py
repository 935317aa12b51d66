"""The address keeps the filters on every page, and a visit opened from a table can be sent."""

from __future__ import annotations

import re
from urllib.parse import parse_qs, urlparse

import pytest
import served_pages
from looking import assert_sound, opened

pytestmark = pytest.mark.browser


def asked(tab) -> dict[str, str]:
    return {name: values[-1] for name, values in parse_qs(urlparse(tab.url).query).items()}


def go_to(tab, title: str, path: str) -> None:
    tab.get_by_role("link", name=title, exact=True).first.click()
    tab.wait_for_url(f"**/{path}**")
    served_pages.settled(tab)


def test_filters_stay_in_the_address_on_pages_that_are_not_narrowed(browser, fleet_address: str) -> None:
    with opened(browser, f"{fleet_address}/?period=Last+12+months") as (tab, seen):
        for title, path in (
            ("Records", "records"),
            ("Bench", "bench"),
            ("Corrections", "corrections"),
            ("Method", "method"),
        ):
            go_to(tab, title, path)
            assert asked(tab).get("period") == "Last 12 months", path
            assert tab.get_by_role("combobox", name="Period").count() == 0, (
                "out of sight, and not to be reached by keyboard"
            )
        tab.reload()
        served_pages.settled(tab)
        assert asked(tab).get("period") == "Last 12 months"
        go_to(tab, "Seasons", "seasons")
        assert asked(tab).get("period") == "Last 12 months"
        assert tab.get_by_role("combobox", name="Period").input_value() == "Last 12 months"
        assert_sound(tab, seen)


def test_a_visit_opened_in_a_window_can_be_sent(browser, fleet_address: str) -> None:
    with opened(browser, fleet_address) as (tab, seen):
        tab.get_by_role("button", name="Show the visits behind it").first.click()
        window = tab.get_by_role("dialog")
        canvas = window.locator("canvas").first
        canvas.wait_for()
        tab.wait_for_timeout(700)
        box = canvas.bounding_box()
        tab.mouse.click(box["x"] + 15, box["y"] + 50)
        window.get_by_text("Notes as written").wait_for()
        tab.wait_for_url("**visit=*")
        visit = asked(tab)["visit"]
        assert re.search(rf"Visit {visit},", window.inner_text())
        address = tab.url
        assert_sound(tab, seen)
    with opened(browser, address) as (tab, seen):
        shown = tab.locator(".st-key-visit_from_address")
        shown.get_by_text("Notes as written").wait_for()
        assert f"Visit {visit}," in shown.inner_text()
        shown.get_by_role("button", name="Close this visit").click()
        shown.wait_for(state="detached")
        tab.wait_for_timeout(500)
        assert "visit" not in asked(tab)
        assert_sound(tab, seen)


def test_filters_that_leave_nothing_are_cleared_in_the_address_too(browser, fleet_address: str) -> None:
    narrow = "parts_waste?period=Chosen+dates&dates=2026-06-29&dates=2026-06-30"
    with opened(browser, f"{fleet_address}/{narrow}") as (tab, seen):
        tab.get_by_text("Choose a longer period.").wait_for()
        assert asked(tab)["period"] == "Chosen dates"
        tab.get_by_role("button", name="Clear the filters").click()
        tab.get_by_text("Choose a longer period.").wait_for(state="detached")
        served_pages.settled(tab)
        assert asked(tab) == {}
        tab.reload()
        served_pages.settled(tab)
        assert tab.get_by_role("combobox", name="Period").input_value() == "All records"
        assert tab.get_by_text("Where it arises").count() == 1


def test_code_names_stay_in_the_address_across_pages_and_a_reload(browser, fleet_address: str) -> None:
    with opened(browser, f"{fleet_address}/?period=Chosen+dates") as (tab, seen):
        tab.get_by_text("Show code names").click()
        tab.wait_for_url("**code_names=true*")
        served_pages.settled(tab)
        for title, path in (("Parts waste", "parts_waste"), ("Records", "records"), ("Coaching", "coaching")):
            go_to(tab, title, path)
            assert asked(tab).get("code_names") == "true", path
        tab.reload()
        served_pages.settled(tab)
        assert asked(tab).get("code_names") == "true"
        assert tab.get_by_role("switch", name="Show code names").is_checked()
        assert_sound(tab, seen)
