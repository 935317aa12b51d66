"""The whole store as a folder of Parquet files with datapackage.json, for any other tool.

Every relation is written as it stands: the records as delivered (records/), clean records and facts (facts/), and the
ledger of loads. Open standards: Apache Parquet, Data Package 2.0 with Table Schema.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import duckdb
import pyarrow as pa
import pyarrow.parquet as pq

from pipelines.contract.datapackage import STANDARD, data_package
from pipelines.contract.tables import TABLE_BY_NAME
from pipelines.errors import GoodpullError

DESCRIPTION = "datapackage.json"
ROWS_AT_ONCE = 100_000
# Older versions of rows and the program's own bookkeeping; not records, not facts.
LEFT_OUT = ("store_format", "build_state", "allowed_correction")
LEDGER = {
    "load": "One row is one file loaded.",
    "held_back": "One row is one cell that held back its row, with the reason and the row as delivered.",
    "setting": "One row: the settings the facts were built with.",
    "cause": "One row is one code of a cause.",
}
# Columns the program keeps beside those of the contract.
KEPT_BESIDE = {
    "load_id": "The load the row came with (facts/load.parquet).",
    "row_no": "Its number in the file it came with.",
    "sign": "Sign of the pressure as it was written: 1 or -1.",
}
_RELATIONS = """
SELECT table_schema, table_name FROM information_schema.tables
WHERE table_schema IN ('main', 'delivered') ORDER BY table_schema, table_name
"""
Progress = Callable[[str, float | None], None]


def export_store(con: duckdb.DuckDBPyConnection, folder: Path, progress: Progress | None = None) -> dict[str, int]:
    """Write every relation into the folder, then its description; the description last, so that a folder with one is whole.

    folder: new or empty. Returns rows by path. The same store gives the same bytes.
    Raises GoodpullError when the folder holds something.
    """
    if folder.exists() and any(folder.iterdir()):
        raise GoodpullError(f"{folder} is not empty. Name a new folder; nothing was written.")
    folder.mkdir(parents=True, exist_ok=True)
    relations = [(schema, name) for schema, name in con.execute(_RELATIONS).fetchall() if name not in LEFT_OUT]
    resources, counts = [], {}
    for place, (schema, name) in enumerate(relations):
        if progress is not None:
            progress(f"Writing {name}", place / len(relations))
        path = f"{'records' if schema == 'delivered' else 'facts'}/{name}.parquet"
        (folder / path).parent.mkdir(exist_ok=True)
        fields, counts[path] = _write(con, f'{schema}."{name}"', folder / path)
        resources.append(_resource(schema, name, path, fields))
    package = {
        "$schema": STANDARD,
        "name": "goodpull-store",
        "title": "Visit records of a gas-heating company, and the facts made from them",
        "description": "Records as delivered in records/, clean records and facts in facts/: one Parquet file a relation.",
        "resources": resources,
    }
    (folder / DESCRIPTION).write_text(json.dumps(package, indent=2, ensure_ascii=False) + "\n", "utf-8")
    return counts


def _write(con: duckdb.DuckDBPyConnection, relation: str, path: Path) -> tuple[pa.Schema, int]:
    """A bounded number of rows at a time, so that a store of any size can be written."""
    reader = con.sql(f"FROM {relation}").to_arrow_reader(ROWS_AT_ONCE)
    # Extension types (such as JSON) as the plain type under them, which every tool reads.
    schema = pa.schema([pa.field(field.name, _plain(field.type)) for field in reader.schema])
    n = 0
    with pq.ParquetWriter(path, schema, compression="zstd") as writer:
        for batch in reader:
            writer.write_batch(pa.RecordBatch.from_arrays([_stored(column) for column in batch.columns], schema=schema))
            n += batch.num_rows
    return schema, n


def _plain(kind: pa.DataType) -> pa.DataType:
    return kind.storage_type if isinstance(kind, pa.BaseExtensionType) else kind


def _stored(column: pa.Array) -> pa.Array:
    return column.storage if isinstance(column, pa.ExtensionArray) else column


def _resource(schema: str, name: str, path: str, fields: pa.Schema) -> dict[str, Any]:
    resource: dict[str, Any] = {
        "name": f"{'records' if schema == 'delivered' else 'facts'}-{name.replace('_', '-')}",
        "path": path,
        "type": "table",
        "format": "parquet",
        "mediatype": "application/vnd.apache.parquet",
        "description": _about(schema, name),
    }
    told = _declared(name) if schema == "delivered" else {}
    resource["schema"] = {
        "fieldsMatch": "exact",
        "fields": [{"name": field.name, "type": _type(field.type), **_field(field.name, told)} for field in fields],
    }
    return resource


def _about(schema: str, name: str) -> str:
    """What one row is: from the contract, from the first line of the relation's own file, or from the ledger."""
    if schema == "delivered":
        return f"One row is {TABLE_BY_NAME[name].row}." if name in TABLE_BY_NAME else "Records as delivered."
    for kind in ("facts", "records"):
        path = Path(__file__).with_name("sql") / kind / f"{name}.sql"
        if path.is_file():
            return path.read_text("utf-8").splitlines()[0].removeprefix("-- ").capitalize() + "."
    return LEDGER.get(name, "Kept by the program.")


def _declared(name: str) -> dict[str, dict[str, str]]:
    """What the contract says of the columns of a table: description and unit, by column."""
    if name not in TABLE_BY_NAME:
        return {}
    fields = data_package([name])["resources"][0]["schema"]["fields"]
    return {field["name"]: {key: field[key] for key in ("description", "unit") if key in field} for field in fields}


def _field(name: str, told: dict[str, dict[str, str]]) -> dict[str, str]:
    """What is known of a column: from the contract, from the ledger, or from the unit in its name."""
    if name in told:
        return told[name]
    if name in KEPT_BESIDE:
        return {"description": KEPT_BESIDE[name]}
    if name.endswith("_pa"):
        delivered = told.get(name.removesuffix("_pa"), {}).get("description")
        return ({"description": f"{delivered} Here in pascal."} if delivered else {}) | {"unit": "Pa"}
    return {}


def _type(kind: pa.DataType) -> str:
    """The Table Schema type of an Arrow type."""
    tests: tuple[tuple[Callable[[pa.DataType], bool], str], ...] = (
        (pa.types.is_boolean, "boolean"),
        (pa.types.is_integer, "integer"),
        (pa.types.is_floating, "number"),
        (pa.types.is_decimal, "number"),
        (pa.types.is_date, "date"),
        (pa.types.is_timestamp, "datetime"),
        (pa.types.is_time, "time"),
        (pa.types.is_list, "array"),
        (pa.types.is_struct, "object"),
    )
    return next((name for test, name in tests if test(kind)), "string")
