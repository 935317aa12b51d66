"""Sign-in against a provider on loopback: each role gets its pages, and nothing of another's reaches the browser."""

from __future__ import annotations

import re
import shutil
import struct
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import urlparse

import local_provider
import pytest
import served_pages
import signing_in
from looking import ERROR_BOX, charts_out_of_view, is_scrolling_sideways, open_list, show_whole, violations
from printed_packs import fetched, taken, value_on_card

from dashboard import words
from models.figures.sidecar import figures_for
from pipelines.settings import Settings
from pipelines.store import Store

pytestmark = pytest.mark.browser


PEOPLE = {role: f"{role}@company.example" for role in ("manager", "trainer", "owner", "technician")}
RATES = {"labour_cost_per_hour": 137.25, "trip_cost": 61.75}
CLOSED = "Not open to you"
# The first of each is the one that opens at the root of the address.
OPEN_TO = {
    "manager": served_pages.PAGES,
    "trainer": ("coaching", "seasons", "sites", "method", "bench", "records", "missing", "corrections"),
    "owner": ("parts_waste", "this_week", "seasons", "sites", "method"),
    "technician": ("own_sheet",),
}


@dataclass(frozen=True)
class Shared:
    """Pages with sign-in. own: the technician with the most draft faults. ids, names: of all technicians. money: what
    swaps of good switches cost the company, the sums in every form they could travel in, and the rates they rest on."""

    address: str
    provider: local_provider.Provider
    home: Path
    own: str
    names: dict[str, str]
    money: tuple[bytes, ...]

    def others(self) -> set[str]:
        """Ids and names of everybody but the technician who may sign in."""
        return {word for one, name in self.names.items() if one != self.own for word in (one, name)}


@pytest.fixture(scope="module")
def shared(fleet_home: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shared]:
    home, port = tmp_path_factory.mktemp("shared") / "home", served_pages.free_port()
    shutil.copytree(fleet_home, home)
    own = signing_in.busiest(home)
    rates = "".join(f"{name} = {rate}\n" for name, rate in RATES.items())
    listed = "".join(signing_in.entry(PEOPLE[role], role) for role in ("manager", "trainer", "owner"))
    (home / "settings.toml").write_text(
        rates + listed + signing_in.entry(PEOPLE["technician"], "technician", own), "utf-8"
    )
    with Store(home).open_reader() as con:
        names = dict(con.execute("SELECT technician_id, technician_name FROM technician").fetchall())
    with local_provider.provider() as provider:
        signing_in.write_sign_in(home, port, provider)
        with served_pages.served(home, port) as address:
            yield Shared(address, provider, home, own, names, money_of(home))


def money_of(home: Path) -> tuple[bytes, ...]:
    """The company's amounts as text and as the numbers of a table."""
    settings = Settings.load(home)
    waste = figures_for(Store(home), settings).waste
    sums = [waste.known.value, waste.estimated.value, *waste.by_branch["known"], *waste.by_branch["estimated"]]
    # A small amount may stand anywhere as another number.
    large = [float(one) for one in sums if one is not None and one > 1_000]
    assert len(large) >= 4
    shown = [words.money(one, settings.currency).encode() for one in large]
    raw = [struct.pack("<d", number) for one in large for number in (one, float(round(one)))]
    return (*shown, *raw, *(f"{rate:.2f}".encode() for rate in RATES.values()))


@dataclass
class Received:
    """Everything the server sent to one browser: the frames of its sockets, and what else it asked for."""

    frames: list[bytes] = field(default_factory=list)
    answers: list[Any] = field(default_factory=list)

    def bytes(self) -> bytes:
        """All of it so far; to be asked before another page is loaded, since a browser then drops the bodies."""
        for answer in self.answers:
            # Of a redirect there is no body.
            if answer.status < 300 and "/static/" not in answer.url:
                answer.finished()
                self.frames.append(answer.body())
        self.answers.clear()
        return b" ".join(self.frames)

    def text(self) -> str:
        return self.bytes().decode("utf-8", "ignore")


@contextmanager
def signed_in(browser, shared: Shared, email: str, theme: str = "light") -> Iterator[tuple[Any, Received]]:
    """A browser signed in as somebody, with everything the server sent it."""
    context = browser.new_context(viewport={"width": 1280, "height": 800}, accept_downloads=True, color_scheme=theme)
    tab, received, hosts = context.new_page(), Received(), set()
    shared.provider.email = email
    tab.on("request", lambda request: hosts.add(urlparse(request.url).hostname or ""))
    tab.on("response", lambda answer: received.answers.append(answer))
    tab.on("websocket", lambda socket: socket.on("framereceived", lambda sent: received.frames.append(in_bytes(sent))))
    try:
        tab.goto(f"{shared.address}/coaching")
        served_pages.settled(tab)
        assert tab.locator("h1").all_inner_texts() == ["Sign in"]
        assert violations(tab) == []
        sent = received.text()
        assert not named({*shared.names, *shared.names.values()}, sent) and "draft fault" not in sent
        tab.get_by_role("button", name="Sign in").click()
        tab.get_by_text(email).wait_for()
        served_pages.settled(tab)
        received.answers.clear()
        yield tab, received
        assert hosts - {""} == {"127.0.0.1"}
    finally:
        context.close()


def in_bytes(sent: str | bytes) -> bytes:
    return sent.encode() if isinstance(sent, str) else sent


def named(ids: Iterable[str], text: str) -> set[str]:
    """Those of the ids or names that stand in the text as words of their own."""
    return {one for one in ids if re.search(rf"\b{re.escape(one)}\b", text)}


def titles(tab) -> list[str]:
    return tab.locator("h1:visible").all_inner_texts()


def pages_offered(tab) -> list[str]:
    return tab.locator('[data-testid="stTopNavLink"]').all_inner_texts()


@pytest.mark.parametrize("role", OPEN_TO)
def test_the_address_of_every_page_opens_it_or_refuses_plainly(browser, shared: Shared, role: str) -> None:
    with signed_in(browser, shared, PEOPLE[role]) as (tab, received):
        for name, title in served_pages.TITLES.items():
            tab.goto(f"{shared.address}/{name}")
            served_pages.settled(tab)
            assert titles(tab) == [title if name in OPEN_TO[role] else CLOSED], name
            assert tab.locator(ERROR_BOX).count() == 0 and tab.get_by_role("dialog").count() == 0, name
            received.bytes()
        first = OPEN_TO[role][0]
        tab.goto(shared.address)
        served_pages.settled(tab)
        assert titles(tab) == [served_pages.TITLES[first]]
        offered = set(pages_offered(tab))
        assert offered == ({served_pages.TITLES[name] for name in OPEN_TO[role]} if len(OPEN_TO[role]) > 1 else set())
        sent = received.bytes()
    # Everything that was sent to this browser, whether it was shown or not.
    text = sent.decode("utf-8", "ignore")
    met = [one for one in shared.money if one in sent]
    everybody = {*shared.names, *shared.names.values()}
    if role in ("manager", "owner"):
        # Sums travel as text and as numbers, rates as text: the check would see each of them.
        assert {len(one) == 8 for one in met} == {True, False} and shared.money[-1] in met
    else:
        assert met == []
    if role == "technician":
        assert shared.own in text and not named(shared.others(), text)
    elif role == "owner":
        assert not named(everybody, text)
    else:
        assert named(shared.names.values(), text)


def test_a_technician_gets_their_own_sheet_and_nothing_of_anybody_else(browser, shared: Shared) -> None:
    with signed_in(browser, shared, PEOPLE["technician"]) as (tab, received):
        assert {"/authorize", "/token", "/keys"} <= set(shared.provider.asked)
        assert titles(tab) == ["Your sheet"]
        tab.get_by_text("what did the gauge say?").wait_for()
        # One's own address with somebody else's name on it.
        tab.goto(f"{shared.address}/?technician={min(set(shared.names) - {shared.own})}")
        served_pages.settled(tab)
        assert titles(tab) == ["Your sheet"]
        tab.get_by_text("All their swaps").click()
        tab.get_by_role("button", name="Export as CSV").wait_for()
        written = fetched(tab, tab.get_by_role("button", name="Export as CSV"))[1].decode("utf-8-sig")
        assert shared.own in written
        # On paper too: their own numbers, nobody else's name.
        value = value_on_card(tab, "Swaps per draft fault")
        pack = taken(tab, "coaching_")
        assert pack.all_say(value) and pack.all_say(shared.own)
        sent = received.text() + written + pack.whole
        assert not named(shared.others(), sent)


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_ones_own_sheet_has_no_serious_violation_at_any_width(browser, shared: Shared, theme: str) -> None:
    with signed_in(browser, shared, PEOPLE["technician"], theme) as (tab, _):
        tab.get_by_text("what did the gauge say?").wait_for()
        for width in (390, 1280, 1920):
            show_whole(tab, width)
            assert violations(tab) == [], width
            assert not is_scrolling_sideways(tab) and charts_out_of_view(tab) == [], width


def test_the_owner_prints_the_week_and_a_claim_without_any_name(browser, shared: Shared) -> None:
    with signed_in(browser, shared, PEOPLE["owner"]) as (tab, received):
        served_pages.settled(tab)
        open_list(tab, tab.get_by_role("combobox", name="Claim", exact=True))
        tab.keyboard.press("Enter")
        tab.get_by_role("button", name="PDF, A4", exact=True).wait_for()
        served_pages.settled(tab)
        claim = taken(tab, "warranty_")
        assert claim.all_say("Warranty claim")
        tab.get_by_role("link", name="This week", exact=True).first.click()
        tab.wait_for_url("**/this_week**")
        served_pages.settled(tab)
        value = value_on_card(tab, "Switches pulled that were good")
        week = taken(tab, "week_")
        assert set(week.n_pages.values()) == {2} and week.all_say(value)
        everybody = {*shared.names, *shared.names.values()}
        assert not named(everybody, received.text() + claim.whole + week.whole)


def test_who_is_taken_off_the_list_sees_nothing_at_the_next_click(browser, shared: Shared) -> None:
    file = shared.home / "settings.toml"
    before = file.read_text("utf-8")
    with signed_in(browser, shared, PEOPLE["manager"]) as (tab, _):
        assert titles(tab) == ["This week"]
        try:
            file.write_text(before.replace("manager@", "next@"), "utf-8")
            tab.get_by_text("Callbacks, newest first").click()
            tab.get_by_text("This page is not open to you").wait_for()
            tab.goto(shared.address)
            served_pages.settled(tab)
            assert titles(tab) == ["Not on the list"]
            tab.get_by_role("button", name="Sign out").click()
            tab.get_by_role("button", name="Sign in").wait_for()
        finally:
            file.write_text(before, "utf-8")
