"""Who may see what: the roles, the pages of each, and who the reader is, looked up on the server at every run.

Without sign-in the pages listen on this machine only and the reader is taken for the service manager. With sign-in the
e-mail address the provider vouches for is looked up under [people] in settings.toml; who is not there sees nothing.
Taking somebody out of the file holds at their next click, however long their sign-in lasts.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Any, TypeVar

import streamlit as st

from dashboard import same_person, sign_in, store_access
from pipelines.errors import GoodpullError
from pipelines.settings_file import FILE_NAME

EVERYONE = ("seasons", "sites", "method")
# The first page of a role is the one it opens on. A page that stands nowhere here is the manager's alone.
PAGES_OF: dict[str, tuple[str, ...]] = {
    "manager": (),
    "trainer": ("coaching", *EVERYONE, "bench", "records", "missing", "corrections"),
    "owner": ("parts_waste", "this_week", *EVERYONE),
    "technician": ("own_sheet",),
}
ROLES = tuple(PAGES_OF)
# Pages that are about the reader, so of no use to anybody without a technician's id.
OWN_PAGES = ("own_sheet",)
# The pages that each family of models.figures stands on: who may open one of them may have it.
PAGES_WITH = {
    "good_switch": ("this_week", "parts_waste"),
    "callbacks": ("this_week",),
    "control": ("this_week",),
    "safety_items": ("this_week",),
    "seasons": ("seasons",),
    "sites": ("sites",),
    "technicians": ("coaching", "own_sheet"),
    "coaching": ("coaching", "own_sheet"),
    "waste": ("parts_waste",),
    "bench_programme": ("parts_waste",),
    "missing": ("missing",),
    "coverage": ("this_week", "coaching", "parts_waste", "seasons", "sites", "missing"),
}
# Who may open the page may have its printed pack; a technician, besides, the one about themselves.
PACK_PAGES = {
    "week": "this_week", "coaching": "coaching", "warranty": "parts_waste", "season": "seasons", "closeout": "missing",
}  # fmt: skip
OWN_PACK = "coaching"
# In the session: the page being shown. What is redrawn or made without it asks again whether it may be.
SHOWN = "page_shown"


class NotAllowed(GoodpullError):
    """The reader may not see this."""


class PeopleError(GoodpullError):
    """The list of people in the settings file cannot be used."""


@dataclass(frozen=True)
class Person:
    """The reader: role, the technician they are (role technician only), and e-mail address (with sign-in only)."""

    role: str
    technician_id: str | None = None
    email: str | None = None


AT_THIS_MACHINE = Person("manager")
Result = TypeVar("Result")
# A file is made outside the run that drew its button, where nobody is signed in: for whom stands here meanwhile.
_made_for: ContextVar[str | None] = ContextVar("made_for", default=None)
# Set by a command: whoever may run it has the files themselves.
_has_files: ContextVar[bool] = ContextVar("has_files", default=False)


def person() -> Person | None:
    """The reader of this run; None when nobody is signed in, or they are not on the list of people.

    Raises PeopleError when the list cannot be used.
    """
    if _has_files.get() or not sign_in.is_required():
        return AT_THIS_MACHINE
    email = _made_for.get() or sign_in.email()
    found = people(store_access.home()).get(email) if email else None
    if found is None or found.technician_id is None:
        return found
    return replace(found, technician_id=same_person.kept_id(found.technician_id))


@contextmanager
def whoever_has_the_files() -> Iterator[None]:
    """For commands: nobody signs in there, and who can read the files of a home can read all of it anyhow."""
    token = _has_files.set(True)
    try:
        yield
    finally:
        _has_files.reset(token)


def as_reader(work: Callable[..., Result]) -> Callable[..., Result]:
    """The same work, done later for the reader of this run; for files made on a click, where nobody is signed in.

    They need the rights by then: still on the list, and the page that offered it still open to them. Else NotAllowed.
    """
    email, shown = require_somebody().email, st.session_state.get(SHOWN)

    def done_later(*arguments: Any) -> Result:
        token = _made_for.set(email)
        try:
            require_somebody()
            if shown is not None:
                guard(shown)
            return work(*arguments)
        finally:
            _made_for.reset(token)

    return done_later


def may_open(name: str) -> bool:
    """Whether the reader may open the page of this name."""
    reader = person()
    if reader is None:
        return False
    if reader.role == "manager":
        return name not in OWN_PAGES
    return name in PAGES_OF[reader.role]


def first_page(role: str) -> str:
    return PAGES_OF[role][0] if PAGES_OF[role] else "this_week"


def guard(name: str) -> None:
    """Stop here unless the reader may open this page; stands first on every page. Raises NotAllowed."""
    if not may_open(name):
        raise NotAllowed("This page is not open to you. Ask whoever keeps the list of people in settings.toml.")


def require_somebody() -> Person:
    """The reader, for whoever hands out records or figures. Raises NotAllowed when there is none."""
    reader = person()
    if reader is None:
        raise NotAllowed("You are not signed in, or no longer on the list of people. Open the pages anew.")
    return reader


def require_page(*names: str) -> None:
    """Raises NotAllowed unless the reader may open one of these pages; for whatever hands out what stands on them."""
    require_somebody()
    if not any(map(may_open, names)):
        raise NotAllowed("This is not open to you. Ask whoever keeps the list of people in settings.toml.")


def require_figures(name: str) -> None:
    """Raises NotAllowed where the reader may not have these figures. name: a key of PAGES_WITH."""
    require_page(*PAGES_WITH[name])


def may_see(name: str) -> bool:
    """Whether the reader may have the figures of this family; see require_figures."""
    require_somebody()
    return any(map(may_open, PAGES_WITH[name]))


def require_technician(technician_id: Any) -> None:
    """Raises NotAllowed where the reader is a technician and these records are not their own."""
    reader = require_somebody()
    if reader.role == "technician" and reader.technician_id != technician_id:
        raise NotAllowed("Only your own visits are open to you.")


def require_sheet(technician_id: Any) -> None:
    """Raises NotAllowed where the reader may not see the sheet of this technician (None = of everybody)."""
    require_technician(technician_id)
    require_page("coaching", "own_sheet")


def may_have_pack(kind: str, technician_id: str | None = None) -> bool:
    """Whether the reader may have this printed pack. kind: one of PACK_PAGES."""
    reader = require_somebody()
    is_own = reader.role == "technician" and kind == OWN_PACK and technician_id == reader.technician_id
    return is_own or may_open(PACK_PAGES[kind])


def require_pack(kind: str, technician_id: str | None = None) -> None:
    """Raises NotAllowed where the reader may not have this printed pack. kind: one of PACK_PAGES."""
    if not may_have_pack(kind, technician_id):
        raise NotAllowed("This printed pack is not open to you. Ask whoever keeps the list of people in settings.toml.")


def may_load() -> bool:
    """Whether the reader may put records in: it changes what everybody sees, and names files of the server."""
    reader = person()
    return reader is not None and reader.role == "manager"


def may_enter() -> bool:
    """Whether the reader may correct records, mend rows held back and enter bench tests."""
    reader = person()
    return reader is not None and reader.role in ("manager", "trainer")


def require_entry() -> None:
    """Raises NotAllowed where the reader may not enter anything."""
    if not may_enter():
        raise NotAllowed("Entering is open to the service manager and the trainer. Tell one of them what is wrong.")


def may_remark(technician_id: str) -> bool:
    """Whether the reader may read and add remarks on this sheet: the technician themselves, their trainer, the manager."""
    reader = person()
    if reader is None:
        return False
    return reader.technician_id == technician_id if reader.role == "technician" else may_open("coaching")


def require_remark(technician_id: str) -> Person:
    """The reader, where they may remark on this sheet. Raises NotAllowed."""
    if not may_remark(technician_id):
        raise NotAllowed("Remarks are open to the technician the sheet is about, the trainer and the service manager.")
    return require_somebody()


def names_hidden() -> bool:
    """Whether people always stand under code names for this reader: the owner looks at money, not at persons."""
    reader = person()
    return reader is not None and reader.role == "owner"


def people(home: Path) -> dict[str, Person]:
    """The people of a home by e-mail address in small letters. Raises PeopleError naming file, entry and what is allowed."""
    path = Path(home) / FILE_NAME
    try:
        return _people(path, path.stat().st_mtime_ns)
    except FileNotFoundError:
        return {}


@lru_cache(maxsize=4)
def _people(path: Path, changed_ns: int) -> dict[str, Person]:
    try:
        given = tomllib.loads(path.read_text("utf-8-sig")).get("people", {})
    except (OSError, ValueError) as error:
        raise PeopleError(f"{path}: cannot be read ({error}).") from error
    if not isinstance(given, dict):
        raise PeopleError(f'{path}: people must be entries such as [people."jo@company.example"] with a role.')
    found: dict[str, Person] = {}
    for email, entry in given.items():
        key = str(email).strip().lower()
        if key in found:
            raise PeopleError(f"{path}: {key} stands twice under people (capitals do not count). Take one out.")
        found[key] = _person(path, key, entry)
    return found


def _person(path: Path, email: str, entry: Any) -> Person:
    start = f"{path}: people, {email}:"
    if "@" not in email or not isinstance(entry, dict):
        raise PeopleError(f'{start} write [people."jo@company.example"], and below it role = "trainer".')
    strange = set(entry) - {"role", "technician_id"}
    if strange:
        raise PeopleError(
            f"{start} {', '.join(sorted(strange))} is not known here; allowed are role and technician_id."
        )
    role, technician_id = entry.get("role"), entry.get("technician_id")
    if role not in ROLES:
        raise PeopleError(f"{start} role is {role!r}; must be one of {', '.join(ROLES)}.")
    if role == "technician" and not (isinstance(technician_id, str) and technician_id.strip()):
        raise PeopleError(f'{start} a technician needs technician_id = "…", as in the visit records.')
    if role != "technician" and technician_id is not None:
        raise PeopleError(f"{start} technician_id belongs to role technician only; the role here is {role}.")
    return Person(role, technician_id.strip() if technician_id else None, email)


def closed_page() -> None:
    """What stands at the address of a page that is not open to the reader."""
    st.title("Not open to you")
    st.markdown("This page belongs to other people's work. Ask whoever keeps the list of people if you need it.")


def refuse_page() -> None:
    """What a reader sees who has signed in but is not on the list."""
    st.title("Not on the list")
    st.markdown(
        "You are signed in, but your address is not on the list of people who may see these pages. "
        "Ask the service manager to add it to settings.toml."
    )
    sign_in.who("")
