"""What is missing: which field to ask technicians for first, which figures it weakens, and by how much."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard import (
    chart_drill,
    download,
    empty_scope,
    exchange,
    figure_card,
    figures_access,
    marks,
    missing_parts,
    notices,
    page,
    roles,
    scope_bar,
    visit_table,
    words,
)
from dashboard.charts.missing import missing_fields
from models.figures.missing import Missing
from models.figures.scope import Scope

COLUMNS = (("Figure it weakens", "text"), ("Range now", "number"), ("If filled", "number"), ("The range", "text"))
METHOD = (
    "Range: from the low to the high end of a figure's 95% range. If filled: how wide it would be if the records without "
    "the field were like those with it, worked out by the figure's own method with that many more cases; what is taken for "
    "granted stands in the list of predictions. Chance alone is counted: where the records without the field differ from the "
    "others, filling it moves the figure as well. Fields come in the order of the range they would narrow most; one without "
    "which a figure cannot be given at all comes first."
)
TERMS = ("Range", "If filled", "Coverage", "Adjusted rate", "Estimated waste", "Root cause recorded", "Callback")


def show() -> None:
    roles.guard("missing")
    st.title("What is missing")
    if not page.has_records():
        return
    scope = scope_bar.scope()
    found = figures_access.missing(scope)
    page.answer(missing_parts.answer(found, _currency()))
    exchange.show()
    st.caption(figure_card.corrected())
    download.pack("closeout", scope)
    facts = figures_access.coverage(scope)
    if not facts["n_swaps"] and facts["n_visits"]:
        st.markdown(words.plain(notices.why_no_swap(facts)))
    if not facts["n_swaps"]:
        empty_scope.show()
    if not found.fields["n_cases"].any():
        # The checklist asks for the same whatever the filters, and leads to work.
        notices.safety()
        page.how_computed(METHOD, TERMS)
        return
    fields = found.fields.assign(
        title=[missing_parts.FIELDS[name].title for name in found.fields["field"]],
        share=found.fields["n_missing"] / found.fields["n_cases"].where(found.fields["n_cases"] > 0),
    )
    chart_drill.draw(
        missing_fields(fields, page.colours()),
        "No draft fault is on record, so there is no picture.",
        "missing",
        "Visits without a field",
        marks.missing(fields, scope),
    )
    for _, row in fields.iterrows():
        _field(row, found, scope)
    notices.safety()
    page.next_steps(
        (
            "Print the close-out checklist above and hand it out; it asks for the same things in the same order.",
            "Talk about the first field only. Look again when a month of visits has come in.",
            "The field may be on paper: open the visits where it is missing, and have it put into the records they came from.",
        )
    )
    page.lazily("What each prediction takes for granted", "predictions", lambda: _told(found))
    page.how_computed(METHOD, TERMS)


def _field(row: pd.Series, found: Missing, scope: Scope) -> None:
    name, words_of = row["field"], missing_parts.FIELDS[row["field"]]
    st.header(words_of.title)
    told = missing_parts.lacking(row)
    halves = missing_parts.reading_lacks(found) if name == "reading" else ""
    st.markdown(words.plain(f"{told[:1].upper()}{told[1:]}. {halves}".strip()))
    mine = found.figures[found.figures["field"] == name]
    page.rows(COLUMNS, missing_parts.figure_lines(mine, _currency()), "")
    why = missing_parts.why(mine)
    if why:
        st.caption(words.plain(why))
    st.markdown(f"**Ask:** {words.plain(words_of.ask)}")
    if row["n_missing"] and st.button(
        "Show the visits where it is missing", key=f"behind_lacks_{name}", type="tertiary", icon=":material/list:"
    ):
        visit_table.open_dialog(
            f"Without: {words_of.title.lower()}", f"lacks_{name}", figures_access.behind(scope, f"lacks_{name}")
        )


def _currency() -> str | None:
    """The currency amounts are in; None for readers whom the company's money is not for."""
    return exchange.currency() if roles.may_see("waste") else None


def _told(found: Missing) -> None:
    lines = [
        (missing_parts.FIELDS[row.field].title, missing_parts.FIGURES[row.figure], row.told)
        for row in found.figures.itertuples()
    ]
    page.rows((("Field", "text"), ("Figure", "text"), ("Taken for granted, or why it is not known", "text")), lines, "")


if __name__ == "__main__":
    show()
