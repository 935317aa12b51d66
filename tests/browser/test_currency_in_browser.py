"""A currency chosen in a browser: in the address from page to page, for whoever is sent it, and in the files."""

from __future__ import annotations

import csv
import io
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
import served_pages
from looking import assert_sound, opened

pytestmark = pytest.mark.browser
LINE = "Amounts in EUR at 0.92 for 1 USD, the rate of 2 Nov 2026 in settings.toml."


@pytest.fixture(scope="module")
def exchange_address(fleet_home: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    home = tmp_path_factory.mktemp("exchange") / "home"
    shutil.copytree(fleet_home, home)
    rates = "exchange_rates_on = 2026-11-02\n[exchange_rates]\nEUR = 0.92\n"
    (home / "settings.toml").write_text(rates, "utf-8")
    with served_pages.served(home) as address:
        yield address


def known(tab) -> dict[str, float]:
    """Per branch what is known, from the file of the table: by the title of its column."""
    with tab.expect_download() as started:
        tab.locator("main").get_by_role("button", name="Export as CSV").first.click()
    rows = list(csv.DictReader(io.StringIO(Path(started.value.path()).read_text("utf-8-sig"))))
    title = next(name for name in rows[0] if name.startswith("Known"))
    return {title: sum(float(row[title] or 0) for row in rows)}


def test_a_currency_goes_from_page_to_page_and_into_files(browser, exchange_address: str) -> None:
    with opened(browser, f"{exchange_address}/parts_waste") as (tab, seen):
        assert tab.get_by_text("Amounts in").count() == 0
        (company,) = known(tab).items()
        tab.get_by_role("button", name="Units").click()
        tab.get_by_role("combobox", name="Money", exact=True).click()
        tab.get_by_role("option", name="EUR", exact=True).click()
        tab.wait_for_url("**money_in=EUR*")
        tab.keyboard.press("Escape")
        tab.get_by_text(LINE).first.wait_for()
        served_pages.settled(tab)
        (chosen,) = known(tab).items()
        assert (company[0], chosen[0]) == ("Known, USD", "Known, EUR")
        # Each branch is rounded by itself.
        assert chosen[1] == pytest.approx(0.92 * company[1], abs=5) and chosen[1] < company[1] - 5
        tab.get_by_role("link", name="What is missing", exact=True).first.click()
        tab.wait_for_url("**/missing**")
        served_pages.settled(tab)
        assert "money_in=EUR" in tab.url and tab.get_by_text(LINE).count() == 1
        with opened(browser, tab.url) as (other, _):
            other.get_by_text(LINE).wait_for()
        assert_sound(tab, seen)
