"""What people decided about two entries that may be one technician, or one appliance: the same, or not the same.

Nothing is merged without such a decision. Decisions are entries of the company's own work: kept at once, copied and
brought back with it, taken back by an undo. What holds is worked out anew from those in force, in the order they were
entered, so that taking one back parts again what it had joined. Where decisions contradict each other (entered in two
homes, and brought together by a copy), nothing is merged and the contradiction is named.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

import duckdb

from pipelines.intake.sql_text import count
from pipelines.own_work import Entry, Kept, OwnWork, OwnWorkError, new_id

KIND = "identity"
SUBJECTS = ("technician", "appliance")
SAME, DIFFERENT = "same", "different"
# Temporary table that says which entries a change is about: see pipelines.changes.
IDENTIFIED = "own_identified"

# Subject, site (appliances only), id in the records.
Node = tuple[str, str, str]

_TECHNICIAN = """
SELECT '' AS site_id, EXISTS (FROM delivered.technicians WHERE technician_id = $id) AS is_registered
WHERE EXISTS (FROM delivered.technicians WHERE technician_id = $id)
    OR EXISTS (FROM delivered.visits WHERE technician_id = $id)
    OR EXISTS (FROM delivered.visit_crew WHERE technician_id = $id)
"""
_APPLIANCE = """
SELECT site_id, true AS is_registered FROM delivered.appliances WHERE appliance_id = $id
UNION ALL SELECT DISTINCT site_id, false FROM delivered.visits
WHERE appliance_id = $id AND NOT EXISTS (FROM delivered.appliances WHERE appliance_id = $id)
"""


@dataclass(frozen=True)
class Decision:
    """One decision. keep: the id that stands for both, where they are the same. site_id: of appliances; else ""."""

    subject: str
    site_id: str
    keep: str
    other: str
    is_same: bool
    kept: Kept

    @property
    def nodes(self) -> tuple[Node, Node]:
        return (self.subject, self.site_id, self.keep), (self.subject, self.site_id, self.other)


@dataclass
class Standing:
    """What holds. against: decisions "the same" that contradict a "not the same", and therefore merge nothing."""

    decisions: list[Decision] = field(default_factory=list)
    against: list[Decision] = field(default_factory=list)
    _above: dict[Node, Node] = field(default_factory=dict)

    def kept_of(self, node: Node) -> Node:
        """The entry that stands for this one; itself where nothing was decided."""
        while node in self._above:
            node = self._above[node]
        return node

    def merged(self) -> list[tuple[str, str | None, str, str]]:
        """Rows of entered.same_as: subject, site, the id in the records, the id that stands for it."""
        return sorted((node[0], node[1] or None, node[2], self.kept_of(node)[2]) for node in self._above)

    def refusal(self, one: Node, other: Node) -> Decision | None:
        """A decision "not the same" between what these two stand for."""
        roots = {self.kept_of(one), self.kept_of(other)}
        return next(
            (said for said in self.decisions if not said.is_same and {self.kept_of(n) for n in said.nodes} == roots),
            None,
        )

    def join(self, keep: Node, other: Node) -> None:
        self._above[self.kept_of(other)] = self.kept_of(keep)


def is_technician(con: duckdb.DuckDBPyConnection, technician_id: str) -> bool:
    """Whether the records know this technician: from the register, a visit or a crew. con: the generation in force."""
    return con.execute(_TECHNICIAN, {"id": technician_id}).fetchone() is not None


def decision(kept: Kept) -> Decision:
    """The decision an entry of this kind holds."""
    said = kept.entry.content
    return Decision(
        said["subject"], said.get("site_id") or "", said["keep"], said["other"], said["decision"] == SAME, kept
    )


def standing(entries: Iterable[Kept]) -> Standing:
    """What holds of these entries, in the order of writing."""
    made = [decision(kept) for kept in entries if kept.entry.kind == KIND and kept.is_in_force]
    found = Standing(made)
    for said in made:
        if not said.is_same or found.kept_of(said.nodes[0]) == found.kept_of(said.nodes[1]):
            continue
        if found.refusal(*said.nodes):
            found.against.append(said)
        else:
            found.join(*said.nodes)
    return found


def enter_decision(
    con: duckdb.DuckDBPyConnection,
    own: OwnWork,
    subject: str,
    keep: str,
    other: str,
    is_same: bool,
    reason: str,
    entered_by: str,
    entry_id: str | None = None,
    site_id: str | None = None,
) -> Entry:
    """Keep a decision about two entries. con: the generation in force. keep: the id that stands for both. site_id: which
    site, of appliances that visits name on several.

    Raises OwnWorkError when an id is not on record, the two cannot be one, or another decision says otherwise.
    """
    if subject not in SUBJECTS:
        raise OwnWorkError(f"{subject!r}: must be one of {', '.join(SUBJECTS)}. Nothing was entered.")
    if keep == other:
        raise OwnWorkError(f"{keep} is one entry; name two. Nothing was entered.")
    site_id = _site(con, subject, keep, other, is_same, site_id)
    one, two = sorted((keep, other))
    about = f"{subject}:{one}|{two}"
    content = {
        "subject": subject,
        "site_id": site_id,
        "keep": keep,
        "other": other,
        "decision": SAME if is_same else DIFFERENT,
    }
    entry = Entry(KIND, about, content, entered_by, reason, entry_id or new_id())
    known = own.entries(KIND)
    for kept in known:
        if kept.entry.entry_id == entry.entry_id and kept.entry.content == content:
            return kept.entry
    _refuse_contradiction(standing(known), (subject, site_id, keep), (subject, site_id, other), is_same)
    own.add([entry])
    return entry


def _site(
    con: duckdb.DuckDBPyConnection, subject: str, keep: str, other: str, is_same: bool, wanted: str | None
) -> str:
    """The site both stand on (the wanted one, if any), "" for technicians. Raises OwnWorkError where they cannot be one."""
    query = _TECHNICIAN if subject == "technician" else _APPLIANCE
    kept_on, other_on = (dict(con.execute(query, {"id": one}).fetchall()) for one in (keep, other))
    for one, sites in ((keep, kept_on), (other, other_on)):
        if not sites:
            raise OwnWorkError(f"{one}: no such {subject} is on record. Nothing was entered.")
    both = sorted(set(kept_on) & set(other_on) & (set(kept_on) if wanted is None else {wanted}))
    if not both and wanted is not None:
        raise OwnWorkError(f"{keep} and {other} do not both stand on the site {wanted}. Nothing was entered.")
    if not both:
        raise OwnWorkError(f"{keep} and {other} stand on different sites. Nothing was entered.")
    if len(both) > 1:
        raise OwnWorkError(
            f"{keep} and {other} stand on several sites: {', '.join(both[:8])}. Say which one. Nothing was entered."
        )
    if is_same and other_on[both[0]] and not kept_on[both[0]]:
        raise OwnWorkError(
            f"{keep} stands on visits only, and {other} has an entry of its own; keep {other}. Nothing was entered."
        )
    return both[0]


def _refuse_contradiction(now: Standing, keep: Node, other: Node, is_same: bool) -> None:
    is_one = now.kept_of(keep) == now.kept_of(other)
    said = now.refusal(keep, other)
    if is_one and is_same:
        raise OwnWorkError(f"{keep[2]} and {other[2]} count as the same already. Nothing was entered.")
    if is_one:
        raise OwnWorkError(
            f"{keep[2]} and {other[2]} count as the same, under {now.kept_of(keep)[2]}: {_by(now, keep, other)} "
            "Take that back first. Nothing was entered."
        )
    if said is None:
        return
    who = f"{said.kept.entry.entered_by} on {said.kept.entry.entered_at[:10]}"
    if not is_same:
        raise OwnWorkError(
            f"{who} said so already: {said.keep} and {said.other} are not the same. Nothing was entered."
        )
    raise OwnWorkError(
        f"{who} said that {said.keep} and {said.other} are not the same: {said.kept.entry.reason} "
        "Take that back first. Nothing was entered."
    )


def _by(now: Standing, keep: Node, other: Node) -> str:
    """Who joined what these two belong to."""
    root = now.kept_of(keep)
    joined = [said for said in now.decisions if said.is_same and now.kept_of(said.nodes[0]) == root]
    direct = [said for said in joined if {keep, other} == set(said.nodes)]
    return "; ".join(
        f"{said.keep} = {said.other}, {said.kept.entry.entered_by}, {said.kept.entry.entered_at[:10]}"
        for said in direct or joined
    )


def exchange_same(con: duckdb.DuckDBPyConnection, in_force: Iterable[Kept]) -> int:
    """Make entered.same_as hold what is decided; how many rows differ. The entries it is about are noted in IDENTIFIED:
    every member of a group that changed, since the kept one's details may come from any of them."""
    con.execute(f"CREATE OR REPLACE TEMP TABLE {IDENTIFIED} (subject VARCHAR, site_id VARCHAR, record_id VARCHAR)")
    con.execute("CREATE OR REPLACE TEMP TABLE own_same AS FROM entered.same_as LIMIT 0")
    rows = standing(in_force).merged()
    if rows:
        con.executemany("INSERT INTO own_same VALUES (?, ?, ?, ?)", [list(row) for row in rows])
    con.execute(
        """CREATE OR REPLACE TEMP TABLE own_same_differing AS
           (FROM own_same EXCEPT FROM entered.same_as) UNION ALL (FROM entered.same_as EXCEPT FROM own_same)"""
    )
    n_differing = count(con, "SELECT count(*) FROM own_same_differing")
    if n_differing:
        con.execute(
            f"""INSERT INTO {IDENTIFIED}
                WITH known AS (FROM own_same UNION ALL FROM entered.same_as),
                grown AS (SELECT DISTINCT subject, kept_id FROM own_same_differing)
                SELECT subject, site_id, record_id FROM known WHERE (subject, kept_id) IN (FROM grown)
                UNION SELECT subject, site_id, kept_id FROM known WHERE (subject, kept_id) IN (FROM grown)"""
        )
        con.execute("DELETE FROM entered.same_as")
        con.execute("INSERT INTO entered.same_as FROM own_same")
    con.execute("DROP TABLE own_same")
    con.execute("DROP TABLE own_same_differing")
    return n_differing
