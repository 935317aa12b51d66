"""On the page Bench: switches whose bench results disagree, each verdict with its day and who, and which one counts."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import streamlit as st

from dashboard import code_names, long_list, page, roles, store_access, visit_link, words
from pipelines.disputed_results import Said, disputed_results

KEY = "disputed_results"
SHOWN = 12
COLUMNS = tuple(
    (title, "text") for title in ("Tag", "Part", "Visit", "Technician", "Verdict", "On", "By", "Why", "Counts")
)
RULE = (
    "Of several tests of a switch the last one counts in the figures; a correction counts before any test. What was entered "
    "here stands in this list from the next load on. To settle one, read its visit below, where the result can be corrected; or "
    "test the switch again."
)
NONE_TESTED = "No bench test that fits a swap is on record, so no result can be disputed. Enter a test above, or load bench_tests."
NONE_DISPUTED = (
    "No bench result is disputed: no two tests of one switch differ in their verdict, and none was corrected against its "
    "readings. Where you doubt a result, test the switch again and enter it above; both tests are kept."
)
# In the place of a name that is a technician's, while they stand under code names.
NOT_SHOWN = "a technician's name, not shown"
_N_TESTED = "SELECT count(*) AS n FROM bench_result"


def show() -> None:
    """The section."""
    found = disputed()
    st.header("Disputed results")
    if not found:
        st.markdown(words.plain(_why_none()))
        return
    n = len({one.swap_id for one in found})
    page.told(f"{words.plural(n, 'switch has a', 'switches have a')} disputed result. {RULE}")
    long_list.show(
        COLUMNS,
        lines(found, code_names.naming()),
        KEY,
        order="good against faulty first, then the newest swap",
        n_shown=SHOWN,
    )
    visits = list(dict.fromkeys(one.visit_id for one in found))
    chosen = st.selectbox(
        "Visit to read in full", visits, index=None, key=f"visit_{KEY}", placeholder="Choose a visit", width=300
    )
    visit_link.opened(chosen, KEY)


def _why_none() -> str:
    return NONE_DISPUTED if store_access.row(_N_TESTED)["n"] else NONE_TESTED


def disputed() -> list[Said]:
    """Every verdict of every disputed switch on record."""
    roles.require_page("bench")
    return _found(store_access.key())


@st.cache_data(max_entries=4, show_spinner=False)
def _found(store_key: str) -> list[Said]:
    return disputed_results(store_access.reader())


def lines(found: Sequence[Said], name_of: Callable[[object], str]) -> list[tuple[str, ...]]:
    """COLUMNS of each verdict. name_of: gives a technician as this reader may see them."""
    corrected = {one.swap_id for one in found if one.is_correction}
    return [
        (
            one.removed_tag or "no tag",
            one.part_number or words.NOT_KNOWN,
            one.visit_id,
            name_of(one.technician_id),
            f"{'corrected to ' if one.is_correction else ''}{words.in_words(one.verdict, words.VERDICT_WORDS)}",
            words.date(one.said_on),
            _who(one, name_of),
            one.reason or "",
            _counted(one, one.swap_id in corrected),
        )
        for one in found
    ]


def _who(one: Said, name_of: Callable[[object], str]) -> str:
    """Who tested or corrected. A name alone does not prove that the technician of that name is meant: it stands as written
    where this reader may see it.
    """
    if one.said_by is None or one.said_by_technician is None:
        return one.said_by or words.NOT_KNOWN
    shown = name_of(one.said_by_technician)
    is_id = one.said_by == one.said_by_technician
    return shown if is_id else one.said_by if one.said_by.lower() in shown.lower() else NOT_SHOWN


def _counted(one: Said, is_corrected: bool) -> str:
    """Whether the figures hold this verdict, and by which rule."""
    if one.is_counted:
        return "yes: a correction counts before any test" if one.is_correction else "yes: the last test counts"
    return "no: it was corrected" if is_corrected else "no: another test of the switch is newer"
