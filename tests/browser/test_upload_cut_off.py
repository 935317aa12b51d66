"""An upload that stops midway: nothing of it is loaded, the page says so or waits, and the same file can be sent again."""

from __future__ import annotations

from pathlib import Path

import pytest
import served_pages
from looking import ERROR_BOX, assert_sound, opened

from pipelines.store import Store

pytestmark = pytest.mark.browser

N_VISITS = 20_000
BYTES_A_SECOND = 60_000
HEADER = "visit_id,site_id,technician_id,arrived_at,visit_kind,symptom\n"


@pytest.fixture
def visits(tmp_path: Path) -> Path:
    """A file that takes about 20 s at the speed of the slowed line."""
    file = tmp_path / "visits.csv"
    row = "V{n},S{site},T{tech},2025-01-{day:02d}T08:00:00Z,no_heat,draft_not_proven\n"
    lines = (row.format(n=n, site=n % 900, tech=n % 20, day=n % 28 + 1) for n in range(N_VISITS))
    file.write_text(HEADER + "".join(lines), "utf-8")
    assert file.stat().st_size > 15 * BYTES_A_SECOND
    return file


class Line:
    """The tab's line to the server, which can be slowed down, and what became of the uploads sent on it."""

    def __init__(self, tab) -> None:
        self.tab, self.network = tab, tab.context.new_cdp_session(tab)
        self.came, self.failed = [], []
        tab.on("requestfinished", lambda request: self._note(self.came, request))
        tab.on("requestfailed", lambda request: self._note(self.failed, request))
        self.network.send("Network.enable")

    def set(self, upload: int = -1) -> None:
        """upload: bytes a second, -1 = as fast as it goes."""
        conditions = {"offline": False, "latency": 0, "downloadThroughput": -1, "uploadThroughput": upload}
        self.network.send("Network.emulateNetworkConditions", conditions)

    def start_upload(self, file: Path) -> None:
        """Send the file on a slow line until some of it is on its way."""
        self.set(upload=BYTES_A_SECOND)
        with self.tab.expect_request(_is_upload):
            self.tab.locator("input[type=file]").first.set_input_files(str(file))
        self.tab.wait_for_timeout(2_000)
        assert not self.came and not self.failed, "the upload should still be on its way"

    @staticmethod
    def _note(uploads: list[str], request) -> None:
        if _is_upload(request):
            uploads.append(request.url)


def _is_upload(request) -> bool:
    return "/upload_file/" in request.url and request.method == "PUT"


def _load_button(tab):
    return tab.get_by_test_id("stMain").get_by_role("button", name="Load", exact=True).first


def test_a_stopped_upload_loads_nothing_and_can_be_sent_again(browser, tmp_path, visits) -> None:
    home = tmp_path / "home"
    home.mkdir()
    with served_pages.served(home) as address:
        records = served_pages.address_of(address, "records")
        with opened(browser, records) as (tab, _):
            line = Line(tab)
            line.start_upload(visits)
            assert _load_button(tab).is_disabled(), "what is still on its way cannot be loaded"
            tab.get_by_test_id("stFileUploader").get_by_role("button", name="visits.csv").first.click()
            tab.wait_for_timeout(1_500)
            assert line.failed and not line.came, "the upload was stopped"
            assert _load_button(tab).is_disabled() and Store(home).current() is None
            line.set()
            with tab.expect_file_chooser() as chooser:
                tab.get_by_test_id("stFileUploader").first.locator("button").first.click()
            chooser.value.set_files(str(visits))
            tab.wait_for_timeout(1_000)
            served_pages.settled(tab)
            _load_button(tab).click()
            tab.get_by_text("What the load did").wait_for(timeout=60_000)
            assert tab.locator(ERROR_BOX).count() == 0
    assert _n_visits(home) == N_VISITS


def test_a_window_closed_during_an_upload_leaves_the_server_sound(browser, tmp_path, visits) -> None:
    home = tmp_path / "home"
    home.mkdir()
    with served_pages.served(home) as address:
        records = served_pages.address_of(address, "records")
        with opened(browser, records) as (tab, _):
            Line(tab).start_upload(visits)
        with opened(browser, records) as (tab, seen):
            assert_sound(tab, seen)
            assert tab.get_by_text("No records yet.").count() == 1
    assert Store(home).current() is None, "a file that never came whole made no store"


def _n_visits(home: Path) -> int:
    con = Store(home).open_reader()
    try:
        return con.execute("SELECT count(*) FROM visit").fetchall()[0][0]
    finally:
        con.close()
