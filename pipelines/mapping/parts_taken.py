"""What a rule takes of the first cells of a column, worked out as a load does, for a person to look at."""

from __future__ import annotations

import duckdb

from pipelines.contract.fields import Field
from pipelines.intake.session import CLEANING
from pipelines.mapping.canonical import picked_sql
from pipelines.mapping.declared import ColumnRule, Mapping, folded_text
from pipelines.mapping.samples import Sample
from pipelines.mapping.source_tables import places_of


def parts_taken(
    mapping: Mapping, entry: Field, rule: ColumnRule, sample: Sample, n_cells: int
) -> list[tuple[str, str | None]]:
    """The first different cells a rule reads, each with the part it takes, None for no part; at most n_cells.

    None at all where a column of the rule is not in the sample.
    """
    places = places_of(sample.columns)
    wanted = [folded_text(column) for column in rule.columns]
    if not sample.rows or not all(column in places for column in wanted):
        return []
    used = {column: n for n, column in enumerate(rule.columns)}
    cells = [
        [None if row[places[column]] is None else str(row[places[column]]) for row in sample.rows] for column in wanted
    ]
    con = duckdb.connect()
    try:
        con.execute(CLEANING.read_text("utf-8"))
        columns = ", ".join(f"unnest(CAST(? AS VARCHAR[])) AS c{n}" for n in used.values())
        con.execute(f"CREATE TABLE cells AS SELECT unnest(CAST(? AS INTEGER[])) AS n, {columns}",
                    [list(range(len(sample.rows))), *cells])  # fmt: skip
        found = con.execute(picked_sql(mapping, entry, rule, used, "cells")).fetchall()
    finally:
        con.close()
    return list(dict.fromkeys((taken, picked) for _, taken, picked in found if taken is not None))[:n_cells]
