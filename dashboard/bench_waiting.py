"""On the page Bench: the bench tests that no swap on record fits. They are kept, and count in no figure until one does."""

from __future__ import annotations

from typing import Any

import pandas as pd
import streamlit as st

from dashboard import bench_tests, own_entry, page, roles, store_access, visit_table, words
from pipelines.entry_checks import WITHOUT_SWAP, why_without_swap

SHOWN = 20
COLUMNS = {"tested_at": "Tested on", "removed_tag": "Tag", "visit_id": "Visit", "why": "Why it does not count yet"}


def show() -> None:
    """The section; nothing where every test fits a swap."""
    found = waiting()
    if found.empty:
        return
    n = len(found)
    st.header("Tests without a swap")
    st.markdown(
        f"{words.plural(n, 'bench test')} {'fits' if n == 1 else 'fit'} no swap on record and "
        f"{'counts' if n == 1 else 'count'} in no figure yet. See that the tag is written as on the visit's part line, and that "
        "the visit is loaded. A test of a wrong tag entered here is taken back on the page Corrections."
    )
    lines = [tuple(line) for line in found.head(SHOWN).itertuples(index=False)]
    page.rows([(title, "text") for title in COLUMNS.values()], lines, "", is_exported=n <= SHOWN)
    if n > SHOWN:
        whole = found.set_axis(list(COLUMNS.values()), axis="columns")
        page.lazily(
            f"All {words.count(n)}", "tests_without_swap", lambda: visit_table.plain_table(whole, "waiting_tests")
        )


def waiting() -> pd.DataFrame:
    """COLUMNS of the tests that fit no swap, the newest first: those on record, and those entered and not taken in yet."""
    roles.require_page("bench")
    own = own_entry.own().entries("bench_test")
    taken_back = {kept.entry.entry_id for kept in own if not kept.is_in_force}
    on_record = store_access.frame(WITHOUT_SWAP.read_text("utf-8"))
    rows = [row for row in on_record.to_dict("records") if row["bench_test_id"] not in taken_back]
    taken_in = bench_tests.taken_in()
    new = [kept.entry.content["stored"] for kept in own if kept.is_in_force and kept.entry.entry_id not in taken_in]
    why = why_without_swap(store_access.reader(), new)
    rows += [{**stored, "why": why[stored["bench_test_id"]]} for stored in new if stored["bench_test_id"] in why]
    lines = sorted(
        (_line(row) for row in rows), key=lambda line: (line["tested_at"], line["removed_tag"]), reverse=True
    )
    for line in lines:
        line["tested_at"] = words.with_dates(line["tested_at"])
    return pd.DataFrame(lines, columns=list(COLUMNS))


def _line(row: dict[str, Any]) -> dict[str, str]:
    """The columns as text, the day as an ISO date so that it can be sorted by."""
    told = {column: "" if words.is_missing(row[column]) else str(row[column]) for column in COLUMNS}
    return told | {"tested_at": told["tested_at"][:10]}
