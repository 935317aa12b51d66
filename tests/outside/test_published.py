"""Every outside check holds, and the committed list of them says what they give."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from list_checks import REGISTRY, rows
from outside_registry import as_row, run

from models.evidence.outside import STATUSES, outside_checks

IDENTITY = ("topic", "name", "source")


@pytest.mark.parametrize("one", REGISTRY, ids=lambda one: f"{one.topic}: {one.name} ({one.source.split(',')[0]})")
# One series lies exactly on its curve, which statsmodels remarks on.
@pytest.mark.filterwarnings("ignore:Perfect separation")
def test_our_value_is_that_from_outside(one):
    theirs, ours = run(one)
    assert np.abs(ours - theirs).max() <= one.allowed, (theirs, ours)


def test_the_committed_list_says_what_the_checks_give():
    """When this fails: python tests/outside/list_checks.py, and read what changed before committing it."""
    fresh = {tuple(row[key] for key in IDENTITY): row for row in rows()}
    listed = {tuple(row[key] for key in IDENTITY): row for row in outside_checks()}
    assert len(listed) == len(outside_checks()) == len(REGISTRY), "names must be told apart"
    assert listed.keys() == fresh.keys()
    for key, row in listed.items():
        for name in ("status", "note", "expected", "allowed"):
            assert row[name] == pytest.approx(fresh[key][name]) if name == "expected" else row[name] == fresh[key][name]
        # Last digits may differ from one processor to another.
        assert row["got"] == pytest.approx(fresh[key]["got"], rel=1e-5, abs=1e-8), key


def test_every_check_tells_its_source_and_status():
    listed = outside_checks()
    assert {row["status"] for row in listed} == set(STATUSES)
    assert all(row["source"] and row["name"] and len(row["expected"]) == len(row["got"]) for row in listed)


def test_a_check_that_does_not_hold_is_seen():
    one = next(one for one in REGISTRY if one.expected is not None)
    wrong = replace(one, expected=tuple(x + 2 * one.allowed + 1 for x in one.expected))
    with pytest.raises(AssertionError):
        test_our_value_is_that_from_outside(wrong)
    assert as_row(wrong)["expected"] != as_row(one)["expected"]
