"""Sign-in through the company's own OpenID Connect provider, as the page server supports it.

It is off by default, and then the pages listen on this machine only. A file sign_in.toml in the home turns it on; its
[auth] section is handed to the page server. Whatever is unclear counts as "sign-in needed": an address beyond this
machine, a flag set at the start, a file that is there but cannot be used.
"""

from __future__ import annotations

import importlib.util
import ipaddress
import os
import tomllib
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlparse

import streamlit as st

from dashboard import store_access, words
from pipelines.errors import GoodpullError

FILE_NAME = "sign_in.toml"
# Set by the command that starts the server, so that a file taken away later does not open the pages.
FLAG = "GOODPULL_SIGN_IN"
NEEDED = ("redirect_uri", "cookie_secret", "client_id", "client_secret", "server_metadata_url")
SHORTEST_SECRET = 32
CALLBACK = "/oauth2callback"


class SignInError(GoodpullError):
    """Sign-in is not set up, or not so that it can be used."""


@dataclass(frozen=True)
class SignIn:
    """What the server needs to know of a usable sign-in: its file, and the host people reach the pages at."""

    path: Path
    host: str


def is_loopback(host: str | None) -> bool:
    """Whether an address is this machine's own; no address means every one, so it is not."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address((host or "").strip("[]")).is_loopback
    except ValueError:
        return False


def is_required() -> bool:
    """Whether a reader must be signed in."""
    return (
        os.environ.get(FLAG) == "on"
        or not is_loopback(st.get_option("server.address"))
        or (store_access.home() / FILE_NAME).exists()
    )


def email() -> str | None:
    """The e-mail address the provider vouches for, in small letters; None when nobody is signed in."""
    user = st.user.to_dict()
    address = user.get("email")
    # Providers say "false" for an address that anybody could have typed in; some say nothing.
    if not user.get("is_logged_in") or user.get("email_verified", True) is not True or not isinstance(address, str):
        return None
    return address.strip().lower() or None


def load(home: Path) -> SignIn | None:
    """The sign-in of a home, checked; None where there is no file.

    Raises SignInError naming the file, the entry, and what is allowed.
    """
    path = Path(home) / FILE_NAME
    try:
        given = tomllib.loads(path.read_text("utf-8-sig"))
    except FileNotFoundError:
        return None
    except (OSError, ValueError) as error:
        raise SignInError(f"{path}: cannot be read ({error}). Write it as TOML, in UTF-8.") from error
    auth = given.get("auth")
    missing = [
        name for name in NEEDED if not (isinstance(auth, dict) and isinstance(auth.get(name), str) and auth[name])
    ]
    if missing:
        raise SignInError(
            f"{path}: under [auth] there is no {words.joined(missing)}; sign-in needs all of {', '.join(NEEDED)}."
        )
    assert isinstance(auth, dict)
    if len(auth["cookie_secret"]) < SHORTEST_SECRET:
        raise SignInError(
            f"{path}: cookie_secret has {len(auth['cookie_secret'])} characters; must be {SHORTEST_SECRET} or more, drawn "
            'at random, such as by: python -c "import secrets; print(secrets.token_hex(32))"'
        )
    for name in ("redirect_uri", "server_metadata_url"):
        parts = urlparse(auth[name])
        if not parts.hostname or not (
            parts.scheme == "https" or (parts.scheme == "http" and is_loopback(parts.hostname))
        ):
            raise SignInError(
                f"{path}: {name} is {auth[name]!r}; must be an https address (http on this machine only)."
            )
    if not auth["redirect_uri"].endswith(CALLBACK):
        raise SignInError(f"{path}: redirect_uri is {auth['redirect_uri']!r}; must end in {CALLBACK}.")
    if importlib.util.find_spec("authlib") is None or importlib.util.find_spec("httpx") is None:
        raise SignInError('Sign-in needs two more packages. Install them with: pip install -e ".[shared]"')
    return SignIn(path, str(urlparse(auth["redirect_uri"]).hostname))


def require_for(address: str, home: Path) -> SignIn | None:
    """The sign-in to start with at this address, or None where none is set up and none is needed.

    Raises SignInError where the address lies beyond this machine and no sign-in is set up, or no manager is named.
    """
    from dashboard import roles

    found = load(home)
    if found is None:
        if not is_loopback(address):
            raise SignInError(
                f"At {address} other machines could open the pages, and no sign-in is set up: {home / FILE_NAME} is not "
                "there. Set it up as the README says under Several people, or leave out --address to stay on this machine."
            )
        return None
    if not any(one.role == "manager" for one in roles.people(home).values()):
        raise SignInError(
            f"{found.path} turns sign-in on, but nobody is named as manager, so nobody could load records. Write into "
            f'{home / "settings.toml"}: [people."you@company.example"], and below it role = "manager".'
        )
    return found


def show() -> None:
    """The page of a reader who is not signed in."""
    st.title("Sign in")
    try:
        if load(store_access.home()) is None:
            raise SignInError("Sign-in is needed here but not set up. Start the pages again with: goodpull open")
    except SignInError as error:
        # What is wrong with the file is for whoever started the server; a stranger need not read it.
        store_access.log.error("%s", error)
        st.error("Sign-in is not set up rightly, so nothing is shown. Whoever started the pages sees the reason there.")
        return
    st.markdown(
        "These are a company's service records. Sign in with your company account to see the part that is yours."
    )
    if st.button("Sign in", key="sign_in", type="primary"):
        st.login()


def who(role: str) -> None:
    """Who is signed in, and the way out; nothing without sign-in."""
    if not is_required():
        return
    st.caption(words.plain(f"{email() or 'Signed in'}{f' ({role})' if role else ''}"), width="content")
    if st.button("Sign out", key="sign_out", type="tertiary"):
        st.logout()
