"""How long a reader waits, as the browser sees it: for a page, and for another filter."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1] / "browser"))

import served_pages
import waiting_bars as bars

WATCH = Path(__file__).with_name("page_watch.js").read_text("utf-8")
SIZE = {"width": 1280, "height": 800}
ERROR_BOX = '[data-testid="stException"], [data-testid="stAlertContentError"]'
# Pages with the row of filters.
SCOPED = ("this_week", "coaching", "parts_waste", "seasons", "sites", "missing", "own_sheet")
FILTERS = ("Period", "Branch", "Region", "Appliance")
ALL = {"Period": "All records"}
MOST_SECONDS = 120


@dataclass(frozen=True)
class Wait:
    """Seconds until the answer and the first figure stand, and until the whole page does; see bars.MEANING."""

    page: str
    what: str
    answered: float
    whole: float


class PageFailed(RuntimeError):
    """A page showed an error, or did not come to rest."""


def visit(browser: Any, address: str, page: str, what: str = bars.FIRST_PAINT, state: Any = None) -> Wait:
    """A fresh browser context at the address of the page. Raises PageFailed where it shows an error.

    state: of a context in which somebody signed in; None without sign-in.
    """
    context = browser.new_context(viewport=SIZE, storage_state=state)
    try:
        tab = opened(context, address, page)
        times = tab.evaluate("goodpullWatch")
        return Wait(page, what, times["first"] / 1000, times["whole"] / 1000)
    finally:
        context.close()


def opened(context: Any, address: str, page: str) -> Any:
    """A tab on the page, at rest."""
    tab = context.new_page()
    tab.add_init_script(WATCH)
    tab.goto(served_pages.address_of(address, page))
    _until(tab, page, "goodpullWatch.first !== null && goodpullWatch.whole !== null")
    if tab.locator("h1").all_inner_texts() != [served_pages.TITLES[page]]:
        raise PageFailed(f"{page}: another page stands there: {tab.locator('h1').all_inner_texts()}")
    return tab


def choices(tab: Any, title: str) -> list[str]:
    """What a filter offers beside everything; empty where the page has no such filter."""
    box = tab.get_by_role("combobox", name=title, exact=False).first
    if not tab.get_by_role("combobox", name=title).count():
        return []
    box.click()
    tab.get_by_role("option").first.wait_for()
    found = tab.get_by_role("option").all_inner_texts()
    tab.keyboard.press("Escape")
    return [text for text in found if text not in ("All", "All records", "Chosen dates")]


def choose(tab: Any, page: str, title: str, option: str, what: str) -> Wait:
    """From the click on another choice of a filter until what it narrows stands."""
    tab.get_by_role("combobox", name=title).first.click()
    tab.get_by_role("option", name=option, exact=True).click()
    _until(tab, page, "goodpullWatch.rested !== null")
    times = tab.evaluate("goodpullWatch")
    answered, rested = ((times[name] - times["chosen"]) / 1000 for name in ("answered", "rested"))
    return Wait(page, what, answered, rested)


def filter_changes(browser: Any, address: str, page: str, most: int, state: Any = None) -> list[Wait]:
    """Each filter of the page by itself, `most` choices of each, from everything; then a second filter on top.

    Each choice is new to the server the first time ("branch"), and known the second time ("again"). state: see visit.
    """
    context = browser.new_context(viewport=SIZE, storage_state=state)
    waits = []
    try:
        tab = opened(context, address, page)
        for title in FILTERS:
            for option in choices(tab, title)[:most]:
                waits.append(choose(tab, page, title, option, title.lower()))
                waits.append(choose(tab, page, title, ALL.get(title, "All"), "back to all"))
                waits.append(choose(tab, page, title, option, "again"))
                choose(tab, page, title, ALL.get(title, "All"), "")
        waits += _on_top(tab, page, most)
    finally:
        context.close()
    return waits


def _on_top(tab: Any, page: str, most: int) -> list[Wait]:
    """A branch chosen on top of a period."""
    periods, branches = choices(tab, "Period"), choices(tab, "Branch")
    if not periods or not branches:
        return []
    choose(tab, page, "Period", periods[-1], "")
    return [choose(tab, page, "Branch", option, "two filters") for option in branches[:most]]


def _until(tab: Any, page: str, condition: str) -> None:
    try:
        tab.wait_for_function(condition, timeout=MOST_SECONDS * 1000)
    except Exception as error:
        raise PageFailed(f"{page}: {condition} not reached: {tab.evaluate('JSON.stringify(goodpullWatch)')}") from error
    if tab.locator(ERROR_BOX).count():
        raise PageFailed(f"{page}: {tab.locator(ERROR_BOX).first.inner_text()}")
