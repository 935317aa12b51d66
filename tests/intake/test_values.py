"""Cells into values: the quick and the thorough form, cell by cell."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path

import duckdb
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import pipelines.intake
from pipelines.contract.tables import TABLE_BY_NAME, TABLES
from pipelines.intake.judging import findings, thorough_sql
from pipelines.intake.quick import quick_sql
from pipelines.intake.rules import Rules, stored_list
from pipelines.intake.sql_text import name, text
from pipelines.settings import Settings

TODAY = date(2026, 11, 25)


@pytest.fixture(scope="module")
def con():
    con = duckdb.connect()
    con.execute("SET TimeZone = 'UTC'")
    con.execute((Path(pipelines.intake.__path__[0]) / "cleaning.sql").read_text("utf-8"))
    return con


def source(row: dict[str, str | None]) -> str:
    cells = (
        f"{'NULL' if cell is None else text(cell)}::VARCHAR AS {name('r_' + field)}" for field, cell in row.items()
    )
    return f"SELECT {', '.join(cells)}"


def rules_for(table: str, row: dict, more: Settings | None = None) -> Rules:
    return Rules(TABLE_BY_NAME[table], frozenset(row), more or Settings(), TODAY)


def thorough(con, table: str, row: dict, more: Settings | None = None) -> tuple[dict, dict]:
    """Stored values by name, and reason codes by column."""
    rules = rules_for(table, row, more)
    query = thorough_sql(rules, source(row))
    values = con.execute(f"SELECT {', '.join(stored_list(rules))} FROM ({query})").fetchone()
    names = [entry.stored_name for entry in rules.table.fields]
    names += ["value_pa", "sign"] if len(values) > len(names) else []
    codes = con.execute(f"SELECT {', '.join(code for _, code, _ in findings(rules))} FROM ({query})").fetchone()
    reasons = {column: code for (column, _, _), code in zip(findings(rules), codes, strict=True) if code}
    return dict(zip(names, values, strict=True)), reasons


def quick(con, table: str, row: dict, more: Settings | None = None) -> tuple[dict, bool]:
    rules = rules_for(table, row, more)
    query = quick_sql(rules, source(row))
    *values, is_suspect = con.execute(f"SELECT {', '.join(stored_list(rules))}, is_suspect FROM ({query})").fetchone()
    names = [entry.stored_name for entry in rules.table.fields]
    names += ["value_pa", "sign"] if len(values) > len(names) else []
    return dict(zip(names, values, strict=True)), is_suspect


def number_in(con, cell: str) -> tuple[float | None, str | None]:
    row = {"visit_id": "V1", "line_no": "1", "quantity": "1", "price": cell}
    values, reasons = thorough(con, "part_lines", row)
    return values["price"], reasons.get("price")


@pytest.mark.parametrize(
    ("cell", "value"),
    [
        ("1", 1), ("-.82", -0.82), ("+.5", 0.5), (" 7 ", 7), ("1e3", 1000), ("0,82", 0.82), ("-0,5", -0.5), (",5", 0.5),
        ("1.234,5", 1234.5), ("1,234.5", 1234.5), ("1.234.567", 1234567 / 10), ("12,5", 12.5), ("0,123", 0.123),
        ("1,2345", 1.2345), ("\N{MINUS SIGN}3.5", -3.5), ("\N{EN DASH}3", -3), ("1\N{THIN SPACE}234,5", 1234.5),
        ("1\N{NARROW NO-BREAK SPACE}234.5", 1234.5), ("\N{NO-BREAK SPACE}4", 4), ("1'234.5", 1234.5), ("1 234", 1234),
        ("12,345,678.9", 12345678.9), ("5.", 5),
    ],
)  # fmt: skip
def test_numbers_as_people_write_them(con, cell, value):
    limit = TABLE_BY_NAME["part_lines"].by_name["price"].maximum
    if value > limit:
        assert number_in(con, cell) == (None, "out_of_range")
    elif cell == "1.234.567":
        # Marks of thousands: 1,234,567 lies beyond the limit of a price.
        assert number_in(con, cell) == (None, "out_of_range")
    else:
        assert number_in(con, cell) == (pytest.approx(value), None)


@pytest.mark.parametrize(
    ("cell", "code"),
    [
        ("1,234", "ambiguous_number"), ("-12,345", "ambiguous_number"), ("abc", "not_a_number"), ("1.2.3", "not_a_number"),
        ("1,2,3", "not_a_number"), ("--1", "not_a_number"), ("12 USD", "not_a_number"), ("NaN", "not_finite"),
        ("inf", "not_finite"), ("-Infinity", "not_finite"), ("1e308", "out_of_range"), ("1e999", "not_finite"),
    ],
)  # fmt: skip
def test_what_is_no_number(con, cell, code):
    assert number_in(con, cell) == (None, code)


@pytest.mark.parametrize(
    ("cell", "value"), [("2", 2), ("2.0", 2), ("1e2", 100), ("1.5", "not_whole"), ("-1", "out_of_range")]
)
def test_whole_numbers(con, cell, value):
    values, reasons = thorough(con, "part_lines", {"visit_id": "V", "line_no": cell, "quantity": "1"})
    assert (reasons.get("line_no") or values["line_no"]) == value


@pytest.mark.parametrize("cell", ["yes", "YES", "y", "Y", "true", "True", "t", "1", "x", "X", " yes ", "1.0"])
def test_yes(con, cell):
    values, _ = thorough(con, "visits", {"visit_id": "V", "is_after_hours": cell})
    assert values["is_after_hours"] is True


@pytest.mark.parametrize("cell", ["no", "No", "n", "false", "FALSE", "f", "0", "0.0"])
def test_no(con, cell):
    values, _ = thorough(con, "visits", {"visit_id": "V", "is_after_hours": cell})
    assert values["is_after_hours"] is False


@pytest.mark.parametrize(
    "cell", ["no_heat", "No Heat", "NO-HEAT", "no  heat", " no_heat\N{NO-BREAK SPACE}", "no\N{NO-BREAK SPACE}heat"]
)
def test_codes_whatever_their_case_spaces_and_hyphens(con, cell):
    assert thorough(con, "visits", {"visit_kind": cell})[0]["visit_kind"] == "no_heat"


@pytest.mark.parametrize(
    ("cell", "zone", "value"),
    [
        ("2024-01-15T08:30:00", "UTC", datetime(2024, 1, 15, 8, 30)),
        ("2024-01-15 08:30", "UTC", datetime(2024, 1, 15, 8, 30)),
        ("2024-01-15T08:30:00Z", "America/Chicago", datetime(2024, 1, 15, 8, 30)),
        ("2024-01-15T08:30:00+02:00", "UTC", datetime(2024, 1, 15, 6, 30)),
        ("2024-01-15T08:30+02", "UTC", datetime(2024, 1, 15, 6, 30)),
        ("2024-01-15T8:5:00Z", "America/Chicago", datetime(2024, 1, 15, 8, 5)),
        ("2024-01-15 08:30:00-0500", "UTC", datetime(2024, 1, 15, 13, 30)),
        ("2024-01-15 08:30:00 -05:00", "America/Chicago", datetime(2024, 1, 15, 13, 30)),
        ("2024-01-15 08:30:00 Z", "America/Chicago", datetime(2024, 1, 15, 8, 30)),
        ("2024-01-15T08:30:00\N{MINUS SIGN}05:00", "UTC", datetime(2024, 1, 15, 13, 30)),
        ("2024-01-15T08:30:00", "America/Chicago", datetime(2024, 1, 15, 14, 30)),
        ("2024-07-15T08:30:00", "America/Chicago", datetime(2024, 7, 15, 13, 30)),
        ("2024-07-15", "America/Chicago", datetime(2024, 7, 15, 5, 0)),
        # The clocks went from 2:00 to 3:00 on 10 March 2024: a time in the gap is moved forward by an hour.
        ("2024-03-10T02:30:00", "America/Chicago", datetime(2024, 3, 10, 8, 30)),
        # 1:30 came twice on 3 November 2024, at UTC-5 and then at UTC-6: the later, standard time, is meant.
        ("2024-11-03T01:30:00", "America/Chicago", datetime(2024, 11, 3, 7, 30)),
    ],
)
def test_times_become_utc(con, cell, zone, value):
    row = {"visit_id": "V", "arrived_at": cell}
    assert thorough(con, "visits", row, Settings(time_zone=zone))[0]["arrived_at"] == value
    assert quick(con, "visits", row, Settings(time_zone=zone))[0]["arrived_at"] == value


@pytest.mark.parametrize(
    ("cell", "code"),
    [
        # What stands behind a time may not be dropped in silence: these would be 12 hours or a zone off.
        ("2024-01-15 2:30 PM", "not_a_time"), ("2024-01-15 12:30 AM", "not_a_time"), ("2024-01-15 02:30 pm", "not_a_time"),
        ("2024-01-15T02:30 PM+00:00", "not_a_time"), ("2024-01-15 02:30 PM Z", "not_a_time"),
        ("2024-01-15 14:30 America/New_York", "not_a_time"), ("2024-01-15 14:30 x", "not_a_time"),
        ("2024-01-15 00:00:00 09:05:00", "not_a_time"),
        ("soon", "not_a_time"), ("31/02/2024", "not_a_time"), ("15/01/2024", "not_a_time"), ("45306", "not_a_time"),
        ("2023-02-29", "not_a_time"), ("2024-13-01", "not_a_time"), ("5014-09-15", "date_out_of_range"),
        ("1989-12-31T23:59:59", "date_out_of_range"), ("2026-11-27", "date_out_of_range"), ("infinity", "date_out_of_range"),
    ],
)  # fmt: skip
def test_what_is_no_time(con, cell, code):
    values, reasons = thorough(con, "visits", {"visit_id": "V", "arrived_at": cell})
    assert (values["arrived_at"], reasons["arrived_at"]) == (None, code)
    assert quick(con, "visits", {"visit_id": "V", "arrived_at": cell})[1]


@pytest.mark.parametrize(
    "cell",
    ["294247-01-10T04:00:00", "294247-1-1 00:00:00", "294247-01-10T04:00:00+00:00", "290308-12-22 (BC) 00:00:00", "infinity"],
)  # fmt: skip
def test_a_time_beyond_the_calendar_is_out_of_range_in_every_time_zone(con, cell):
    """The calendar of time zones ends before the time stamps do (seen: it fails on 294247-01-10T04:00:00)."""
    for zone in ("America/Chicago", "Asia/Tokyo", "UTC"):
        row = {"visit_id": "V", "arrived_at": cell}
        assert thorough(con, "visits", row, Settings(time_zone=zone))[1] == {"arrived_at": "date_out_of_range"}
        assert quick(con, "visits", row, Settings(time_zone=zone))[1]


def test_tomorrow_is_still_accepted(con):
    values, reasons = thorough(con, "visits", {"arrived_at": "2026-11-26T23:59:59"})
    assert values["arrived_at"] == datetime(2026, 11, 26, 23, 59, 59) and "arrived_at" not in reasons


READING = {"visit_id": "V", "reading_no": "1", "quantity": "draft_at_switch"}


@pytest.mark.parametrize(
    ("value", "unit", "stored"),
    [
        ("-.82", "in. w.c.", (-0.82, "[in_i'H2O]", 204.2529, -1)),
        ('0.82"', None, (0.82, "[in_i'H2O]", 204.2529, 1)),
        ('0,82 "WC', "", (0.82, "[in_i'H2O]", 204.2529, 1)),
        ("0.82 in. w.c.", "inH2O", (0.82, "[in_i'H2O]", 204.2529, 1)),
        ("\N{MINUS SIGN}200Pa", None, (-200, "Pa", 200, -1)),
        ("2 mbar", None, (2, "mbar", 200, 1)),
        ("0", "kPa", (0, "kPa", 0, 0)),
        ("1", "mm H2O", (1, "mm[H2O]", 9.80665, 1)),
        ("5", None, (5, None, None, 1)),
    ],
)
def test_readings_keep_sign_and_unit_and_get_pascal(con, value, unit, stored):
    got, reasons = thorough(con, "readings", READING | {"value": value, "unit": unit})
    assert not reasons
    pascal = None if stored[2] is None else pytest.approx(stored[2], abs=1e-4)
    assert (got["value"], got["unit"], got["value_pa"], got["sign"]) == (stored[0], stored[1], pascal, stored[3])


@pytest.mark.parametrize(
    ("value", "unit", "column", "code"),
    [
        ("1 furlong", None, "value", "not_a_unit"), ("1", "furlong", "unit", "not_a_unit"),
        ("1 Pa", "mbar", "value", "two_units"), ("1.2.3 Pa", None, "value", "not_a_number"),
        ("1,234 Pa", None, "value", "ambiguous_number"), ("200000", "Pa", "value", "out_of_range"),
    ],
)  # fmt: skip
def test_readings_that_cannot_be_taken(con, value, unit, column, code):
    assert thorough(con, "readings", READING | {"value": value, "unit": unit})[1] == {column: code}


def test_the_default_unit_is_for_pressures_only(con):
    own = Settings(default_pressure_unit="Pa")
    assert thorough(con, "readings", READING | {"value": "50"}, own)[0]["value_pa"] == 50
    volts = READING | {"quantity": "contact_voltage", "value": "24", "unit": None}
    assert thorough(con, "readings", volts, own)[0]["unit"] is None
    assert thorough(con, "readings", volts, own)[0]["value_pa"] is None


def test_each_pressure_of_a_row_has_its_own_unit_or_the_rows(con):
    row = {"part_number": "P", "rated_make_pressure": '0.5"', "make_tolerance": "10 Pa", "rated_break_pressure": "5"}
    got, reasons = thorough(con, "parts", row)
    assert not reasons
    assert (got["rated_make_pressure_pa"], got["make_tolerance_pa"]) == (pytest.approx(124.5445, abs=1e-3), 10)
    assert got["rated_break_pressure_pa"] is None, "a bare number does not take the unit of another cell"
    got, _ = thorough(con, "parts", row | {"pressure_unit": "Pa", "rated_make_pressure": "-50"})
    assert (got["rated_make_pressure_pa"], got["rated_break_pressure_pa"]) == (50, 5)


CELL = st.one_of(
    st.text(max_size=8),
    st.floats().map(str),
    st.integers(-9999, 9999).map(str),
    st.sampled_from(
        ["", " ", "yes", "No Heat", "no_heat", "2024-01-15T08:30:00+00:00", "2024-01-15", "Pa", "in. w.c.", '"', "NULL"]
        + ["usd", "USD", "1,5", "-.82", "draft_at_switch", "x ", "\tx", "a\nb", "a\N{NO-BREAK SPACE}", "é" * 201]
    ),
)


@settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.data())
def test_what_the_quick_form_accepts_the_thorough_form_accepts_alike(con, data):
    table = data.draw(st.sampled_from(TABLES))
    filled = [entry.name for entry in table.fields if entry.is_required or data.draw(st.booleans())]
    row = {field: data.draw(CELL).replace("\0", "") or None for field in filled}
    values, is_suspect = quick(con, table.name, row)
    if is_suspect:
        return
    thorough_values, reasons = thorough(con, table.name, row)
    assert (thorough_values, reasons) == (values, {})


def test_the_quick_form_takes_every_good_row_of_the_contract_by_itself(con):
    """Otherwise every row would be looked at twice, and loading would be slow without any test telling."""
    from pipelines.contract.examples import full_row

    for table in TABLES:
        assert quick(con, table.name, full_row(table))[1] is False, table.name
