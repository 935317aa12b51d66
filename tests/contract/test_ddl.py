"""The store's tables are what the contract says."""

from __future__ import annotations

import duckdb
import pytest

from pipelines.contract import ddl
from pipelines.contract.tables import TABLES


@pytest.fixture
def con():
    with duckdb.connect() as connection:
        ddl.create_delivered(connection)
        yield connection


def columns(con, name):
    return [(row[0], row[1]) for row in con.execute(f"DESCRIBE {name}").fetchall()]


@pytest.mark.parametrize("table", TABLES, ids=lambda table: table.name)
def test_delivered_table_has_a_column_a_field(con, table):
    found = columns(con, f"delivered.{table.name}")
    assert found == list(ddl.stored_columns(table))
    assert [name for name, _ in found[: len(table.fields)]] == [entry.stored_name for entry in table.fields]
    assert found[-2:] == [("load_id", "INTEGER"), ("row_no", "BIGINT")]
    assert columns(con, f"delivered_history.{table.name}") == [*found, ("replaced_by_load_id", "INTEGER")]


def test_pressures_carry_pascal_and_readings_their_sign(con):
    assert ("rated_make_pressure_pa", "DOUBLE") in columns(con, "delivered.parts")
    found = columns(con, "delivered.readings")
    assert {("value", "DOUBLE"), ("value_pa", "DOUBLE"), ("sign", "SMALLINT")} <= set(found)


def test_creating_twice_keeps_the_rows(con):
    con.execute("INSERT INTO delivered.sites (site_id) VALUES ('S-1')")
    con.execute("INSERT INTO held_back (load_id, reason_code) VALUES (1, 'not_a_code')")
    ddl.create_delivered(con)
    assert con.execute("SELECT count(*) FROM delivered.sites").fetchone() == (1,)
    assert con.execute("SELECT count(*) FROM held_back").fetchone() == (1,)
    assert con.execute("SELECT version, contract_digest FROM store_format").fetchall() == [
        (ddl.STORE_VERSION, ddl.contract_digest())
    ]


def test_ledger_and_held_back_columns(con):
    assert " ".join(name for name, _ in columns(con, "held_back")) == (
        "load_id table_name file_name row_no line_no column_name got reason_code reason raw"
    )
    assert " ".join(name for name, _ in columns(con, '"load"')) == (
        "load_id loaded_at file_name file_digest table_name n_rows n_accepted n_revised n_held_back "
        "n_duplicates dropped_columns unknown_columns delimiter encoding seconds"
    )
