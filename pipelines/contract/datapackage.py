"""The contract as a Data Package, so that other tools can read and check the records too.

It describes the records in their plain form: the product's own names and codes, numbers as numbers, units by UCUM
code. The spellings that loading accepts beyond that (`0.82"`, `in. w.c.`) are not in it.
Open standard: Data Package 2.0 with Table Schema (fields, types, constraints, missing values, keys).
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from pipelines.contract.currencies import CURRENCY_CODES
from pipelines.contract.describe import describe_column
from pipelines.contract.examples import good_value
from pipelines.contract.fields import Field, Table
from pipelines.contract.limits import allowed_units
from pipelines.contract.tables import TABLE_BY_NAME, TABLES

STANDARD = "https://datapackage.org/profiles/2.0/datapackage.json"
TYPE_OF_KIND = {
    "id": "string",
    "text": "string",
    "code": "string",
    "flag": "boolean",
    "whole": "integer",
    "number": "number",
    "timestamp": "datetime",
    "date": "date",
    "pressure": "number",
    "quantity": "number",
    "unit": "string",
    "currency": "string",
}
TRUE_WORDS = ["true", "True", "TRUE", "yes", "Yes", "YES", "1"]
FALSE_WORDS = ["false", "False", "FALSE", "no", "No", "NO", "0"]


def data_package(tables: Iterable[str] | None = None) -> dict[str, Any]:
    """The descriptor, ready to be written as datapackage.json beside the CSV files it describes.

    tables: names of the tables at hand; None = all. Keys that point to a table not at hand are left out, since a
    company may have only visits and part_lines. Raises KeyError for a name that is not in the contract.
    """
    chosen = TABLES if tables is None else tuple(TABLE_BY_NAME[name] for name in dict.fromkeys(tables))
    names = {table.name for table in chosen}
    return {
        "$schema": STANDARD,
        "name": "goodpull-visit-records",
        "title": "Visit records of a gas-heating company",
        "description": "Visits, readings, parts, bench tests and what belongs to them: one CSV file a table.",
        "resources": [_resource(table, names) for table in chosen],
    }


def _resource(table: Table, names: set[str]) -> dict[str, Any]:
    return {
        "name": table.name,
        "path": f"{table.name}.csv",
        "type": "table",
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "description": f"One row is {table.row}.",
        "schema": _schema(table, names),
    }


def _schema(table: Table, names: set[str]) -> dict[str, Any]:
    schema: dict[str, Any] = {
        # A company may lack columns, and have others; those are named on load.
        "fieldsMatch": "partial",
        "fields": [_field(table, entry) for entry in table.fields],
        "missingValues": [""],
        "primaryKey": list(table.key),
    }
    keys = [_foreign_key(table, entry) for entry in table.fields if _points_into(entry, names)]
    if keys:
        schema["foreignKeys"] = keys
    return schema


def _field(table: Table, entry: Field) -> dict[str, Any]:
    field: dict[str, Any] = {
        "name": entry.name,
        "type": TYPE_OF_KIND[entry.kind],
        "description": describe_column(table, entry),
        "example": good_value(entry),
    }
    if entry.kind == "timestamp":
        field["format"] = "any"
    if entry.kind == "flag":
        field |= {"trueValues": TRUE_WORDS, "falseValues": FALSE_WORDS}
    if entry.kind == "code" and entry.code_list is not None:
        field["categories"] = [{"value": code.code, "label": code.about} for code in entry.code_list.codes]
    if entry.unit:
        field["unit"] = entry.unit
    constraints = _constraints(table, entry)
    if constraints:
        field["constraints"] = constraints
    return field


def _constraints(table: Table, entry: Field) -> dict[str, Any]:
    found: dict[str, Any] = {}
    if entry.is_required:
        found["required"] = True
    if table.key == (entry.name,):
        found["unique"] = True
    if entry.kind in ("id", "text"):
        found["maxLength"] = entry.longest
    choices = _choices(table, entry)
    if choices:
        found["enum"] = list(choices)
    # The limits of a pressure hold in pascal; in the file it may have any unit and sign.
    if entry.kind in ("whole", "number", "quantity"):
        found |= {
            name: _plain(limit)
            for name, limit in (("minimum", entry.minimum), ("maximum", entry.maximum))
            if limit is not None
        }
    if entry.kind == "date":
        found["minimum"] = f"{entry.earliest_year}-01-01"
    return found


def _choices(table: Table, entry: Field) -> tuple[str, ...]:
    if entry.kind == "code" and entry.code_list is not None:
        return entry.code_list.values()
    if entry.kind == "unit":
        return allowed_units(table, entry)
    return CURRENCY_CODES if entry.kind == "currency" else ()


def _foreign_key(table: Table, entry: Field) -> dict[str, Any]:
    other, column = str(entry.references).split(".")
    return {"fields": [entry.name], "reference": {"resource": "" if other == table.name else other, "fields": [column]}}


def _points_into(entry: Field, names: set[str]) -> bool:
    return entry.references is not None and entry.references.split(".")[0] in names


def _plain(value: float) -> float | int:
    return int(value) if float(value).is_integer() else value
