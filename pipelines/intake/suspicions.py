"""Rows that are accepted and yet look wrong: counted, and told in the load report. Nothing is changed by it.

What counts as suspicious is common practice in the trade, without a published source.
"""

from __future__ import annotations

from dataclasses import dataclass

import duckdb

from pipelines.contract.fields import Table
from pipelines.contract.units import INCH_OF_WATER_PA
from pipelines.intake.numbered import numbered
from pipelines.intake.sql_text import count, first_row, text

# Draft-proving switches make below 2.5 in. w.c.; gas manifolds stand at 3.5 (natural gas) and 10 (propane). The facts
# take no higher reading for draft: sql/records/reading.sql has the same limit.
HIGHEST_DRAFT_PA = 2.8 * INCH_OF_WATER_PA
# About 1 psi: no manifold, and as in. w.c. no draft either, but a usual figure for a draft in pascal.
_HIGHEST_GAS_PA = 28 * INCH_OF_WATER_PA
# A draft this small, given in pascal, is more likely inches of water.
_LOWEST_DRAFT_PA = 2.5
_DRAFT = "quantity IN ('draft_at_switch', 'draft_at_port')"
_RUNNING = "coalesce(condition, '') <> 'at_rest'"
_TEST = r"(?i)^(test|testing|dummy|training|demo|xxx+|zzz+)([ _\-]?\d*)$"
# Two names in one cell; "Lee, J" is one.
_TWO_PEOPLE = r"(?i)\S\s*[/&;+]\s*\S|\S\s+and\s+\S"
# Notes shorter than this may well be the same by themselves; as often as this they were copied.
_CLONE_LENGTH, _CLONE_SITES = 40, 5


@dataclass(frozen=True)
class Suspicion:
    """One kind of dirt. where: SQL over the stored columns of the table. said: what stands behind the number of rows."""

    table_name: str
    where: str
    said: str


SUSPICIONS = (
    Suspicion(
        "readings",
        f"{_DRAFT} AND value_pa > {HIGHEST_DRAFT_PA!r} AND value_pa < {_HIGHEST_GAS_PA!r}",
        "draft [reading is|readings are] above 2.8 in. w.c. and [looks|look] like gas pressure (3.5 or 10 at a manifold); kept, and never taken "
        "for draft.",
    ),
    Suspicion(
        "readings",
        f"{_DRAFT} AND value_pa >= {_HIGHEST_GAS_PA!r}",
        "draft [reading is|readings are] above any gas pressure in a house and [looks|look] like pascal under another unit: are units mixed? Kept, "
        "and never taken for draft; a mapping can set the unit.",
    ),
    Suspicion(
        "readings",
        f"{_DRAFT} AND value = 0 AND {_RUNNING}",
        'draft [reading is|readings are] exactly 0 while running. Where 0 means blank, say so in a mapping (blank = ["0"]).',
    ),
    Suspicion(
        "readings",
        f"{_DRAFT} AND unit = 'Pa' AND value_pa > 0 AND value_pa < {_LOWEST_DRAFT_PA!r} AND {_RUNNING}",
        "draft [reading in Pa is|readings in Pa are] as small as readings in inches of water: are units mixed? A mapping can set the unit.",
    ),
    Suspicion(
        "readings",
        f"{_DRAFT} AND sign < 0",
        "draft [reading has|readings have] a minus sign; suction and pressure count alike, the sign is kept.",
    ),
    *(
        Suspicion(
            table,
            "rated_make_pressure_pa = 0",
            'rated make [point is|points are] 0, which no switch has. Where 0 means blank, say so in a mapping (blank = ["0"]).',
        )
        for table in ("appliances", "parts", "bench_tests")
    ),
    Suspicion(
        "part_lines",
        "part_class = 'draft_switch' AND regexp_matches(description, '(?i)\\b(gas|water|refrigerant|oil|fuel)\\b')",
        "[line classed as a draft switch speaks|lines classed as draft switches speak] of gas, water, refrigerant or oil in the description. Only draft-proving "
        "switches are swaps: see their part class.",
    ),
    Suspicion(
        "part_lines",
        "quantity < 0 OR line_status IN ('credited', 'returned')",
        "[line takes|lines take] another back (a negative quantity, credited or returned): none is a swap, and each takes away the fit it "
        "belongs to.",
    ),
    Suspicion(
        "parts",
        "superseded_by IS NOT NULL",
        "[part names|parts name] the number that replaced [it|them]; whichever has no part class takes that of the other.",
    ),
    Suspicion(
        "bench_tests",
        "make_1_pa = 0 OR make_2_pa = 0 OR make_3_pa = 0",
        'bench [test has|tests have] a make point of exactly 0. Where 0 means blank, say so in a mapping (blank = ["0"]).',
    ),
    Suspicion(
        "visits",
        f"regexp_matches(technician_id, {text(_TWO_PEOPLE)})",
        "[visit names|visits name] more than one technician in one cell and [counts|count] for a person of that whole name. A mapping parts them "
        '(split = "/", part = 1), the others going to visit_crew.',
    ),
    Suspicion(
        "visits",
        "left_at < arrived_at",
        "[visit ends before it began|visits end before they began]: were the columns, or morning and afternoon, mixed up? Kept; how long "
        "[it|they] took is not known.",
    ),
    Suspicion(
        "visits",
        f"regexp_matches(visit_id, {text(_TEST)}) OR regexp_matches(site_id, {text(_TEST)}) "
        f"OR regexp_matches(technician_id, {text(_TEST)}) OR regexp_matches(notes, {text(_TEST)})",
        "[visit looks like a test entry|visits look like test entries]. Leave [it|them] out where [it comes|they come] from, or by a mapping (rows = ...).",
    ),
)


def suspicions(con: duckdb.DuckDBPyConnection, table: Table, relation: str, load_id: int) -> list[str]:
    """One sentence for each kind of dirt among the accepted rows of a load. relation: where they stand."""
    kinds = [kind for kind in SUSPICIONS if kind.table_name == table.name]
    sentences = []
    if kinds:
        counts = ", ".join(f"count_if(coalesce({kind.where}, false))" for kind in kinds)
        found = first_row(con, f"SELECT {counts} FROM {relation} WHERE load_id = {load_id} AND raw IS NULL") or ()
        sentences = [numbered(n, kind.said) for n, kind in zip(found, kinds, strict=True) if n]
    if table.name == "visits":
        sentences += _clones(con, relation, load_id)
    return sentences


def _clones(con: duckdb.DuckDBPyConnection, relation: str, load_id: int) -> list[str]:
    n = count(
        con,
        f"""SELECT sum(n) FROM (SELECT count(*) AS n FROM {relation}
                WHERE load_id = {load_id} AND strlen(notes) >= {_CLONE_LENGTH}
                GROUP BY hash(notes) HAVING approx_count_distinct(site_id) >= {_CLONE_SITES})""",
    )
    said = f"[visit has|visits have] a note that stands word for word at {_CLONE_SITES} sites or more: a copied note says little."
    return [numbered(n, said)] if n else []
