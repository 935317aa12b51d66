"""What a person does on the Records page to map a foreign export."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

import looking
import served_pages
from playwright.sync_api import Error as PlaywrightError

TRY = "Show 20 rows in, 20 rows out"


@contextmanager
def records_page(browser, home: Path) -> Iterator[tuple]:
    """The page over a home, in a browser of its own; the tab, and what it asked for."""
    with (
        served_pages.served(home) as address,
        looking.opened(browser, served_pages.address_of(address, "records")) as (tab, seen),
    ):
        yield tab, seen


def upload(tab, paths: Sequence[Path]) -> None:
    tab.locator("input[type=file]").nth(1).set_input_files([str(path) for path in paths])
    served_pages.settled(tab)


def ask_database(tab, connection: str, queries: str) -> None:
    line = tab.get_by_role("textbox", name="Connection", exact=True)
    if not line.is_visible():
        tab.get_by_text("Or a PostgreSQL database").click()
    line.fill(connection)
    line.press("Enter")
    served_pages.settled(tab)
    area = tab.get_by_role("textbox", name="Queries, one a table")
    area.fill(queries)
    area.press("Control+Enter")
    served_pages.settled(tab)


def read_columns(tab) -> None:
    tab.get_by_role("button", name="Read the columns").click()
    tab.get_by_role("button", name=TRY).wait_for(timeout=60_000)
    served_pages.settled(tab)


def choose(tab, label: str, option: str) -> None:
    """Choose in the box whose label holds `label`: the last table's, but the first where boxes of its spellings follow.

    The page may still be drawing its last change, which takes the list away again; then the box is opened once more.
    """
    boxes = tab.get_by_role("combobox", name=label)
    box = boxes.first if label.endswith(": ") else boxes.last
    wanted = tab.get_by_role("option", name=option, exact=True).first
    for attempt in range(3):
        try:
            box.scroll_into_view_if_needed(timeout=10_000)
            box.click(timeout=10_000)
            tab.get_by_role("option").first.wait_for(timeout=10_000)
            if not wanted.is_visible():
                # Long lists draw only what is in view; typing narrows them.
                box.fill(option, timeout=10_000)
            wanted.click(timeout=10_000)
            break
        except PlaywrightError:
            if attempt == 2:
                raise
            tab.keyboard.press("Escape")
            served_pages.settled(tab)
    served_pages.settled(tab)


def write(tab, label: str, text: str) -> None:
    """Type into the last line of that label."""
    line = tab.get_by_label(label).last
    line.fill(text)
    line.press("Enter")
    served_pages.settled(tab)


def say_more(tab, table: str, field: str, label: str, text: str) -> None:
    """Say more about one column of a table, by a line of the part that is shut at first."""
    if not tab.get_by_role("combobox", name="Column to say more about").last.is_visible():
        tab.get_by_text(f"{table}: more about a column").last.click()
    choose(tab, "Column to say more about", field)
    write(tab, f"{table}.{field}: {label}", text)


def use_text(tab, *changes: tuple[str, str]) -> None:
    """Change the mapping as text, and use it."""
    area = tab.get_by_label("Mapping (TOML)")
    if not area.is_visible():
        tab.get_by_text("The mapping as text").click()
    toml = area.input_value()
    for old, new in changes:
        assert toml.count(old) == 1, (old, toml)
        toml = toml.replace(old, new)
    area.fill(toml)
    area.press("Control+Enter")
    served_pages.settled(tab)
    tab.get_by_role("button", name="Use this text").click()
    served_pages.settled(tab)


def preview(tab) -> None:
    tab.get_by_role("button", name=TRY).click()
    # Trying begins a moment after the click.
    tab.get_by_text("I looked through every line").wait_for(timeout=60_000)
    served_pages.settled(tab)


def confirm(tab) -> None:
    tab.get_by_text("I looked through every line").click()
    served_pages.settled(tab)
    tab.get_by_role("button", name="Confirm and load").click()
    tab.get_by_text("What the load did").wait_for(timeout=120_000)
    served_pages.settled(tab)
