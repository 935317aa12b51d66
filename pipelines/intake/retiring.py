"""A file read again under another mapping: what the earlier one made of it and the new one does not, leaves the records."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import duckdb

from pipelines.contract.ddl import stored_columns
from pipelines.intake.reading import Target
from pipelines.intake.sql_text import count, name


def retire(
    con: duckdb.DuckDBPyConnection, target: Target, readings: Mapping[tuple[int, ...], Sequence[int]]
) -> dict[int, int]:
    """Before the rows of a target are settled: rows in force from an earlier reading go to the history.

    readings: the loads of a file now -> its earlier loads. A row whose key is read again stays for `settle` to decide.
    Returns how many rows went, by the first of the loads.
    """
    table = target.table
    delivered, history = f"delivered.{name(table.name)}", f"delivered_history.{name(table.name)}"
    columns = ", ".join(name(column) for column, _ in stored_columns(table))
    keys = [name(table.by_name[column].stored_name) for column in table.key]
    same_key = " AND ".join(f"d.{key} = t.{key}" for key in keys)
    gone: dict[int, int] = {}
    for loads, earlier in readings.items():
        if not earlier or target.is_direct:
            continue
        is_gone = (
            f"d.load_id IN ({_numbers(earlier)}) AND NOT EXISTS (SELECT 1 FROM {target.relation} AS t "
            f"WHERE t.load_id IN ({_numbers(loads)}) AND {same_key})"
        )
        con.execute(
            f"INSERT INTO {history} ({columns}, replaced_by_load_id) SELECT {columns}, {loads[0]} FROM {delivered} AS d "
            f"WHERE {is_gone}"
        )
        gone[loads[0]] = count(con, f"DELETE FROM {delivered} AS d WHERE {is_gone}")
    return gone


def _numbers(loads: Sequence[int]) -> str:
    return ", ".join(str(int(load_id)) for load_id in loads)
