"""Pieces of work side by side: each after those it rests on, the first error ends it."""

from __future__ import annotations

import threading
import time

import pytest

from pipelines.turns import N_AT_ONCE, Piece, in_turns


def chain(done, names="abcd"):
    """Each piece rests on the one before it."""

    def work(name):
        def run():
            time.sleep(0.002)
            done.append(name)

        return run

    pairs = zip(names, " " + names, strict=False)
    return {name: Piece(work(name), frozenset(before.strip())) for name, before in pairs}


def test_a_piece_comes_after_those_it_rests_on():
    done = []
    in_turns(dict(reversed(chain(done).items())), lambda name, share: None)
    assert done == list("abcd")


def test_pieces_that_rest_on_nothing_run_at_the_same_time():
    together = threading.Barrier(N_AT_ONCE, timeout=10)
    in_turns({str(n): Piece(together.wait, frozenset()) for n in range(N_AT_ONCE)}, lambda name, share: None)


def test_the_lowest_rank_goes_first():
    begun = []
    pieces = {str(n): Piece(lambda: time.sleep(0.005), frozenset(), rank=-n) for n in range(9)}
    in_turns(pieces, lambda name, share: begun.append((name, share)))
    assert [name for name, _ in begun[:N_AT_ONCE]] == ["8", "7", "6"]
    assert [share for _, share in begun] == sorted(share for _, share in begun)


def test_an_error_ends_it_and_nothing_more_begins():
    done = []
    pieces = chain(done)

    def fail():
        raise ValueError("no")

    pieces["b"] = Piece(fail, frozenset("a"))
    with pytest.raises(ValueError, match="no"):
        in_turns(pieces, lambda name, share: None)
    assert done == ["a"]
