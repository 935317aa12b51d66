"""Proposals for sheets that keep day and time apart, or the same column several times; and what no value can be."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pipelines.mapping.declared import ColumnRule
from pipelines.mapping.proposing import propose
from pipelines.mapping.samples import Sample
from pipelines.mapping.value_signs import is_time
from pipelines.mapping.writing import toml_of


def proposed(columns: list[str], rows: list[tuple]) -> dict[str, dict[str, ColumnRule]]:
    (source,) = propose([Sample("jobs.csv", None, columns, rows)], "jobs").mapping.sources
    return {table.table_name: dict(table.columns) for table in source.tables}


def jobs(day: str, times: list[tuple[str, str]]) -> list[tuple]:
    return [
        (f"W{n}", f"L{n % 5}", f"T{n % 3}", day.format(day=13 + n % 15), time, end, "No heat")
        for n, (time, end) in enumerate(times * 10)
    ]


@pytest.mark.parametrize(
    ("columns", "day", "times", "formats"),
    [
        (("Datum", "Uhrzeit", "Ende"), "{day}.01.2025", [("9:05", "10:40"), ("14:30", "")], ["%d.%m.%Y %H:%M", "%d.%m.%Y"]),
        (("Visit date", "Time in", "Time out"), "01/{day}/2025", [("9:05 AM", "11:00 AM"), ("2:30 PM", "")],
         ["%m/%d/%Y %I:%M %p", "%m/%d/%Y"]),
        (("Date", "Arrival time", "Departure time"), "2025-01-{day}", [("09:05", "10:40"), ("14:30", "15:00")], []),
    ],
)  # fmt: skip
def test_a_day_and_a_time_in_two_columns_are_joined(columns, day, times, formats):
    header = ["Work order", "Site", "Technician", *columns, "Job type"]
    visits = proposed(header, jobs(day, times))["visits"]
    assert visits["arrived_at"] == ColumnRule(columns=columns[:2], join=" ", formats=tuple(formats))
    assert visits["left_at"].columns == (columns[0], columns[2])


def test_a_day_that_holds_its_time_is_joined_with_nothing():
    header = ["Work order", "Site", "Technician", "Date", "Time", "End", "Job type"]
    rows = jobs("2025-01-{day} 08:00", [("9:05", "10:40")])
    assert proposed(header, rows)["visits"]["arrived_at"].columns == ("Date",)
    without = [(*row[:4], "morning", *row[5:]) for row in jobs("2025-01-{day}", [("9:05", "10:40")])]
    assert proposed(header, without)["visits"]["arrived_at"].columns == ("Date",)


def test_the_first_of_a_column_that_stands_twice_is_taken_and_the_second_for_nothing_else():
    header = [
        "Auftrag",
        "Standort",
        "Techniker",
        "Datum",
        "Uhrzeit",
        "Art",
        "Teil 1",
        "Anz 1",
        "Teil 2",
        "Anz 2",
        "Zug vorher",
    ]
    rows = [
        (f"A{n}", f"S{n % 7}", f"T{n % 3}", f"{13 + n % 15}.01.2025", "9:05", ("NH", "PM")[n % 2], ("DS-1", "TR-2")[n % 2],
         "1", "H-3" if n % 3 else None, "1", f"0,{40 + n}")
        for n in range(40)
    ]  # fmt: skip
    found = proposed(header, rows)
    lines = found["part_lines"]
    assert lines["part_number"].columns == ("Teil 1",) and lines["quantity"].columns == ("Anz 1",)
    read = {column for rule in lines.values() for column in rule.columns}
    assert not read & {"Teil 2", "Anz 2"}, "neither a class nor a tag"
    assert "Uhrzeit" not in read, "a time of day is no price"
    assert "Zug vorher" not in read, "a measured value is no tag"
    assert found["visits"]["visit_kind"].columns == ("Art",) and "Art" not in read, "the very word for a kind of visit"


@pytest.mark.parametrize(("cell", "told"), [("9:05", True), ("09:05:30", True), ("2:30 pm", True), ("2:30 P.M.", True),
                                            ("9.05", False), ("2025-01-02 09:05", False), ("", False), ("905", False)])  # fmt: skip
def test_a_time_of_day_is_known_by_its_shape(cell, told):
    assert is_time(cell) is told


def test_joined_times_are_loaded_as_they_were_meant(desk):
    """A departure without a time is unknown, and a time of 12 hours is never taken for one of 24."""
    header = ["Work order", "Site", "Technician", "Visit date", "Time in", "Time out", "Job type"]
    rows = [
        [f"W{n}", f"L{n % 5}", f"T{n % 3}", f"01/{13 + n % 15}/2025", "2:30 PM", ("3:40 PM", "")[n % 2], "no_heat"]
        for n in range(20)
    ]
    path = desk.write("jobs.csv", header, rows)
    proposal = propose(
        [Sample("jobs.csv", None, header, [tuple(cell or None for cell in row) for row in rows])], "jobs"
    )
    (file,) = desk.load(toml_of(replace(proposal.mapping, is_confirmed=True)), path).files
    assert file.n_accepted == 20, file
    assert desk.query("SELECT DISTINCT strftime(arrived_at, '%H:%M'), strftime(left_at, '%H:%M') FROM delivered.visits ORDER BY 2") == [
        ("14:30", "15:40"), ("14:30", None)
    ]  # fmt: skip
    iso = [[*row[:3], f"2025-01-{13 + n % 15}", *row[4:]] for n, row in enumerate(rows)]
    made = proposed(header, [tuple(cell or None for cell in row) for row in iso])["visits"]
    assert made["arrived_at"].columns == ("Visit date",), "no form of date reads the two together"
