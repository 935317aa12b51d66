"""What the SQL files may read without a file of its own: the records, and relations written from Python."""

from __future__ import annotations

from dataclasses import asdict

import duckdb

from pipelines.contract.codes import BLOCKAGE_FAMILY, CAUSES, CONDENSATE_FAMILY, LINK_CLASSES, PART_CLASS, VERDICTS
from pipelines.contract.ddl import ENTERED_TABLES
from pipelines.contract.tables import TABLES
from pipelines.settings import Settings

# Relations written from Python: one row of settings, one row a cause of the contract, one a code a correction may hold.
GIVEN = ("setting", "cause", "allowed_correction")


def given_names() -> set[str]:
    """Names the SQL files may read without there being a file for them."""
    records = {f"delivered.{table.name}" for table in TABLES} | {f"entered.{name}" for name in ENTERED_TABLES}
    return (
        records | {"delivered_history.visits", "entered.same_as", "held_back", "held_back_settled", "load"} | set(GIVEN)
    )


def write_given(con: duckdb.DuckDBPyConnection, settings: Settings) -> None:
    """Write `setting` (one row, a column a setting), `cause` (one row a cause code of the contract) and
    `allowed_correction` (one row a code that a field may be corrected to)."""
    kinds = {str: "VARCHAR", int: "BIGINT", float: "DOUBLE", tuple: "INTEGER[]"}
    no_value = {"default_pressure_unit": "VARCHAR", "labour_cost_per_hour": "DOUBLE", "trip_cost": "DOUBLE"}
    values = {name: list(value) if isinstance(value, tuple) else value for name, value in asdict(settings).items()}
    columns = ", ".join(f"?::{no_value.get(name) or kinds[type(getattr(settings, name))]} AS {name}" for name in values)
    con.execute(f"CREATE OR REPLACE TABLE setting AS SELECT {columns}", list(values.values()))
    con.execute(
        "CREATE OR REPLACE TABLE cause (cause_code VARCHAR, cause_group VARCHAR, family VARCHAR, about VARCHAR)"
    )
    family = dict.fromkeys(CONDENSATE_FAMILY, "condensate") | dict.fromkeys(BLOCKAGE_FAMILY, "blockage")
    con.executemany(
        "INSERT INTO cause VALUES (?, ?, ?, ?)",
        [[cause.code, cause.group, family.get(cause.code), cause.about] for cause in CAUSES],
    )
    allowed = {
        "cause_code": [cause.code for cause in CAUSES],
        "part_class": PART_CLASS.values(),
        "callback_class": LINK_CLASSES,
        "bench_result": VERDICTS,
    }
    con.execute("CREATE OR REPLACE TABLE allowed_correction (corrected_field VARCHAR, new_value VARCHAR)")
    con.executemany(
        "INSERT INTO allowed_correction VALUES (?, ?)",
        [[field, value] for field, values in allowed.items() for value in values],
    )
