"""Proposals for sheets that keep day and time apart, or the same column several times; and what no value can be."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pipelines.mapping.declared import ColumnRule
from pipelines.mapping.proposing import propose
from pipelines.mapping.said_in_names import currency_in, pressure_unit_in
from pipelines.mapping.samples import Sample
from pipelines.mapping.value_signs import is_time
from pipelines.mapping.writing import toml_of
from pipelines.store import Store


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


def test_columns_that_stand_several_times_make_a_table_for_each_group():
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
    (source,) = propose([Sample("jobs.csv", None, header, rows)], "jobs").mapping.sources
    first, second = (dict(table.columns) for table in source.tables if table.table_name == "part_lines")
    assert (first["part_number"].columns, first["quantity"].columns) == (("Teil 1",), ("Anz 1",))
    assert (second["part_number"].columns, second["quantity"].columns) == (("Teil 2",), ("Anz 2",))
    read = {column for lines in (first, second) for rule in lines.values() for column in rule.columns}
    assert "Uhrzeit" not in read, "a time of day is no price"
    assert "Zug vorher" not in read, "a measured value is no tag"
    visits = next(dict(table.columns) for table in source.tables if table.table_name == "visits")
    assert visits["visit_kind"].columns == ("Art",) and "Art" not in read, "the very word for a kind of visit"


WIDE = ["Job", "Site", "Tech", "Date", "Call type", "Part 1", "Qty 1", "Price 1 (EUR)", "Core tag", "Part 2", "Qty 2", "Price 2 (EUR)",
        "Draft 1 (in wc)", "Draft 2 (in wc)", "Contacts", "Kunde", "Telefon"]  # fmt: skip


def wide_rows() -> list[list[str]]:
    """40 visits: every third with a second part, every second with a second reading; two rows stand twice."""
    rows = [
        [f"J{n}", f"S{n % 7}", "Ortiz", f"{1 + n % 28:02}/01/2025", "no_heat", "PS-1", "1", "44.50", f"TAG{n}", "H-2" if n % 3 == 0 else "",
         "2" if n % 3 == 0 else "", "3.50" if n % 3 == 0 else "", "0.82", "0.31" if n % 2 else "", "open", "Somebody", "555 01 02"]
        for n in range(40)
    ]  # fmt: skip
    return [*rows, rows[3], rows[5]]


def test_the_second_part_and_gauge_of_a_row_are_loaded_and_a_row_that_stands_twice_counts_once(desk):
    path = desk.write("jobs.csv", WIDE, wide_rows())
    proposal = propose(
        [Sample("jobs.csv", None, WIDE, [tuple(cell or None for cell in row) for row in wide_rows()])], "jobs"
    )
    files = desk.load(toml_of(replace(proposal.mapping, is_confirmed=True)), path).files
    assert not sum(file.n_held_back for file in files), files
    assert desk.query("SELECT part_number, count(*), sum(quantity), min(currency) FROM delivered.part_lines GROUP BY 1 ORDER BY 1") == [
        ("H-2", 14, 28, "EUR"), ("PS-1", 40, 40, "EUR")
    ]  # fmt: skip
    assert desk.query("SELECT unit, count(*), count(contacts) FROM delivered.readings GROUP BY 1") == [
        ("[in_i'H2O]", 60, 40)
    ], "whose contacts the second gauge's are is not known"
    assert desk.query("SELECT count(removed_tag) FROM delivered.part_lines") == [(40,)], "one tag, of the first part"
    said = [message for file in files for message in file.messages]
    assert any(
        "14 rows of part_lines made from 42 rows; 27 left out by the mapping's conditions; 1 equals" in one
        for one in said
    ), said
    assert any("40 rows of part_lines made from 42 rows; 2 equal others and count once" in one for one in said), said


def test_readings_repeated_with_every_line_of_a_visit_count_once_and_equal_lines_are_all_kept(desk):
    header = ["Job", "Site", "Tech", "Date", "Call type", "Part", "Qty", "Draft"]
    rows = [["J1", "S1", "Ortiz", "13/01/2025", "no_heat", part, "1", "0.82 in wc"] for part in ("PS-1", "H-2", "H-2")]
    rows += [["J2", "S1", "Ortiz", "14/01/2025", "no_heat", "", "", "0.9 in wc"]]
    sample = Sample("jobs.csv", None, header, [tuple(cell or None for cell in row) for row in rows])
    mapping = replace(propose([sample], "jobs").mapping, is_confirmed=True)
    desk.load(toml_of(mapping), desk.write("jobs.csv", header, rows))
    assert desk.query("SELECT visit_id, count(*) FROM delivered.readings GROUP BY 1 ORDER BY 1") == [
        ("J1", 1),
        ("J2", 1),
    ]
    assert desk.query("SELECT part_number, line_no FROM delivered.part_lines ORDER BY 2") == [
        ("PS-1", 1), ("H-2", 2), ("H-2", 3)
    ]  # fmt: skip


def test_columns_that_no_table_reads_are_named_in_the_mapping():
    sample = Sample("jobs.csv", None, WIDE, [tuple(cell or None for cell in row) for row in wide_rows()])
    proposal = propose([sample], "jobs")
    assert '# Of these no table reads: ["Kunde", "Telefon"]' in toml_of(proposal.mapping).splitlines()


@pytest.mark.parametrize(
    ("column", "unit"),
    [("Draft (in. w.c.)", "[in_i'H2O]"), ("Zug_Pa", "Pa"), ("Draft in wc", "[in_i'H2O]"), ("Zug [mbar]", "mbar"),
     ("Draft in", None), ("Pa", None), ("Fan volts V", None), ("Stack temp (F)", None)],
)  # fmt: skip
def test_a_pressure_unit_in_the_name_of_a_column_is_read(column, unit):
    assert pressure_unit_in(column) == unit


@pytest.mark.parametrize(
    ("column", "currency"),
    [("Price (USD)", "USD"), ("Preis €", "EUR"), ("Price $", None), ("Price all", None), ("ALL prices", None)],
)
def test_a_currency_in_the_name_of_a_column_is_read(column, currency):
    assert currency_in(column) == currency


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


def test_two_tables_of_the_same_rows_whose_keys_meet_are_refused_and_nothing_is_lost(desk):
    path = desk.write("jobs.csv", WIDE, wide_rows())
    proposal = propose(
        [Sample("jobs.csv", None, WIDE, [tuple(cell or None for cell in row) for row in wide_rows()])], "jobs"
    )
    toml = toml_of(replace(proposal.mapping, is_confirmed=True))
    colliding = toml.replace(', prefix = "200"', "")
    assert colliding != toml
    files = desk.load(colliding, path).files
    refused = [file.error for file in files if file.table_name == "part_lines"]
    assert len(refused) == 2 and all("14 keys stand in two tables part_lines" in error for error in refused), refused
    assert all("such as J0, 1" in error for error in refused)
    assert all(file.error for file in files), "half an export would be worse than none"
    assert Store(desk.home).current() is None


def test_before_and_after_the_repair_are_two_readings():
    header = [
        "WO",
        "Cust Name",
        "Acct",
        "Tech",
        "In",
        "Job type",
        "Cause",
        "Part",
        "Qty",
        "Draft Bef",
        "Draft Aft (Pa)",
    ]
    rows = [
        (f"W{n}", "Somebody", f"A{n % 7}", "Lee", f"{1 + n % 28:02}/01/2025 08:00", "no_heat", "trap blocked", "PS-1", "1",
         "0.82" if n % 2 else None, "120" if n % 2 else None)
        for n in range(40)
    ]  # fmt: skip
    (source,) = propose([Sample("jobs.csv", None, header, rows)], "jobs").mapping.sources
    before, after = (dict(table.columns) for table in source.tables if table.table_name == "readings")
    assert (before["value"].columns, before["taken"].value) == (("Draft Bef",), "before_repair")
    assert (after["value"].columns, after["taken"].value, after["unit"].value) == (
        ("Draft Aft (Pa)",),
        "after_repair",
        "Pa",
    )
    assert "unit" not in before
    assert source.unread(header) == ["Cust Name"], "a customer's name is read for nothing"
