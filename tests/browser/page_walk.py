"""Everything there is to open on a page, opened: its sections, tabs, small menus and windows; and what went wrong."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import served_pages
from looking import ERROR_BOX, SIZE, Seen, open_list, watched

MOST_SECONDS = 120
# A section within a section, such as the history of an appliance in a visit, is met in a later round.
ROUNDS = 4
SHUT = '[data-testid="stExpander"] details:not([open]) > summary:visible'
WINDOWS = '[class*="st-key-behind_"] button:visible'
MENUS = '[data-testid="stPopover"] button:visible'
TABS = '[role="tab"]:visible'


@dataclass
class Walked:
    """What was opened on one page, and what was met with, a line each."""

    page: str
    n_sections: int = 0
    n_tabs: int = 0
    n_menus: int = 0
    n_windows: int = 0
    errors: list[str] = field(default_factory=list)

    def told(self) -> str:
        counts = f"{self.n_sections} sections, {self.n_tabs} tabs, {self.n_menus} menus, {self.n_windows} windows"
        return f"{counts}, {len(self.errors)} errors"


def walk(
    browser: Any, address: str, page: str, state: Any = None, look: Callable[[Any], list[str]] | None = None
) -> Walked:
    """Open the page and everything on it. state: of a context in which somebody signed in.

    look: gives further complaints about a tab; asked when the page stands, and once all its sections are open.
    """
    walked, seen = Walked(page), Seen()
    context = browser.new_context(viewport=SIZE, storage_state=state)
    try:
        tab = context.new_page()
        watched(tab, seen)
        tab.goto(served_pages.address_of(address, page))
        _rest(tab, walked, "opened")
        if tab.locator("h1:visible").all_inner_texts() != [served_pages.TITLES[page]]:
            walked.errors.append(f"{page}: another page stands there: {tab.locator('h1').all_inner_texts()}")
        walked.errors += [f"{page}: {one}" for one in (look(tab) if look else [])]
        _choose_technician(tab, walked)
        _sections(tab, walked)
        walked.errors += [f"{page}, all open: {one}" for one in (look(tab) if look else [])]
        _menus(tab, walked)
        _windows(tab, walked)
    except Exception as error:
        walked.errors.append(f"{page}: {type(error).__name__}: {str(error)[:600]}")
    finally:
        context.close()
    walked.errors += [f"{page}: the browser says: {one}" for one in seen.complaints]
    return walked


def _choose_technician(tab: Any, walked: Walked) -> None:
    """Coaching shows a sheet once somebody is chosen."""
    box = tab.get_by_role("combobox", name="Technician", exact=True)
    if walked.page != "coaching" or not box.count():
        return
    open_list(tab, box)
    tab.keyboard.press("Enter")
    tab.wait_for_url("**technician=*")
    _rest(tab, walked, "a technician")


def _sections(tab: Any, walked: Walked) -> None:
    """Tabs, and sections in them and below; what they bring is opened too."""
    n_tabs = tab.locator(TABS).count()
    for place in range(max(n_tabs, 1)):
        if n_tabs:
            one = tab.locator(TABS).nth(place)
            one.click()
            walked.n_tabs += 1
            _rest(tab, walked, f"tab {one.inner_text()}")
        _shut_ones(tab, walked)


def _shut_ones(tab: Any, walked: Walked) -> None:
    for _ in range(ROUNDS):
        n = tab.locator(SHUT).count()
        if not n:
            return
        for _ in range(n):
            # What is opened is no longer among them, so the first is always the next.
            summary = tab.locator(SHUT).first
            title = summary.inner_text()
            summary.scroll_into_view_if_needed()
            summary.click()
            walked.n_sections += 1
            tab.wait_for_timeout(300)
            _rest(tab, walked, f"section {title}")
    left = tab.locator(SHUT).all_inner_texts()
    if left:
        walked.errors.append(f"{walked.page}: could not be opened: {left}")


def _menus(tab: Any, walked: Walked) -> None:
    for place in range(tab.locator(MENUS).count()):
        tab.locator(MENUS).nth(place).click()
        tab.locator('[data-testid="stPopoverBody"]').wait_for()
        walked.n_menus += 1
        _rest(tab, walked, f"menu {place + 1}")
        tab.keyboard.press("Escape")
        tab.locator('[data-testid="stPopoverBody"]').wait_for(state="detached")


def _windows(tab: Any, walked: Walked) -> None:
    """The visits behind each figure, and the first of them in full."""
    for place in range(tab.locator(WINDOWS).count()):
        button = tab.locator(WINDOWS).nth(place)
        button.scroll_into_view_if_needed()
        button.click()
        window = tab.get_by_role("dialog")
        window.wait_for()
        walked.n_windows += 1
        _rest(tab, walked, f"window {place + 1}")
        table = window.locator("canvas").first
        if table.count():
            box = table.bounding_box()
            tab.mouse.click(box["x"] + 15, box["y"] + 50)
            tab.wait_for_timeout(300)
            _rest(tab, walked, f"a visit in window {place + 1}")
        window.get_by_role("button", name="Close").first.click()
        window.wait_for(state="detached")
        _rest(tab, walked, f"window {place + 1} closed")


def _rest(tab: Any, walked: Walked, what: str) -> None:
    """Wait until the page rests; note what it shows as an error."""
    served_pages.settled(tab, MOST_SECONDS)
    tab.wait_for_function("document.querySelectorAll('.gp-waiting').length === 0", timeout=MOST_SECONDS * 1000)
    for text in tab.locator(ERROR_BOX).all_inner_texts():
        line = f"{walked.page}, {what}: {text[:300]}"
        if line not in walked.errors:
            walked.errors.append(line)
