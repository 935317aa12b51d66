"""Lists kept: a switch stands in one draw only, whoever keeps what when."""

from __future__ import annotations

from datetime import date

import pytest

from pipelines.own_draws import drawn_rows, draws_in_force, keep_draw, last_day
from pipelines.own_work import Entry, OwnWork, OwnWorkError


def content(as_of, *rows):
    lines = [{"removed_tag": tag, "selection": how, "selection_probability": chance} for tag, how, chance in rows]
    return {"list": lines, "as_of": as_of, "sentence": "A list.", "seed": 1, "n_eligible": 9}


FIRST = content("2026-01-12", ("A", "random", 0.2), ("B", "chosen", None))
SECOND = content("2026-01-05", ("C", "random", 0.3))


def test_every_list_in_force_counts_and_none_that_was_taken_back(tmp_path):
    own = OwnWork(tmp_path)
    assert draws_in_force(own) == () and last_day(()) is None
    keep_draw(own, FIRST, "tess", "list 1")
    keep_draw(own, SECOND, "tess", "list 2")
    draws = draws_in_force(own)
    assert last_day(draws) == date(2026, 1, 12)
    assert {tag: row["selection_probability"] for tag, (_, row) in drawn_rows(draws).items()} == {
        "A": 0.2, "B": None, "C": 0.3,
    }  # fmt: skip
    own.undo("list 1", "wrong week", "tess")
    assert set(drawn_rows(draws_in_force(own))) == {"C"} and last_day(draws_in_force(own)) == date(2026, 1, 5)


def test_a_list_with_a_switch_that_was_drawn_meanwhile_is_refused(tmp_path):
    own = OwnWork(tmp_path)
    keep_draw(own, FIRST, "tess", "list 1")
    with pytest.raises(OwnWorkError, match="A: in the list that tess kept on .* may be drawn once only"):
        keep_draw(own, content("2026-01-19", ("A", "random", 0.5), ("D", "random", 0.5)), "ben", "list 2")
    assert len(own.entries("bench_draw")) == 1
    own.undo("list 1", "wrong week", "tess")
    keep_draw(own, content("2026-01-19", ("A", "random", 0.5)), "ben", "list 2")
    assert len(draws_in_force(own)) == 1


def test_a_list_sent_twice_is_kept_once(tmp_path):
    own = OwnWork(tmp_path)
    for _ in range(2):
        keep_draw(own, FIRST, "tess", "list 1")
    assert len(own.entries("bench_draw")) == 1


def test_of_two_lists_that_share_a_switch_the_first_random_draw_stands(tmp_path):
    """As copies brought together, or earlier versions, may have left them."""
    own = OwnWork(tmp_path)
    third = content("2026-01-26", ("A", "random", 0.9), ("B", "random", 0.6))
    own.add([Entry("bench_draw", "", one, "tess") for one in (FIRST, third)])
    found = {tag: row["selection_probability"] for tag, (_, row) in drawn_rows(draws_in_force(own)).items()}
    assert found == {"A": 0.2, "B": 0.6}
