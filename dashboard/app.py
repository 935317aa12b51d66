"""The pages: which there are and how they are reached. Each page stands in views/."""

from __future__ import annotations

from pathlib import Path

import streamlit as st

from dashboard import own_entry, page, scope_bar, theme

PICTURES = Path(__file__).with_name("pictures")

PAGES = (
    ("this_week", "This week"),
    ("coaching", "Coaching"),
    ("parts_waste", "Parts waste"),
    ("seasons", "Seasons"),
    ("sites", "Sites"),
    ("bench", "Bench"),
    ("records", "Records"),
    ("corrections", "Corrections"),
    ("method", "Method"),
)
# Pages about the records and the method as a whole are not narrowed.
UNSCOPED = ("bench", "records", "corrections", "method")


def main() -> None:
    st.set_page_config(page_title="Goodpull", page_icon=str(PICTURES / "mark.svg"), layout="wide")
    st.logo(str(PICTURES / "mark.svg"), size="medium")
    st.html(theme.page_style(page.colours()))
    pages = {
        name: st.Page(f"views/{name}.py", title=title, url_path=name, default=name == "this_week")
        for name, title in PAGES
    }
    chosen = st.navigation(list(pages.values()), position="top")
    if not own_entry.is_up_to_date():
        return
    scope_bar.show(is_narrowing=chosen.url_path not in UNSCOPED)
    own_entry.waiting()
    page.run(chosen)


main()
