"""The pages served with a sign-in, over a home that is there, with people of its own and a provider on loopback."""

from __future__ import annotations

import secrets
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import local_provider
import served_pages

from pipelines.store import Store

TECHNICIAN = "tech@company.example"
# A home's own are not touched: they say who may see it.
LISTS = ("settings.toml", "sign_in.toml")
_BUSIEST = "SELECT technician_id FROM draft_fault GROUP BY 1 ORDER BY count(*) DESC, 1 LIMIT 1"


def entry(email: str, role: str, technician_id: str | None = None) -> str:
    """A person as the settings file lists them."""
    own = f'technician_id = "{technician_id}"\n' if technician_id else ""
    return f'[people."{email}"]\nrole = "{role}"\n{own}'


def write_sign_in(home: Path, port: int, provider: local_provider.Provider) -> None:
    """The file that turns sign-in on, for pages at this port."""
    (home / "sign_in.toml").write_text(
        f'[auth]\nredirect_uri = "http://127.0.0.1:{port}/oauth2callback"\n'
        f'cookie_secret = "{secrets.token_hex(32)}"\nclient_id = "{local_provider.CLIENT_ID}"\n'
        f'client_secret = "{local_provider.CLIENT_SECRET}"\nserver_metadata_url = "{provider.metadata_url}"\n',
        "utf-8",
    )


@contextmanager
def linked(home: Path, people: str) -> Iterator[Path]:
    """Another folder with the same records, by links, and these people added to its list. people: see entry."""
    with tempfile.TemporaryDirectory(prefix="goodpull-") as folder:
        other, settings = Path(folder), home / "settings.toml"
        for one in home.iterdir():
            if one.name not in LISTS:
                (other / one.name).symlink_to(one.resolve(), one.is_dir())
        before = settings.read_text("utf-8-sig") if settings.exists() else ""
        (other / "settings.toml").write_text(f"{before}\n{people}", "utf-8")
        yield other


@contextmanager
def shared(home: Path, people: str) -> Iterator[tuple[Path, int, local_provider.Provider]]:
    """A folder over the home with sign-in turned on, the port to serve it at, and the provider that vouches."""
    with linked(home, people) as other, local_provider.provider() as provider:
        port = served_pages.free_port()
        write_sign_in(other, port, provider)
        yield other, port, provider


@contextmanager
def for_technician(home: Path) -> Iterator[tuple[Path, int, local_provider.Provider]]:
    """The same for one technician: the one with the most draft faults, whose sheet takes the longest."""
    with shared(home, entry(TECHNICIAN, "technician", busiest(home))) as found:
        yield found


def busiest(home: Path) -> str:
    """The technician with the most draft faults; any id where no record names one."""
    if Store(home).current() is None:
        return "T1"
    # Opened as the pages do: one process may not open a file in two ways.
    with Store(home).open_reader() as con:
        found = con.execute(_BUSIEST).fetchone()
    return found[0] if found else "T1"


def sign_in(tab: Any, address: str, provider: local_provider.Provider, email: str) -> None:
    """From the page at this address to the reader's own first page, at rest."""
    provider.email = email
    tab.goto(address)
    served_pages.settled(tab)
    tab.get_by_role("button", name="Sign in").click()
    tab.get_by_text(email).wait_for()
    served_pages.settled(tab)


def state_of(browser: Any, address: str, provider: local_provider.Provider, email: str = TECHNICIAN) -> Any:
    """What a fresh browser context needs to be signed in as this person: its storage_state."""
    context = browser.new_context()
    try:
        sign_in(context.new_page(), address, provider, email)
        return context.storage_state()
    finally:
        context.close()
