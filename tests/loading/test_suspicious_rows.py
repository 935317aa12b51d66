"""Dirt that is accepted is told: one line of the load report for each kind, with the number of rows."""

from __future__ import annotations

import pytest

from pipelines.contract.units import INCH_OF_WATER_PA
from pipelines.intake.suspicions import HIGHEST_DRAFT_PA
from pipelines.settings import Settings

READINGS = "visit_id,reading_no,quantity,value,unit,condition\n"
LINES = "visit_id,line_no,part_class,description,quantity\n"


@pytest.mark.parametrize(
    ("name", "body", "said"),
    [
        ("readings.csv", READINGS + "V1,1,draft_at_switch,3.5,inWC,hot_running\nV1,2,draft_at_port,10,inWC,\n"
         "V1,3,manifold_pressure,3.5,inWC,\nV1,4,draft_at_switch,1.2,inWC,\n", "2 draft readings are above 2.8 in. w.c."),
        ("readings.csv", READINGS + "V1,1,draft_at_switch,0,inWC,hot_running\nV1,2,draft_at_switch,0,inWC,at_rest\n",
         "1 draft reading is exactly 0 while running"),
        ("readings.csv", READINGS + "V1,1,draft_at_switch,0.8,Pa,start\nV1,2,draft_at_switch,180,Pa,start\n",
         "1 draft reading in Pa is as small as"),
        ("readings.csv", READINGS + "V1,1,draft_at_switch,-0.8,inWC,start\nV1,2,manifold_pressure,-1,inWC,start\n",
         "1 draft reading has a minus sign"),
        ("parts.csv", "part_number,rated_make_pressure,pressure_unit\nP1,0,inWC\nP2,0.6,inWC\n", "1 rated make point is 0"),
        ("part_lines.csv", LINES + "V1,1,draft_switch,Gas pressure switch LP,1\nV1,2,gas_switch,gas switch,1\n"
         "V1,3,draft_switch,draft pressure switch,1\nV1,4,draft_switch,REFRIGERANT hi pressure switch,1\n",
         "2 lines classed as draft switches speak of gas, water, refrigerant"),
    ],
    ids=["manifold", "zero", "mixed units", "sign", "zero rating", "another circuit"],
)  # fmt: skip
def test_suspicious_rows_are_accepted_and_told(desk, name, body, said):
    file = desk.load_text(name, body)
    assert file.n_held_back == 0 and file.n_accepted == file.n_rows
    assert len([message for message in file.messages if message.startswith(said)]) == 1, file.messages


def test_good_readings_bring_no_remark(desk):
    assert desk.load_text("readings.csv", READINGS + "V1,1,draft_at_switch,0.82,inWC,start\n").messages == ()


def test_test_entries_are_told(desk, table, row):
    rows = [row(1), row(2, notes="TEST"), row(3).replace("T1", "dummy 2"), row(4, notes="tested the trap")]
    (said,) = desk.load_text("visits.csv", table(*rows)).messages
    assert said.startswith("2 visits look like test entries")


def test_cloned_notes_are_told(desk, table, row):
    note = "replaced pressure switch and verified proper operation"
    rows = [row(n, notes=note).replace("S1", f"S{n}") for n in range(6)]
    own = [row(n, notes=f"{note} on unit {n}") for n in range(10, 20)]
    (said,) = desk.load_text("visits.csv", table(*rows, *own)).messages
    assert said.startswith("6 visits have a note that stands word for word")


def test_the_hour_that_occurs_twice_is_told(desk, table, row):
    """In Chicago the hour from 01:00 came twice on 2 November 2025."""
    rows = [
        row(1, arrived="2025-11-02T01:30:00"),
        row(2, arrived="2025-11-02T02:30:00"),
        row(3, arrived="2025-11-02T00:30:00"),
    ]
    file = desk.load_text("visits.csv", table(*rows), settings=Settings(time_zone="America/Chicago"))
    (said,) = file.messages
    assert said.startswith("1 arrival lies in the hour that occurs twice")
    assert desk.rows("SELECT hour(arrived_at) FROM delivered.visits WHERE visit_id = 'V1'") == [(7,)]


def test_an_hour_that_does_not_exist_is_moved_by_the_gap(desk, table, row):
    """In Chicago the clocks went from 02:00 to 03:00 on 9 March 2025."""
    desk.load_text(
        "visits.csv", table(row(1, arrived="2025-03-09T02:30:00")), settings=Settings(time_zone="America/Chicago")
    )
    assert desk.rows("SELECT strftime(arrived_at, '%H:%M') FROM delivered.visits") == [("08:30",)]


def test_the_limit_of_draft_lies_between_a_switch_and_a_manifold():
    assert 2.5 * INCH_OF_WATER_PA < HIGHEST_DRAFT_PA < 3.5 * INCH_OF_WATER_PA
