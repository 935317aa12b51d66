"""Pairs of entries that may be one technician, or one appliance: found by the rule in sql/identity, none of them merged.

The rule stands in the two .sql files, word for word. They are asked of the generation in force whenever somebody wants the
list; a load does not run them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import duckdb

from pipelines.identity_decisions import Node, Standing
from pipelines.relations import SQL_FOLDER

# Strongest first.
STRENGTHS = ("near_certain", "likely", "doubtful", "speaks_against")

_DETAILS = {
    "technician": (
        "technician_name AS name, branch, started_on, left_on",
        "FROM delivered.technicians WHERE technician_id = ?",
    ),
    "appliance": (
        "appliance_kind AS kind, model_code AS model, serial_number AS serial, installed_on, removed_on",
        "FROM delivered.appliances WHERE appliance_id = ?",
    ),
}


@dataclass(frozen=True)
class Side:
    """One entry of a pair. visits: how many name it, with the days of the first and the last."""

    record_id: str
    n_visits: int
    first_on: Any
    last_on: Any


@dataclass(frozen=True)
class Pair:
    """Two entries that may be one. reason and against: codes of the rule. site_id: of appliances, else "".

    n_clash: visits at once (technicians) or days with visits to both (appliances). example: two such visits.
    """

    subject: str
    site_id: str
    one: Side
    other: Side
    reason: str
    against: tuple[str, ...]
    strength: str
    n_clash: int
    example: str | None = None

    @property
    def nodes(self) -> tuple[Node, Node]:
        return (self.subject, self.site_id, self.one.record_id), (self.subject, self.site_id, self.other.record_id)

    @property
    def suggested(self) -> str:
        """The id to keep where nobody chooses: with more visits, then the later used, then the first by name."""
        sides = sorted((self.one, self.other), key=lambda side: side.record_id)
        return max(sides, key=lambda side: (side.n_visits, str(side.last_on or ""))).record_id


def find_pairs(con: duckdb.DuckDBPyConnection, subject: str) -> list[Pair]:
    """Every pair the rule finds, the strongest first, decided or not. con: a generation, built by this version."""
    cursor = con.execute((SQL_FOLDER / "identity" / f"{subject}_pair.sql").read_text("utf-8"))
    names = [column[0] for column in cursor.description or ()]
    pairs = [_pair(dict(zip(names, row, strict=True))) for row in cursor.fetchall()]
    return sorted(pairs, key=lambda pair: (STRENGTHS.index(pair.strength), pair.site_id, pair.nodes))


def undecided(pairs: list[Pair], now: Standing) -> list[Pair]:
    """The pairs that still wait for a person: neither joined nor told apart, and each once however it was spelled."""
    refused = {frozenset(map(now.kept_of, said.nodes)) for said in now.decisions if not said.is_same}
    found: dict[frozenset[Node], Pair] = {}
    for pair in pairs:
        roots = frozenset(map(now.kept_of, pair.nodes))
        if len(roots) == 2 and roots not in refused:
            found.setdefault(roots, pair)
    return list(found.values())


def details(con: duckdb.DuckDBPyConnection, subject: str, record_id: str) -> dict[str, Any]:
    """What the register says of an entry, column by column; None where it has none or says nothing."""
    columns, source = _DETAILS[subject]
    cursor = con.execute(f"SELECT {columns} {source}", [record_id])
    names = [column[0] for column in cursor.description or ()]
    row = cursor.fetchone()
    return dict(zip(names, row or [None] * len(names), strict=True))


def _pair(row: dict[str, Any]) -> Pair:
    sides = [
        Side(row[f"{side}_id"], row[f"{side}_n_visits"], row[f"{side}_first_on"], row[f"{side}_last_on"])
        for side in ("one", "other")
    ]
    return Pair(
        row["subject"],
        row["site_id"] or "",
        sides[0],
        sides[1],
        row["reason"],
        tuple(row["against"]),
        row["strength"],
        row.get("n_at_once", row.get("n_same_day", 0)),
        row.get("at_once_visits"),
    )
