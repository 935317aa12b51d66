"""The pages: which there are, for whom, and how they are reached. Each page stands in views/."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import streamlit as st

from dashboard import own_entry, page, roles, scope_bar, sign_in, stoppable, store_access, theme, visit_link, words
from pipelines.errors import GoodpullError

PICTURES = Path(__file__).with_name("pictures")

PAGES = (
    ("this_week", "This week"),
    ("own_sheet", "Your sheet"),
    ("coaching", "Coaching"),
    ("parts_waste", "Parts waste"),
    ("seasons", "Seasons"),
    ("sites", "Sites"),
    ("bench", "Bench"),
    ("records", "Records"),
    ("missing", "What is missing"),
    ("corrections", "Corrections"),
    ("method", "Method"),
)
UNUSABLE_SETTINGS = "The settings cannot be used, so nothing is shown. Whoever started the pages sees the reason there."
# What the page at the root is called within; nobody sees it.
FIRST = "first"
# Pages about the records and the method as a whole are not narrowed.
UNSCOPED = ("bench", "records", "corrections", "method")


def main() -> None:
    st.set_page_config(page_title="Goodpull", page_icon=str(PICTURES / "mark.svg"), layout="wide")
    st.logo(str(PICTURES / "mark.svg"), size="medium")
    st.html(theme.page_style(page.colours()))
    try:
        reader = roles.person()
    except GoodpullError as error:
        # It may name people, so it is told where the program was started, not to whoever asks; see page.UNUSABLE.
        page.log.error("%s", error)
        _only(_unusable, "Not open")
        return
    try:
        store_access.settings()
    except GoodpullError as error:
        page.log.error("%s", error)
        # It names a file of this machine: told on the page only where nobody else can reach it.
        why = UNUSABLE_SETTINGS if sign_in.is_required() else words.plain(error)

        def unusable_settings() -> None:
            st.title("Not open")
            st.error(why)

        _only(unusable_settings, "Not open")
        return
    if reader is None:
        _only(roles.refuse_page if sign_in.email() else sign_in.show, "Sign in")
        return
    first = roles.first_page(reader.role)
    pages = [_offered(name, title, name == first) for name, title in PAGES if roles.may_open(name)]
    # The first page stands at the root. Who was sent its address by somebody with another first page gets it there too.
    pages.append(st.Page(f"views/{first}.py", title=dict(PAGES)[first], url_path=first, visibility="hidden"))
    # Addresses of other roles' pages lead to a sentence; the pages themselves are not there to be run.
    pages += [_in_place_of(name, roles.closed_page) for name, _ in PAGES if not roles.may_open(name)]
    chosen = st.navigation(pages, position="top")
    stoppable.say()
    if not own_entry.is_up_to_date():
        return
    scope_bar.show(is_narrowing=chosen.url_path not in UNSCOPED)
    own_entry.waiting()
    # On a page that is not the reader's nothing is shown.
    is_theirs = roles.may_open(chosen.url_path or roles.first_page(reader.role))
    page.run(chosen, visit_link.show if is_theirs else lambda: None)
    if is_theirs:
        visit_link.settle()
    sign_in.who(reader.role)


def _offered(name: str, title: str, is_first: bool) -> Any:
    """A page in the reader's menu. Two pages may not share an address, so the first one's own is left to its twin."""
    return st.Page(f"views/{name}.py", title=title, url_path=FIRST if is_first else name, default=is_first)


def _only(content: Callable[[], None], title: str) -> None:
    """One page and no other: whatever address was asked for, there is nothing else to run."""
    pages = [st.Page(content, title=title, default=True), *(_in_place_of(name, content) for name, _ in PAGES)]
    st.navigation(pages, position="hidden").run()


def _in_place_of(name: str, content: Callable[[], None]) -> Any:
    """What stands at the address of a page that is not to be run; in no menu."""
    return st.Page(content, title="Goodpull", url_path=name, visibility="hidden")


def _unusable() -> None:
    st.title("Not open")
    st.error(page.UNUSABLE)


main()
