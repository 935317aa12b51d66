"""What exporting does to records: rows twice, rows revised, cells that nobody can read."""

from __future__ import annotations

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from synthetic_data.scenario import Scenario

DUPLICATE_SHARE = 0.003
REVISED_SHARE = 0.004
UNREADABLE_SHARE = 0.0008
_UNREADABLE = ("31/02/2024 09:15", "5014-09-15T08:00:00", "0000-00-00", "tomorrow am", "2023-13-04T10:00:00")


def soil(
    rng: np.random.Generator, scenario: Scenario, tables: dict[str, pa.Table], is_routine: np.ndarray
) -> dict[str, pa.Table]:
    """The tables as an export system hands them over.

    Duplicates follow at once on their original; a revised visit comes at the end of its block with the same visit_id.
    Times that nobody can read are put on routine visits only (is_routine, shape (n_visits,)), so that every swap of the
    truth is a swap of the records; their rows are held back on loading.
    """
    visits = tables["visits"]
    n = visits.num_rows
    revised = np.flatnonzero(rng.random(n) < REVISED_SHARE * scenario.dirt)
    first = _shorten_notes(visits, revised)
    later = visits.take(pa.array(revised))
    broken = is_routine & (rng.random(n) < UNREADABLE_SHARE * scenario.dirt)
    broken[revised] = False
    words = pa.array(_UNREADABLE).take(pa.array(rng.integers(0, len(_UNREADABLE), n)))
    first = _replace(first, "arrived_at", pc.if_else(pa.array(broken), words, first["arrived_at"].combine_chunks()))
    soiled = dict(tables)
    soiled["visits"] = pa.concat_tables([_repeat_some(rng, scenario, first), later])
    for name in ("part_lines", "readings", "checks", "bench_tests"):
        soiled[name] = _repeat_some(rng, scenario, tables[name])
    return soiled


def _shorten_notes(visits: pa.Table, rows: np.ndarray) -> pa.Table:
    """The earlier version of revised visits: the notes were still unfinished."""
    is_row = np.zeros(visits.num_rows, bool)
    is_row[rows] = True
    notes = visits["notes"].combine_chunks()
    shorter = pc.utf8_slice_codeunits(notes, 0, 24)
    return _replace(visits, "notes", pc.if_else(pa.array(is_row), shorter, notes))


def _repeat_some(rng: np.random.Generator, scenario: Scenario, table: pa.Table) -> pa.Table:
    """Some rows twice, one below the other."""
    times = 1 + (rng.random(table.num_rows) < DUPLICATE_SHARE * scenario.dirt)
    return table.take(pa.array(np.repeat(np.arange(table.num_rows), times)))


def _replace(table: pa.Table, column: str, values: pa.Array) -> pa.Table:
    return table.set_column(table.column_names.index(column), column, values)
