"""Accepted + held back + exact duplicates = rows read, whatever the rows hold."""

from __future__ import annotations

import csv
import io
import tempfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipelines import loading
from pipelines.store import Store

HEADER = ["visit_id", "reading_no", "quantity", "value", "unit", "condition", "gauge_id"]
CELLS = [
    st.sampled_from(["V1", "V2", " V2 ", "V,3", 'V"4', "V😀", "", "x" * 300]),
    st.sampled_from(["1", "2", "3", "1.5", "x", "", "-1", "1e3"]),
    st.sampled_from(["draft_at_switch", "Draft At Switch", "contact_voltage", "nope", ""]),
    st.one_of(
        st.floats(width=32).map(str),
        st.sampled_from(["-.82", '0.82"', "0,82", "1.234,5", "1,234.5", "−3", "1,234", "NaN", "1e308", "", "24 V"]),
    ),
    st.sampled_from(["Pa", "in. w.c.", "V", "furlong", "", '"WC']),
    st.sampled_from(["at_rest", "hot running", "?", ""]),
    st.one_of(st.sampled_from(["", "G1"]), st.text(max_size=12)),
]
ROWS = st.lists(
    st.one_of(st.tuples(*CELLS).map(list), st.lists(st.sampled_from(["a", "1", ""]), max_size=9)), max_size=25
)


@pytest.fixture(autouse=True)
def _no_facts(without_facts):
    """Only the load is looked at."""


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(ROWS)
def test_every_row_is_accounted_for(rows):
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerows([HEADER, *rows])
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "readings.csv"
        path.write_bytes(out.getvalue().encode("utf-8", "replace"))
        report = loading.load(Path(folder) / "home", [path])
        (file,) = report.files
        if file.error is not None:
            assert not report.is_changed, "a refused file leaves no rows behind"
            return
        assert file.n_rows == file.n_accepted + file.n_held_back + file.n_duplicates
        # An independent count: rows of the csv module that are not blank lines. NUL aside, they are the same rows.
        if "\0" not in out.getvalue() and "\r" not in out.getvalue():
            read = [row for row in csv.reader(io.StringIO(out.getvalue(), newline="")) if row]
            assert file.n_rows == len(read) - 1
        if not file.n_rows:
            assert not report.is_changed and Store(Path(folder) / "home").current() is None
            return
        con = Store(Path(folder) / "home").open_reader()
        counts = con.execute(
            """SELECT (SELECT count(*) FROM delivered.readings), (SELECT count(*) FROM delivered_history.readings),
                (SELECT count(DISTINCT (row_no, line_no)) FROM held_back), (SELECT count(*) FROM held_back WHERE raw IS NULL)"""
        ).fetchone()
        con.close()
        assert counts == (file.n_accepted - counts[1], file.n_revised, file.n_held_back, 0)
