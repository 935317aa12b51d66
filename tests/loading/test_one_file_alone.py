"""What is wrong with one file refuses that file or its rows, and nothing else."""

from __future__ import annotations

import duckdb
import pytest

from pipelines.errors import StoreError
from pipelines.intake import session

LONG = 3_000_000


def failing_after(read_table, error):
    """Reading that brings its rows in and then fails, for the table of visits."""

    def read(con, landed, target, *more):
        done = read_table(con, landed, target, *more)
        if target.table.name == "visits":
            raise error
        return done

    return read


@pytest.mark.parametrize("error", [duckdb.ConversionException("no such value\nmore"), PermissionError(13, "may not")])
def test_an_error_of_the_database_refuses_the_file_and_takes_its_rows_back(desk, table, row, monkeypatch, error):
    monkeypatch.setattr(session, "read_table", failing_after(session.read_table, error))
    paths = [desk.write("sites.csv", "site_id\nS1\n"), desk.write("visits.csv", table(row(1), row(2, kind="nope")))]
    loaded, refused, other = desk.load(*paths, desk.write("gauges.csv", "gauge_id\nG1\n")).files
    assert refused.error.startswith("cannot be read (") and refused.error.endswith("nothing was loaded from it.")
    assert "more" not in refused.error, "one line of the database's words"
    assert (loaded.n_accepted, other.n_accepted) == (1, 1)
    assert desk.rows("SELECT (SELECT count(*) FROM delivered.visits), (SELECT count(*) FROM held_back)") == [(0, 0)]


@pytest.mark.parametrize(
    ("error", "said"),
    [(duckdb.OutOfMemoryException("too much"), "more memory"), (OSError(28, "No space left"), "the disk is full")],
)
def test_what_concerns_the_whole_load_stops_it(desk, table, row, monkeypatch, error, said):
    monkeypatch.setattr(session, "read_table", failing_after(session.read_table, error))
    with pytest.raises(StoreError, match=said):
        desk.load_text("visits.csv", table(row(1)))


def test_a_very_long_line_is_held_back(desk, table, row):
    file = desk.load_text("visits.csv", table(row(1), row(2, notes="x" * LONG), row(3)))
    assert (file.n_accepted, file.reasons) == (2, {"unreadable": 1})
    assert [line for line, _, _ in desk.reasons()] == [3]


def test_very_long_lines_of_json_are_read_or_held_back_with_their_line(desk):
    line = '{"site_id": "%s", "region": "%s"}'
    body = "\n".join(
        [line % ("S1", "a"), line % ("S2", "x" * LONG), line % ("S3", "x" * (1 << 24)), "[1]", line % ("S4", "")]
    )
    file = desk.load_text("sites.jsonl", body + "\n")
    assert (file.n_rows, file.n_accepted, file.reasons) == (5, 2, {"region: too_long": 1, "unreadable": 2})
    assert [(at, "longer than 16 MB" in said) for at, _, said in desk.reasons() if at] == [(3, True), (4, False)]
