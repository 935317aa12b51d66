"""Everything on every page can be opened without an error, the technician's own sheet too, over thin records and a fleet;
over thin records axe-core finds nothing serious on any page either, opened or not.

By hand over any home, however large: python tests/bench/pages.py --home FOLDER --walk
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import page_walk
import pytest
import served_pages
import signing_in
from looking import SIZE, is_scrolling_sideways, show_whole, violations

pytestmark = pytest.mark.browser
THIN = ("empty_home", "one_visit_home")
# What a page over one visit has to open, so that a walk that opened nothing would be noticed.
FEWEST = {"this_week": (3, 4), "coaching": (2, 4), "own_sheet": (2, 1), "records": (1, 0), "method": (0, 0)}


@pytest.fixture(scope="module")
def readers(browser, request: pytest.FixtureRequest) -> Iterator[tuple]:
    """Over one home: the pages without sign-in, and the own sheet of a technician who signed in."""
    home: Path = request.getfixturevalue(request.param)
    with (
        signing_in.for_technician(home) as (other, port, provider),
        served_pages.served(other, port) as own_address,
        served_pages.served(home) as address,
    ):
        yield address, own_address, signing_in.state_of(browser, own_address, provider)


def serious(tab) -> list[str]:
    """Serious violations at a phone's width and a laptop's; then the window is as it was."""
    found = []
    for width in (390, 1280):
        show_whole(tab, width)
        found += violations(tab) + (["scrolls sideways"] if is_scrolling_sideways(tab) else [])
    tab.set_viewport_size(SIZE)
    return found


def walked(browser, readers: tuple, page: str, look=None) -> page_walk.Walked:
    address, own_address, state = readers
    if page in served_pages.OWN_PAGES:
        return page_walk.walk(browser, own_address, page, state, look)
    return page_walk.walk(browser, address, page, None, look)


@pytest.mark.parametrize("page", served_pages.TITLES)
@pytest.mark.parametrize("readers", THIN, indirect=True)
def test_everything_opens_over_thin_records(browser, readers: tuple, page: str) -> None:
    assert walked(browser, readers, page, serious).errors == []


@pytest.mark.parametrize("page", served_pages.TITLES)
@pytest.mark.parametrize("readers", ["fleet_home"], indirect=True)
def test_everything_opens_over_a_fleet(browser, readers: tuple, page: str) -> None:
    found = walked(browser, readers, page)
    assert found.errors == []
    n_sections, n_windows = FEWEST.get(page, (0, 0))
    assert found.n_sections >= n_sections and found.n_windows >= n_windows, found


@pytest.mark.parametrize("readers", ["empty_home"], indirect=True)
def test_a_walk_tells_what_it_meets(browser, readers: tuple) -> None:
    def spoilt(tab) -> list[str]:
        tab.evaluate(
            "document.querySelector('[data-testid=stMain]').insertAdjacentHTML('beforeend', "
            "'<div data-testid=\"stException\">broken</div>'); setTimeout(() => {throw new Error('on its own')})"
        )
        return ["looked at"]

    met = " ".join(page_walk.walk(browser, readers[0], "records", None, spoilt).errors)
    assert "broken" in met and "on its own" in met and "looked at" in met
    assert "another page" in page_walk.walk(browser, readers[0], "own_sheet").errors[0]


def test_every_page_of_the_program_is_known_here() -> None:
    declared = next(
        ast.literal_eval(one.value)
        for one in ast.parse(served_pages.APP.read_text("utf-8")).body
        if isinstance(one, ast.Assign) and getattr(one.targets[0], "id", "") == "PAGES"
    )
    assert dict(declared) == served_pages.TITLES
    assert {path.stem for path in (served_pages.APP.parent / "views").glob("[!_]*.py")} == set(served_pages.TITLES)
