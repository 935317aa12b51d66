"""A new list, on the pages Bench and Records: which removed switches to test next, drawn and kept with each one's chance."""

from __future__ import annotations

import json
from datetime import date

import streamlit as st

from dashboard import bench_tests, code_names, long_list, own_entry, page, roles, store_access, words
from models.figures.bench_list import BenchList, bench_list
from models.methods.numeral import canonical
from pipelines import own_draws
from pipelines.errors import GoodpullError
from pipelines.settings import Settings

WHY = (
    "Tests tell how often a pulled switch was good only if it is known how they were picked. So draw at random, within "
    "technicians and what the readings showed, and enter the tests with the words and chances of this list. "
    "A switch may enter one draw only: what stands in a list that is kept is not drawn again, and the day of the draw before "
    "leaves out what could have been drawn then. Switches of your own choice may be tested too; enter them as chosen."
)
EARLIER = (
    "The last list kept was drawn on {last}. What could have been drawn then and was not could enter a second draw here, "
    "with a larger chance than the one on record: name that day, or a later one."
)
SHOWN = 40


def show(can_keep: bool = True) -> None:
    """The section: how many, which draw, the list, keeping it, and the list as a file. can_keep: whether to offer it here."""
    roles.require_page("bench", "records")
    st.header("Which removed switches to test next")
    page.told(WHY)
    before = bench_tests.before()
    last = before.last
    left, middle, right, _ = st.columns([1, 1, 1, 1], gap="medium")
    with left:
        number = st.number_input("How many to draw", min_value=1, max_value=500, value=20, key="bench_number")
    with middle:
        # A key of its own for each day: a list that is kept brings its day into the field.
        since = st.date_input("Day of the draw before", value=last, key=f"bench_since_{last}")
    with right:
        seed = st.number_input("Number of the draw", min_value=1, max_value=1_000_000, value=1, key="bench_seed")
    found = _drawn(store_access.key(), store_access.settings(), int(number), int(seed), since, before)
    for said in (found.sentence, found.pool):
        st.markdown(words.plain(words.with_dates(said)))
    if last is not None and (since is None or since < last):
        st.warning(words.plain(words.with_dates(EARLIER.format(last=last))))
    if found.list.empty:
        return
    name_of = code_names.naming()
    lines = [
        (row.removed_tag, words.date(row.swapped_on), bench_tests.last_day(row.test_by), name_of(row.technician_id),
         words.in_words(row.evidence, words.EVIDENCE_WORDS), words.share(row.selection_probability))
        for row in found.list.itertuples()
    ]  # fmt: skip
    columns = (
        ("Tag", "text"), ("Pulled on", "text"), ("Test by", "text"), ("Technician", "text"), ("Readings", "text"),
        ("Chance of the draw", "number"),
    )  # fmt: skip
    exported = found.list.assign(technician_id=[*map(name_of, found.list["technician_id"])])
    long_list.show(columns, lines, "bench_list", n_shown=SHOWN, export=lambda: exported)
    bench_tests.say_past(found.list["test_by"])
    if can_keep:
        _keep(found, before.n_lists)
    else:
        st.page_link("views/bench.py", label="Keep a list and enter its tests: Bench")
    st.caption("The same number of the draw gives the same list for the same records. A switch tested later than the day "
               "named can be found faulty, but never good.")  # fmt: skip


def _keep(found: BenchList, n_kept: int) -> None:
    """Keep the list as drawn: its chances are those of this day, whatever is loaded later.

    n_kept: how many lists are in force. Where somebody kept another meanwhile, this one was drawn anew, and the button
    is another one too: nobody keeps a list that they did not see.
    """
    form = own_entry.form_of("draw")
    name = own_entry.who(form)
    if not st.button("Keep this list", key=f"keep_{form}_{n_kept}", disabled=not name.strip(), type="primary"):
        return
    rows = json.loads(found.list.to_json(orient="records", date_format="iso"))
    for row in rows:
        row |= {column: str(row[column])[:10] for column in ("swapped_on", "test_by")}
    content = {"list": rows, "seed": found.seed, "as_of": str(found.as_of)[:10], "sentence": canonical(found.sentence)}
    content |= {"pool": canonical(found.pool), "n_eligible": found.n_eligible}
    try:
        own_draws.keep_draw(own_entry.own(), content, name, own_entry.form_id(form))
    except GoodpullError as error:
        st.error(words.plain(error))
        return
    own_entry.kept("draw", f"The list of {words.plural(len(rows), 'switch', 'switches')} is kept.")
    st.rerun()


@st.cache_data(max_entries=20, show_spinner=False)
def _drawn(
    store_key: str, settings: Settings, number: int, seed: int, since: date | None, before: bench_tests.Before
) -> BenchList:
    con = store_access.reader()
    return bench_list(con, settings, number, seed, since=since, drawn=before.drawn, entered=before.entered)
