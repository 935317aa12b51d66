"""Records: load files, see what was accepted and what was held back and why, and what is missing."""

from __future__ import annotations

import streamlit as st

from dashboard import (
    bench_draw,
    download,
    held_back_mending,
    identity_page,
    long_list,
    mapping_page,
    notices,
    page,
    record_loading,
    record_lookups,
    roles,
    scope_bar,
    store_access,
    visit_table,
    words,
)
from dashboard.figures_access import coverage

METHOD = (
    "Every row of a file is accepted, held back with a reason, or an exact duplicate of a row already on "
    "record; the three add "
    "up to the rows read. A revised row replaces the older one, which is kept as history. Loading a file twice "
    "changes nothing."
)
MISSING = (
    ("n_with_tag", "swaps with a tag on the removed switch", "a bench test cannot be tied to its swap"),
    ("n_with_reading", "swaps with a gauge reading of the draft", "no field evidence for or against the switch"),
    ("n_with_cause", "swaps with a root cause", "callbacks cannot be told apart by what was found"),
    ("n_tested", "swaps with the removed switch tested", "the good-switch rate is wide, and waste only estimated"),
    ("n_clear", "swaps with a clear bench result", "an inconclusive test counts in no rate"),
)
# What became of a row once held back.
SETTLED_WORDS = {
    "mended": "mended",
    "dismissed": "dismissed",
    "replaced": "replaced by a later version that was accepted",
}


def show() -> None:
    roles.guard("records")
    st.title("Records")
    has_store = store_access.generation() is not None
    page.answer(
        _answer()
        if has_store
        else "No records yet. Load your visit records below; only visits and part lines are needed."
    )
    record_loading.show()
    mapping_page.show()
    if not has_store:
        return
    _ledger()
    _held_back()
    identity_page.show()
    _left_out()
    _missing()
    bench_draw.show(can_keep=False)
    _health()
    page.next_steps(
        (
            "Mend held-back rows here, or where they come from and load the file again: rows on record change nothing.",
            "Ask for what is missing: the page What is missing says which field brings most.",
        )
    )
    page.how_computed(METHOD, ("Swap", "Coverage", "Root cause recorded"))


def _answer() -> str:
    totals = record_lookups.totals()
    if not totals.get("n_rows"):
        return "The store is empty: no file has been loaded."
    held = totals["n_held_back"]
    start = (
        f"{words.plural(totals['n_rows'], 'row')} read from {words.plural(totals['n_files'], 'file')}: "
        f"{words.count(totals['n_accepted'])} accepted"
    )
    open_rows = record_lookups.n_held_back_open()
    state = (
        ""
        if open_rows == held
        else f" {words.count(open_rows)} of those held back are neither mended, dismissed nor replaced by a later version."
    )
    return f"{start}, {words.count(held)} held back, {words.plural(totals['n_duplicates'], 'exact duplicate')}.{state}"


def _ledger() -> None:
    st.header("What was loaded")
    frame = record_lookups.ledger()
    adds_up = (frame["accepted"] + frame["held back"] + frame["duplicates"]).eq(frame["rows"])
    if not adds_up.all():
        st.warning(
            f"{words.plural(int((~adds_up).sum()), 'load')} does not add up: accepted, held back and duplicates "
            f"are not the rows read."
        )
    columns = [
        ("Loaded", "text"),
        ("File", "text"),
        ("Table", "text"),
        ("Rows", "number"),
        ("Accepted", "number"),
        ("of them revised", "number"),
        ("Held back", "number"),
        ("Duplicates", "number"),
        ("Adds up", "text"),
        ("Read by the mapping", "text"),
    ]
    lines = [
        (
            words.date(line["loaded"]),
            line["file"],
            line["table"],
            *(words.count(line[name]) for name in ("rows", "accepted", "revised", "held back", "duplicates")),
            "yes" if ok else "no",
            line["mapping"],
        )
        for line, ok in zip(frame.head(15).to_dict("records"), adds_up, strict=False)
    ]
    page.rows(columns, lines, "No file has been loaded.", caption="Rows = accepted + held back + exact duplicates.")
    if len(frame) > len(lines):
        page.lazily(
            f"All {words.count(len(frame))} loads", "all_loads", lambda: visit_table.plain_table(frame, "loads")
        )
    if roles.may_load() and frame["mapping"].ne("").any():
        with st.expander("The mappings these loads were read by", key="mappings_of_loads"):
            _mappings()


def _mappings() -> None:
    """Each version that made a load, to be taken away as it was."""
    made = record_lookups.mappings_of_loads()
    if not made:
        st.markdown("No copy of them is kept in this home.")
        return
    chosen = st.selectbox(
        "Mapping and version", made, format_func=lambda one: one.shown, key="mapping_of_load", width=560
    )
    st.download_button(
        "Download this mapping (TOML)",
        download.later(lambda: record_lookups.mapping_text(chosen.digest)),
        chosen.path.name,
        "application/toml",
        key="mapping_of_load_save",
        on_click="ignore",
        type="tertiary",
        icon=download.ICON,
    )


def _held_back() -> None:
    st.header("Held back")
    reasons = record_lookups.held_back_reasons()
    lines = [
        (line.table_name, line.column_name, what_must_be(line.reason), words.count(line.n_rows), line.example)
        for line in reasons.itertuples()
    ]
    columns = (("Table", "text"), ("Column", "text"), ("Reason", "text"), ("Rows", "number"), ("For example", "text"))
    long_list.show(columns, lines, "held_back_reasons", "No row is held back.", "the most frequent first")
    if not reasons.empty:
        page.lazily(
            "The rows, with the cells that were refused",
            "held_back_rows",
            _refused_cells,
        )
        held_back_mending.show(reasons)
    settled = record_lookups.held_back_settled()
    if settled:
        said = (f"{words.count(n)} {SETTLED_WORDS[outcome]}" for outcome, n in settled.items())
        st.caption(f"Of the rows once held back, {words.joined(list(said))}. They are kept as they were delivered.")


def _refused_cells() -> None:
    visit_table.plain_table(
        record_lookups.held_back_rows(record_lookups.ROWS_LISTED),
        "held_back",
        whole=record_lookups.held_back_rows,
        n=record_lookups.n_held_back_cells(),
    )


def what_must_be(reason: str) -> str:
    """The part of a reason that holds for every row: without the file, the line, the cell and what happens next."""
    told = reason.split(". Row held back")[0]
    return told.split("; ", 1)[1] if "; " in told else told.split(": ", 1)[-1]


def _left_out() -> None:
    st.header("Columns left out")
    dropped, unknown = record_lookups.columns_left_out()
    if dropped:
        st.markdown("**Personal data, dropped on load:** " + words.plain(", ".join(dropped)))
    else:
        st.markdown("No column with personal data was met.")
    if unknown:
        st.markdown("**Not in the contract, not read:** " + words.plain(", ".join(unknown)))


def _missing() -> None:
    st.header("What is missing, and what that costs")
    facts = coverage(scope_bar.Scope())
    n = facts["n_swaps"]
    n_faults, n_unproven = facts["n_draft_faults"], facts["n_appliance_unproven"]
    parts = (
        "part lines whose kind of part is known",
        facts["n_part_lines_classed"],
        facts["n_part_lines"],
        "a swap cannot be told from any other part: fill part_class, or load the table parts",
    )
    appliances = (
        "draft faults with the appliance proven",
        n_faults - n_unproven,
        n_faults,
        "callbacks become 'possible' only",
    )
    complete = (
        "swaps whose job counts as complete",
        n - facts["n_swaps_never_complete"],
        n,
        "no callback is counted after them: nothing says from when to watch",
    )
    counted = [parts, *((title, facts[name], n, cost) for name, title, cost in MISSING), complete, appliances]
    lines = [
        (title, f"{words.count(part)} of {words.count(whole)}", words.share(part / whole), cost)
        for title, part, whole, cost in counted
        if whole
    ]
    columns = (("On record", "text"), ("Number", "number"), ("Share", "number"), ("Without it", "text"))
    page.rows(columns, lines, "No draft fault and no part line is on record yet.")
    if not n:
        st.markdown(words.plain(notices.why_no_swap(facts)))
    if roles.may_open("missing"):
        st.page_link("views/missing.py", label="Which ranges would shrink, and what to ask for first: What is missing")
    empty = record_lookups.empty_tables()
    if empty:
        st.markdown("**Tables without a row:** " + words.plain(", ".join(empty)) + ". None of them is required.")


def _health() -> None:
    st.header("Health checks")
    # They read every record, so they are run when asked for, and kept for this state of the records.
    page.lazily("Run the checks over all records", "health", _findings)


def _findings() -> None:
    lines = [
        (finding.about, "error" if finding.severity == "error" else "notice", words.count(finding.n_rows))
        for finding in record_lookups.health()
    ]
    columns = (("What was found", "text"), ("Kind", "text"), ("Rows", "number"))
    page.rows(columns, lines, "Nothing was found that could make a figure wrong.")
    if lines:
        st.caption("An error means that a figure would be wrong; a notice, that less can be said.")


if __name__ == "__main__":
    show()
