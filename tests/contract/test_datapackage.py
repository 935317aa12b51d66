"""The data package against the open standard, read by an independent program (frictionless), without a network."""

from __future__ import annotations

import csv
import json
import socket

import frictionless
import pytest

from pipelines.contract.datapackage import data_package
from pipelines.contract.examples import full_row
from pipelines.contract.tables import TABLE_BY_NAME, TABLES


@pytest.fixture(autouse=True)
def without_a_network(monkeypatch):
    def refuse(*_args, **_more):
        raise AssertionError("the check reached for the network")

    monkeypatch.setattr(socket.socket, "connect", refuse)
    monkeypatch.setattr(socket, "getaddrinfo", refuse)


def write_rows(folder, name, rows, left_out=()):
    columns = [entry.name for entry in TABLE_BY_NAME[name].fields if entry.name not in left_out]
    with (folder / f"{name}.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, columns, extrasaction="ignore")
        writer.writeheader()
        writer.writerows(rows)


def problems(folder, descriptor):
    path = folder / "datapackage.json"
    path.write_text(json.dumps(descriptor), encoding="utf-8")
    report = frictionless.validate(str(path))
    return {tuple(row) for row in report.flatten(["title", "rowNumber", "fieldName"])}


@pytest.fixture
def records(tmp_path):
    for table in TABLES:
        write_rows(tmp_path, table.name, [full_row(table)])
    return tmp_path


def test_descriptor_is_valid():
    report = frictionless.Package.validate_descriptor(data_package())
    assert report.valid, report.flatten(["type", "note"])


def test_a_wrong_descriptor_is_found():
    descriptor = data_package()
    descriptor["resources"][0]["schema"]["fields"][0]["type"] = "words"
    assert not frictionless.Package.validate_descriptor(descriptor).valid


def test_good_records_of_every_table_pass(records):
    assert problems(records, data_package()) == set()


def test_violations_are_found_where_they_are(records):
    good = full_row(TABLE_BY_NAME["visits"])
    rows = [
        good,
        good,
        good | {"visit_id": "VISIT-2", "visit_kind": "no_such_code"},
        good | {"visit_id": "VISIT-3", "is_after_hours": "perhaps"},
        good | {"visit_id": "VISIT-4", "arrived_at": ""},
        good | {"visit_id": "VISIT-5", "site_id": "SITE-99"},
        good | {"visit_id": "VISIT-6", "job_id": "x" * 201},
    ]
    write_rows(records, "visits", rows)
    assert problems(records, data_package()) == {
        ("Unique Error", 3, "visit_id"),
        ("PrimaryKey Error", 3, None),
        ("Constraint Error", 4, "visit_kind"),
        ("Type Error", 5, "is_after_hours"),
        ("Constraint Error", 6, "arrived_at"),
        ("ForeignKey Error", 7, None),
        ("Constraint Error", 8, "job_id"),
    }


def test_limits_of_numbers_and_dates_are_carried(records):
    good = full_row(TABLE_BY_NAME["weather_days"])
    rows = [good, good | {"weather_station_id": "B", "snowfall_mm": "-1"}, good | {"day_on": "1989-12-31"}]
    write_rows(records, "weather_days", rows)
    assert problems(records, data_package()) == {
        ("Constraint Error", 3, "snowfall_mm"),
        ("Constraint Error", 4, "day_on"),
    }


def test_a_column_that_is_not_required_may_be_missing_and_a_required_one_not(records):
    row = full_row(TABLE_BY_NAME["visits"])
    write_rows(records, "visits", [row], left_out=("notes", "symptom"))
    assert problems(records, data_package()) == set()
    write_rows(records, "visits", [row], left_out=("technician_id",))
    assert ("Missing Label", None, "technician_id") in problems(records, data_package())


def test_two_tables_are_enough(tmp_path):
    for name in ("visits", "part_lines"):
        write_rows(tmp_path, name, [full_row(TABLE_BY_NAME[name])])
    descriptor = data_package(["visits", "part_lines"])
    assert [resource["name"] for resource in descriptor["resources"]] == ["visits", "part_lines"]
    assert problems(tmp_path, descriptor) == set()


def test_every_column_and_code_is_in_it():
    for table, resource in zip(TABLES, data_package()["resources"], strict=True):
        fields = resource["schema"]["fields"]
        assert [field["name"] for field in fields] == [entry.name for entry in table.fields]
        assert resource["schema"]["primaryKey"] == list(table.key)
        for field, entry in zip(fields, table.fields, strict=True):
            if entry.code_list is not None:
                assert field["constraints"]["enum"] == list(entry.code_list.values())
            assert field.get("constraints", {}).get("required", False) == entry.is_required
