"""Two tables of a mapping made of the same rows that give different rows one key: each would take the other's place."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

import duckdb

from pipelines.contract.ddl import stored_columns
from pipelines.intake.numbered import numbered
from pipelines.intake.reading import Target
from pipelines.intake.sql_text import first_row, name

_REGISTERS = ("sites", "appliances", "technicians", "parts", "gauges", "weather_days")


def meeting_keys(
    con: duckdb.DuckDBPyConnection, targets: Mapping[str, Target], loaded: Iterable[Any]
) -> Iterator[tuple[Any, str]]:
    """Of the files read, not yet settled, those tables whose keys meet, each with what is wrong.

    loaded: with load_id, digest and report, as a session keeps them.
    """
    of_same: dict[tuple[str, str, str], list[Any]] = {}
    for one in loaded:
        of_same.setdefault((one.digest, one.report.file_name, one.report.table_name), []).append(one)
    for (_, _, table_name), several in of_same.items():
        if len(several) > 1:
            wrong = same_keys(con, targets[table_name], [one.load_id for one in several])
            yield from ((one, wrong) for one in several if wrong is not None)


def same_keys(con: duckdb.DuckDBPyConnection, target: Target, load_ids: Sequence[int]) -> str | None:
    """What is wrong with the tables that were made of one file or sheet under these loads; None where nothing is.

    Of what happened, each row is one; a register, such as technicians made of two columns, may name the same twice.
    """
    table = target.table
    if table.name in _REGISTERS:
        return None
    keys = [name(table.by_name[column].stored_name) for column in table.key]
    content = ", ".join(name(column) for column, _ in stored_columns(table) if column not in ("load_id", "row_no"))
    loads = ", ".join(str(int(load_id)) for load_id in load_ids)
    n, such = first_row(
        con,
        f"""SELECT count(*), min(such) FROM (
            SELECT concat_ws(', ', {", ".join(f"CAST({key} AS VARCHAR)" for key in keys)}) AS such FROM {target.relation}
            WHERE load_id IN ({loads}) GROUP BY {", ".join(keys)}
            HAVING count(DISTINCT load_id) > 1 AND count(DISTINCT hash({content})) > 1)""",
    ) or (0, None)
    if not n:
        return None
    said = numbered(
        n, f"[key stands|keys stand] in two tables {table.name} that the mapping makes of the same rows, such as {such}"
    )
    return (
        f"{said}: one would take the place of the other. Give {' or '.join(table.key)} in one of them other values, such as "
        f"a number of its own; nothing was loaded from it."
    )
