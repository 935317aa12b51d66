"""Pieces of work side by side, each when those it rests on are done."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from dataclasses import dataclass
from graphlib import TopologicalSorter

N_AT_ONCE = 3


@dataclass(frozen=True)
class Piece:
    """One piece of work. rests_on: names of other pieces. rank: of those that could begin, the lowest goes first."""

    work: Callable[[], object]
    rests_on: frozenset[str]
    rank: int = 0


def in_turns(pieces: Mapping[str, Piece], step: Callable[[str, float | None], None]) -> None:
    """Do all pieces in threads, a few at a time.

    step: called in this thread with the name of a piece that begins and the share done. The first error ends it: what
    runs is waited for, nothing more begins, and the error is raised.
    """
    sorter = TopologicalSorter({name: piece.rests_on for name, piece in pieces.items()})
    sorter.prepare()
    ready: list[str] = []
    running: dict[Future[object], str] = {}
    n_done = 0
    with ThreadPoolExecutor(N_AT_ONCE) as pool:
        while sorter.is_active():
            ready = sorted([*ready, *sorter.get_ready()], key=lambda name: (pieces[name].rank, name))
            while ready and len(running) < N_AT_ONCE:
                name = ready.pop(0)
                step(name, n_done / len(pieces))
                running[pool.submit(pieces[name].work)] = name
            done, _ = wait(running, return_when=FIRST_COMPLETED)
            for future in done:
                future.result()
                sorter.done(running.pop(future))
                n_done += 1
