"""Many readers at once: each walks the pages and changes filters for a bounded time."""

from __future__ import annotations

import asyncio
import itertools
import random
import statistics
import time
from dataclasses import dataclass, field
from typing import Any

import page_timing
import served_pages

ARRIVAL_SECONDS = 0.4


@dataclass
class Walked:
    """What all readers together met with. opened, changed: seconds of each wait, until the whole page stood."""

    opened: list[float] = field(default_factory=list)
    changed: list[float] = field(default_factory=list)
    errors: list[str] = field(default_factory=list)


async def walk(address: str, sessions: int, seconds: float) -> dict[str, Any]:
    """So many tabs, each with a session of its own, in one browser. Returns counts, medians, worst and errors."""
    from playwright.async_api import async_playwright

    walked = Walked()
    async with async_playwright() as play:
        browser = await play.chromium.launch(
            executable_path=served_pages.browser_path(), args=list(served_pages.BROWSER_FLAGS)
        )
        try:
            end = time.monotonic() + seconds
            await asyncio.gather(*(_reader(browser, address, number, end, walked) for number in range(sessions)))
        finally:
            await browser.close()
    return {
        "pages opened": len(walked.opened),
        "filters changed": len(walked.changed),
        **_told("page", walked.opened),
        **_told("filter", walked.changed),
        "errors": len(walked.errors),
        "first errors": walked.errors[:5],
    }


def _told(name: str, waits: list[float]) -> dict[str, float]:
    if not waits:
        return {}
    return {f"{name}, median s": round(statistics.median(waits), 2), f"{name}, worst s": round(max(waits), 2)}


async def _reader(browser: Any, address: str, number: int, end: float, walked: Walked) -> None:
    """One reader. The order of pages and choices is drawn from the reader's number: the same in every run."""
    draw = random.Random(number)
    context = await browser.new_context(viewport=page_timing.SIZE)
    tab = await context.new_page()
    await tab.add_init_script(page_timing.WATCH)
    pages = list(served_pages.PAGES)
    try:
        # They come one after another, within the first seconds.
        await asyncio.sleep(number * ARRIVAL_SECONDS)
        for page in itertools.cycle(draw.sample(pages, len(pages))):
            if time.monotonic() >= end:
                return
            await tab.goto(
                served_pages.address_of(address, page), wait_until="commit", timeout=page_timing.MOST_SECONDS * 1000
            )
            if not await _stands(tab, page, "whole", walked):
                continue
            walked.opened.append(await tab.evaluate("goodpullWatch.whole / 1000"))
            if page in page_timing.SCOPED:
                await _change(tab, page, draw, walked)
    except Exception as error:
        walked.errors.append(f"reader {number}: {type(error).__name__}: {error}"[:300])
    finally:
        await context.close()


async def _change(tab: Any, page: str, draw: random.Random, walked: Walked) -> None:
    box = tab.get_by_role("combobox", name=draw.choice(page_timing.FILTERS))
    if not await box.count():
        return
    await box.first.click()
    options = tab.get_by_role("option")
    await options.first.wait_for()
    # The first is everything; after the periods stands the choice of dates, which opens another field.
    names = [text for text in (await options.all_inner_texts())[1:] if text != "Chosen dates"]
    await tab.get_by_role("option", name=draw.choice(names), exact=True).click()
    if await _stands(tab, page, "rested", walked):
        walked.changed.append(await tab.evaluate("(goodpullWatch.rested - goodpullWatch.chosen) / 1000"))


async def _stands(tab: Any, page: str, what: str, walked: Walked) -> bool:
    """Whether the page came to rest without an error; what it met with is noted."""
    try:
        await tab.wait_for_function(f"goodpullWatch.{what} !== null", timeout=page_timing.MOST_SECONDS * 1000)
    except Exception:
        walked.errors.append(f"{page}: not at rest within {page_timing.MOST_SECONDS} s")
        return False
    box = tab.locator(page_timing.ERROR_BOX)
    if await box.count():
        walked.errors.append(f"{page}: {await box.first.inner_text()}"[:300])
        return False
    return True
