"""The week of three people, each from opening the pages to the pack they print; no request leaves this machine."""

from __future__ import annotations

import csv
import io
import re
from pathlib import Path

import pytest
import served_pages
from looking import assert_sound, opened
from printed_packs import Packs, taken, value_on_card

pytestmark = pytest.mark.browser


def taken_along(tab, window) -> list[dict[str, str]]:
    """The rows of the file behind the first export button in the window."""
    with tab.expect_download() as started:
        window.get_by_role("button", name="Export as CSV").first.click()
    text = Path(started.value.path()).read_text("utf-8-sig")
    return list(csv.DictReader(io.StringIO(text)))


def printed(tab, kind: str, figure: str, most_pages: int) -> Packs:
    """The pack of the page in its three forms; the figure on this card stands in all of them as the screen shows it."""
    shown = value_on_card(tab, figure)
    assert any(sign.isdigit() for sign in shown), shown
    found = taken(tab, f"{kind}_")
    assert found.all_say(shown) and found.all_say(figure), (shown, found.texts)
    assert all(1 <= n <= most_pages for n in found.n_pages.values()), found.n_pages
    return found


def go(tab, title: str, place: str) -> None:
    """By the link at the top to another page."""
    tab.get_by_role("link", name=title, exact=True).first.click()
    tab.wait_for_url(f"**/{place}**")
    tab.get_by_role("heading", name=title, exact=True).wait_for()
    served_pages.settled(tab)


def pick(tab, name: str, option: str) -> None:
    tab.get_by_role("combobox", name=name, exact=True).click()
    tab.get_by_role("option", name=option, exact=True).click()
    served_pages.settled(tab)


def first_row(tab, window) -> None:
    """Pick the first row of the table in the window."""
    window.locator("canvas").first.wait_for()
    box = window.locator("canvas").first.bounding_box()
    tab.mouse.click(box["x"] + 15, box["y"] + 50)


def test_the_monday_of_who_runs_the_service(browser, fleet_address: str) -> None:
    with opened(browser, fleet_address) as (tab, seen):
        # The first time: three steps on how to read the pages, then never again in this browser.
        for step in ("1 of 3", "2 of 3"):
            tab.get_by_text(f"How to read these pages, {step}").wait_for()
            tab.get_by_role("button", name="Next").click()
        tab.get_by_text("3 of 3").wait_for()
        tab.get_by_role("button", name="Done").click()
        tab.get_by_text("3 of 3").wait_for(state="detached")
        served_pages.settled(tab)
        tab.goto(fleet_address)
        served_pages.settled(tab)
        assert tab.get_by_text("How to read these pages, ").count() == 0
        # What changed, and who needs someone: the answer first, then the visits.
        assert tab.locator(".st-key-answer").inner_text().startswith("In the week of")
        assert tab.get_by_text("Needs someone today").is_visible()
        pick(tab, "Period", "Last heating season")
        tab.wait_for_url("**period=Last*")
        tab.get_by_role("button", name="Show the visits behind it").first.click()
        window = tab.get_by_role("dialog")
        first_row(tab, window)
        window.get_by_text("Notes as written").wait_for()
        rows = taken_along(tab, window)
        assert rows and {"Visit", "Root cause", "Draft margin, in. w.c."} <= set(rows[0])
        window.get_by_role("button", name="Close").click()
        window.wait_for(state="detached")
        # In pascal and degrees Fahrenheit, kept in the address from page to page.
        tab.get_by_role("button", name="Units").click()
        pick(tab, "Draft", "Pa")
        pick(tab, "Temperature", "°F")
        tab.wait_for_url("**draft_in=Pa*")
        tab.keyboard.press("Escape")
        tab.get_by_role("link", name="Sites").first.click()
        tab.wait_for_url("**/sites**")
        served_pages.settled(tab)
        assert "draft_in=Pa" in tab.url and "period=Last" in tab.url
        tab.get_by_label("or any site by its id").fill(rows[0]["Site"])
        tab.keyboard.press("Enter")
        tab.get_by_role("button", name="Export as CSV").first.wait_for()
        served_pages.settled(tab)
        assert [name for name in taken_along(tab, tab.locator("main"))[0] if "margin" in name] == ["Draft margin, Pa"]
        tab.get_by_role("link", name="Seasons").first.click()
        tab.wait_for_url("**/seasons**")
        served_pages.settled(tab)
        # Whoever is sent the address sees the same.
        address = tab.url
        with opened(browser, address) as (other, _):
            other.get_by_role("button", name="Units").click()
            for title, chosen in (("Period", "Last heating season"), ("Draft", "Pa"), ("Temperature", "°F")):
                box = other.get_by_role("combobox", name=title, exact=True)
                box.wait_for()
                assert chosen in (box.input_value() or box.get_attribute("aria-label") or "")
        # What is handed out: the season to come over all records, since one season alone shows none; and the week.
        pick(tab, "Period", "All records")
        printed(tab, "season", "Peak of the year", 2)
        go(tab, "This week", "")
        pick(tab, "Period", "Last heating season")
        week = printed(tab, "week", "Switches pulled that were good", 2)
        assert set(week.n_pages.values()) == {2}
        answer = tab.locator(".st-key-answer").inner_text()
        assert answer.startswith("In the week of") and week.all_say(answer)
        assert "whole company" not in week.whole
        assert_sound(tab, seen)


def test_the_trainers_monday(browser, fleet_address: str) -> None:
    with opened(browser, f"{fleet_address}/coaching") as (tab, seen):
        assert tab.get_by_text("must not decide pay or discipline").first.is_visible()
        choice = tab.get_by_role("combobox", name="Technician", exact=True)
        choice.scroll_into_view_if_needed()
        tab.wait_for_timeout(500)
        choice.click()
        name = tab.get_by_role("option").first.inner_text()
        tab.get_by_role("option").first.click()
        tab.wait_for_url("**technician=*")
        tab.get_by_text("what did the gauge say?").wait_for()
        served_pages.settled(tab)
        assert tab.get_by_text("Against whom, and why that is fair").is_visible()
        assert tab.get_by_text("Notes as written").first.is_visible()
        # To show it to others: the name of a tree in place of the technician's, in the file too.
        tab.get_by_text("Show code names").click()
        served_pages.settled(tab)
        assert name not in tab.locator("main").inner_text()
        tab.get_by_text("All their swaps").click()
        tab.get_by_role("button", name="Export as CSV").first.wait_for()
        served_pages.settled(tab)
        rows = taken_along(tab, tab.locator(".st-key-own_swaps"))
        assert rows and len({row["Technician"] for row in rows}) == 1 and name not in str(rows)
        # The pack to sit down with: under the code name, in the PDF of either paper and in the web page.
        pack = printed(tab, "coaching", "Swaps per draft fault", 6)
        assert pack.all_say(f"Coaching: {rows[0]['Technician']}")
        person, technician_id = name.removesuffix(")").rsplit(" (", 1)
        for one in (name, person, technician_id):
            assert not re.search(rf"\b{re.escape(one)}\b", pack.whole), one
        assert_sound(tab, seen)


def test_the_owners_monday(browser, fleet_address: str) -> None:
    with opened(browser, f"{fleet_address}/parts_waste") as (tab, seen):
        assert "counted one by one" in tab.locator(".st-key-answer").inner_text()
        rows = taken_along(tab, tab.locator("main"))
        assert {"Branch", "Known, USD", "Estimated, USD", "Range from, USD", "Range to, USD"} <= set(rows[0])
        tab.get_by_role("tab", name="By part number").click()
        tab.get_by_role("button", name="Show the visits behind it").first.click()
        window = tab.get_by_role("dialog")
        first_row(tab, window)
        window.get_by_text("Bench: ").first.wait_for()
        good = taken_along(tab, window)
        assert good and {row["Bench"] for row in good} == {"good"}
        # Every swap the bench found good is counted once in the table of branches.
        assert len(good) == sum(int(row["Bench good"]) for row in rows)
        window.get_by_role("button", name="Close").click()
        window.wait_for(state="detached")
        # A claim that was refused, with what is on record for it, to send back; then the week for the desk.
        claims = taken_along(tab, tab.locator(".st-key-export_claims"))
        first = next(claim for claim in claims if claim["Outcome"] == "refused")
        tab.get_by_role("combobox", name="Claim", exact=True).click()
        tab.get_by_role("option", name=re.compile(rf"^{re.escape(first['Claim'])}, refused")).click()
        tab.get_by_role("button", name="PDF, A4", exact=True).wait_for()
        served_pages.settled(tab)
        pack = taken(tab, f"warranty_{first['Claim']}")
        assert all(1 <= n <= 3 for n in pack.n_pages.values()), pack.n_pages
        for shown in (f"Warranty claim {first['Claim']}", first["Reason as given"], first["Part"], first["Visit"]):
            assert shown and pack.all_say(shown), (shown, pack.texts)
        go(tab, "This week", "")
        printed(tab, "week", "Switches pulled that were good", 2)
        assert_sound(tab, seen)
