"""A page opened in the browser, with what it asked for and complained of; and what axe-core says of it."""

from __future__ import annotations

import importlib.resources
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from urllib.parse import urlparse

import served_pages
from playwright.sync_api import TimeoutError as PlaywrightTimeoutError

SIZE = {"width": 1280, "height": 800}
ERROR_BOX = '[data-testid="stException"], [data-testid="stAlertContentError"]'


@dataclass
class Seen:
    """What the browser asked for and complained of."""

    hosts: set[str] = field(default_factory=set)
    complaints: list[str] = field(default_factory=list)


@contextmanager
def opened(browser, address: str, theme: str = "light", size: dict[str, int] | None = None) -> Iterator[tuple]:
    context = browser.new_context(viewport=size or SIZE, color_scheme=theme, accept_downloads=True)
    seen = Seen()
    tab = context.new_page()
    watched(tab, seen)
    tab.goto(address)
    served_pages.settled(tab)
    try:
        yield tab, seen
    finally:
        context.close()


def watched(tab, seen: Seen) -> None:
    """Note from now on what the tab asks for and complains of."""
    tab.on("request", lambda request: seen.hosts.add(urlparse(request.url).hostname or ""))
    tab.on("console", lambda message: _note(seen, message))
    tab.on("pageerror", lambda error: seen.complaints.append(str(error)))


def _note(seen: Seen, message) -> None:
    # A page opened by its own address first looks for the server below that address; those misses are no fault.
    if message.type == "error" and "/_stcore/" not in message.location.get("url", ""):
        seen.complaints.append(message.text)


def assert_sound(tab, seen: Seen) -> None:
    assert tab.locator(ERROR_BOX).count() == 0, tab.locator(ERROR_BOX).first.inner_text()
    assert not seen.complaints
    # blob: and data: addresses have no host.
    assert seen.hosts - {""} == {"127.0.0.1"}


def open_list(tab, box) -> None:
    """Open a list by keyboard, and again where it was closed by the page still growing above it; its first option is chosen
    by Enter."""
    for attempt in range(6):
        box.focus()
        tab.keyboard.press("ArrowDown")
        try:
            tab.get_by_role("option").first.wait_for(timeout=5_000)
            return
        except PlaywrightTimeoutError:
            if attempt == 5:
                raise
            tab.keyboard.press("Escape")
            served_pages.settled(tab)


def is_scrolling_sideways(tab) -> bool:
    return tab.evaluate("document.querySelector('[data-testid=stMain]').scrollWidth > window.innerWidth")


def charts_out_of_view(tab) -> list[str]:
    """Charts that reach beyond the window's sides, with where they begin and end, in pixels."""
    return tab.evaluate(
        "[...document.querySelectorAll('[data-testid=stVegaLiteChart] :is(canvas, svg.marks)')]"
        ".map(one => one.getBoundingClientRect())"
        ".filter(box => box.width > 0 && (box.left < -1 || box.right > window.innerWidth + 1))"
        ".map(box => `${Math.round(box.left)} to ${Math.round(box.right)}`)"
    )


def violations(tab) -> list[str]:
    """What axe-core finds serious or critical on the page as it is, one line each."""
    if not tab.evaluate("typeof axe !== 'undefined'"):
        tab.evaluate((importlib.resources.files("axe_playwright_python") / "axe.min.js").read_text("utf-8"))
    found = tab.evaluate("axe.run(document, {resultTypes: ['violations']})")["violations"]
    return [
        f"{one['id']} ({one['impact']}), {len(one['nodes'])}: {one['nodes'][0]['html'][:200]}: {one['nodes'][0]['failureSummary']}"
        for one in found
        if one["impact"] in ("serious", "critical")
    ]


def show_whole(tab, width: int) -> None:
    """A window of this width, as tall as what the page holds: only what is in view is judged for contrast."""
    tab.set_viewport_size({"width": width, "height": 900})
    tab.wait_for_timeout(300)
    height = tab.evaluate("document.querySelector('[data-testid=stMain]').scrollHeight")
    tab.set_viewport_size({"width": width, "height": int(height) + 40})
    tab.wait_for_timeout(500)


def tables_that_scroll(tab) -> list[str]:
    """Tables in view that are wider than their place, with the two widths in pixels."""
    return tab.evaluate(
        "[...document.querySelectorAll('.dvn-scroller, table.gp-list')]"
        ".filter(one => one.getClientRects().length > 0)"
        ".map(one => [one, one.matches('table') ? one.parentElement : one])"
        ".filter(([one, place]) => Math.max(one.scrollWidth, one.offsetWidth) > place.clientWidth + 1)"
        ".map(([one, place]) => `${one.className}: ${Math.max(one.scrollWidth, one.offsetWidth)} in ${place.clientWidth}`)"
    )
