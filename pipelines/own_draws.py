"""Bench lists that were drawn and kept: those in force, the chance each switch had in them, and keeping another one.

A switch stands in one draw only. In two, its chance would be larger than either on record, and the rate from draws
would lean; so what stands in any list that is kept, and was not taken back, is never drawn again.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from pipelines.own_work import Entry, OwnWork, OwnWorkError


@dataclass(frozen=True)
class Draw:
    """A list as it was drawn and kept. as_of: its day. rows: a switch each, with the columns of the bench list."""

    entry: Entry
    as_of: date | None
    rows: tuple[Mapping[str, Any], ...]

    @property
    def tags(self) -> frozenset[str]:
        """The tags of its switches."""
        return frozenset(row["removed_tag"] for row in self.rows)


def draws_in_force(own: OwnWork) -> tuple[Draw, ...]:
    """The lists kept and not taken back, the oldest first. Raises OwnWorkError when the own work cannot be read."""
    entries = [kept.entry for kept in own.entries("bench_draw") if kept.is_in_force]
    return tuple(Draw(entry, _day(entry.content.get("as_of")), tuple(entry.content["list"])) for entry in entries)


def drawn_rows(draws: tuple[Draw, ...]) -> dict[str, tuple[Draw, Mapping[str, Any]]]:
    """Tag -> the draw it counts for, and its row there.

    Lists kept by earlier versions, or brought together from two copies, may share a tag: the first that drew it at random
    stands, since what came after could not properly draw it anew.
    """
    found: dict[str, tuple[Draw, Mapping[str, Any]]] = {}
    for draw in draws:
        for row in draw.rows:
            there = found.get(row["removed_tag"])
            if there is None or (there[1]["selection"] != "random" and row["selection"] == "random"):
                found[row["removed_tag"]] = (draw, row)
    return found


def last_day(draws: tuple[Draw, ...]) -> date | None:
    """The latest day of a draw; None where none is kept."""
    return max((draw.as_of for draw in draws if draw.as_of), default=None)


def tags_entered(own: OwnWork) -> frozenset[str]:
    """Tags of the tests entered and not taken back, whether the records include them yet or not."""
    return frozenset(kept.entry.about for kept in own.entries("bench_test") if kept.is_in_force)


def keep_draw(own: OwnWork, content: Mapping[str, Any], kept_by: str, entry_id: str) -> Entry:
    """Keep a list as drawn; sent twice with the same id it is kept once.

    content: list (rows), as_of, seed, sentence, pool, n_eligible. Raises OwnWorkError where a switch of it stands in a
    list that was kept meanwhile, and when it cannot be kept.
    """
    entry = Entry("bench_draw", "", dict(content), kept_by, entry_id=entry_id)
    others = [draw for draw in draws_in_force(own) if draw.entry.entry_id != entry_id]
    tags = {row["removed_tag"] for row in content["list"]}
    for draw in others:
        twice = sorted(tags & draw.tags)
        if twice:
            named = ", ".join(twice[:5]) + (" and others" if len(twice) > 5 else "")
            raise OwnWorkError(
                f"{named}: in the list that {draw.entry.entered_by} kept on {draw.entry.entered_at[:10]} already; a switch "
                "may be drawn once only. Nothing was kept; draw again."
            )
    own.add([entry])
    return entry


def _day(text: Any) -> date | None:
    try:
        return date.fromisoformat(str(text)[:10])
    except ValueError:
        return None
