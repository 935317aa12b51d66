"""Sign-in against a provider on loopback: each role gets its pages, and nothing of another's reaches the browser."""

from __future__ import annotations

import re
import secrets
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import urlparse

import duckdb
import local_provider
import pytest
import served_pages
from looking import is_scrolling_sideways, show_whole, violations

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def shared(fleet_home: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple]:
    """The address of the pages with sign-in, the provider, the home, and the technician with the most swaps."""
    home = tmp_path_factory.mktemp("shared") / "home"
    shutil.copytree(fleet_home, home)
    store = home / (home / "current").read_text().strip()
    with duckdb.connect(str(store), read_only=True) as con:
        own = con.execute("SELECT technician_id FROM swap_case GROUP BY 1 ORDER BY count(*) DESC, 1").fetchone()[0]
        ids = {row[0] for row in con.execute("SELECT technician_id FROM technician").fetchall()}
    (home / "settings.toml").write_text(
        '[people."chief@company.example"]\nrole = "manager"\n[people."purse@company.example"]\nrole = "owner"\n'
        f'[people."tech@company.example"]\nrole = "technician"\ntechnician_id = "{own}"\n',
        "utf-8",
    )
    port = served_pages.free_port()
    with local_provider.provider() as provider:
        (home / "sign_in.toml").write_text(
            f'[auth]\nredirect_uri = "http://127.0.0.1:{port}/oauth2callback"\n'
            f'cookie_secret = "{secrets.token_hex(32)}"\nclient_id = "{local_provider.CLIENT_ID}"\n'
            f'client_secret = "{local_provider.CLIENT_SECRET}"\nserver_metadata_url = "{provider.metadata_url}"\n',
            "utf-8",
        )
        with served_pages.served(home, port) as address:
            yield address, provider, home, own, ids


@contextmanager
def signed_in(browser, shared: tuple, email: str) -> Iterator[tuple]:
    """A browser signed in as somebody, with everything the server sent it."""
    address, provider, _, _, ids = shared
    provider.email = email
    context = browser.new_context(viewport={"width": 1280, "height": 800}, accept_downloads=True)
    tab, received, hosts = context.new_page(), [], set()
    tab.on("request", lambda request: hosts.add(urlparse(request.url).hostname or ""))
    tab.on("websocket", lambda socket: socket.on("framereceived", lambda payload: received.append(payload)))
    try:
        tab.goto(f"{address}/coaching")
        served_pages.settled(tab)
        assert tab.locator("h1").all_inner_texts() == ["Sign in"]
        assert violations(tab) == []
        sent = as_text(received)
        assert not named(ids, sent) and "draft fault" not in sent
        tab.get_by_role("button", name="Sign in").click()
        tab.get_by_text(email).wait_for()
        served_pages.settled(tab)
        yield tab, received
        assert hosts - {""} == {"127.0.0.1"}
    finally:
        context.close()


def as_text(received: list) -> str:
    return " ".join(one if isinstance(one, str) else one.decode("utf-8", "ignore") for one in received)


def named(ids: set[str], text: str) -> set[str]:
    """Those of the ids that stand in the text as words of their own."""
    return {one for one in ids if re.search(rf"\b{one}\b", text)}


def titles(tab) -> list[str]:
    return tab.locator("h1:visible").all_inner_texts()


def pages_offered(tab) -> list[str]:
    return tab.locator('[data-testid="stTopNavLink"]').all_inner_texts()


def test_a_technician_gets_their_own_sheet_and_nothing_of_anybody_else(browser, shared: tuple) -> None:
    address, provider, _, own, ids = shared
    with signed_in(browser, shared, "tech@company.example") as (tab, received):
        assert {"/authorize", "/token", "/keys"} <= set(provider.asked)
        assert titles(tab) == ["Your sheet"]
        tab.get_by_text("what did the gauge say?").wait_for()
        for width in (390, 1280):
            show_whole(tab, width)
            assert violations(tab) == []
            assert not is_scrolling_sideways(tab)
        # Straight to the address of other roles' pages, and to one's own with somebody else's name on it.
        for place in (
            "coaching",
            "parts_waste",
            "this_week",
            "records",
            "method",
        ):
            tab.goto(f"{address}/{place}")
            served_pages.settled(tab)
            assert titles(tab) == ["Not open to you"], place
        tab.goto(f"{address}/?technician={min(ids - {own})}")
        served_pages.settled(tab)
        assert titles(tab) == ["Your sheet"]
        tab.get_by_text("All their swaps").click()
        tab.get_by_role("button", name="Export as CSV").wait_for()
        with tab.expect_download() as started:
            tab.get_by_role("button", name="Export as CSV").click()
        written = Path(started.value.path()).read_text("utf-8-sig")
        assert own in written
        # Everything that was sent to this browser, whether it was shown or not.
        sent = as_text(received) + written
        assert own in sent
        assert not named(ids - {own}, sent)


def test_the_owner_gets_no_page_about_people_and_no_names(browser, shared: tuple) -> None:
    address, _, _, _, ids = shared
    with signed_in(browser, shared, "purse@company.example") as (tab, received):
        assert titles(tab) == ["Parts waste"]
        assert {"Coaching", "Records", "Your sheet"}.isdisjoint(pages_offered(tab))
        tab.goto(f"{address}/coaching")
        served_pages.settled(tab)
        assert titles(tab) == ["Not open to you"]
        sent = as_text(received)
        assert "Parts waste" in sent and not named(ids, sent)


def test_who_is_taken_off_the_list_sees_nothing_at_the_next_click(browser, shared: tuple) -> None:
    address, _, home, *_ = shared
    file = home / "settings.toml"
    before = file.read_text("utf-8")
    with signed_in(browser, shared, "chief@company.example") as (tab, _):
        assert titles(tab) == ["This week"]
        try:
            file.write_text(before.replace("chief@", "next@"), "utf-8")
            tab.get_by_text("Callbacks, newest first").click()
            tab.get_by_text("This page is not open to you").wait_for()
            tab.goto(address)
            served_pages.settled(tab)
            assert titles(tab) == ["Not on the list"]
            tab.get_by_role("button", name="Sign out").click()
            tab.get_by_role("button", name="Sign in").wait_for()
        finally:
            file.write_text(before, "utf-8")
