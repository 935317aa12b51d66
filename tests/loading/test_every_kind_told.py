"""Dirt that the records hold as they are: a line of the load report for each kind, with its number and nothing beside it."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from dashboard.printing import file_lines
from pipelines.intake.told_reasons import OPEN_BY_REASON
from pipelines.settings import Settings

# The store of these tests has no own work yet, so all that is held back is open.
OPEN = OPEN_BY_REASON.replace("held_back_open", "(SELECT *, md5(CAST(raw AS VARCHAR)) AS row_key FROM held_back)")
LINES = "visit_id,line_no,part_number,part_class,description,quantity,line_status\n"
APPLIANCES = "appliance_id,site_id,appliance_kind,model_code,serial_number,installed_on,removed_on\n"
CHICAGO = Settings(time_zone="America/Chicago")


def said(report, table: str) -> list[str]:
    (file,) = [file for file in report.files if file.table_name == table]
    assert file.error is None
    return list(file.messages)


def test_unknown_words_of_a_coded_column_are_all_told_with_their_counts(desk, table, row):
    """So that each is translated once, by a rule of the mapping, and not met one load after the other."""
    head = "visit_id,site_id,technician_id,arrived_at,visit_kind\n"
    kinds = ["NH"] * 3 + ["O'Day"] * 2 + ["no_heat"] + [f"k{n}" for n in range(8)]
    body = head + "".join(f"V{n},S,T,2025-01-01T10:00,{kind}\n" for n, kind in enumerate(kinds))
    report = desk.load_text("visits.csv", body)
    told = report.unknown_words["visit_kind: not_a_code"]
    assert told == (
        "'NH' 3 times, 'O'Day' 2 times, 'k0' once, 'k1' once, 'k2' once, 'k3' once, 'k4' once, 'k5' once and 2 other words"
    )
    assert report.reasons["visit_kind: not_a_code"] == 13
    (open_now,) = desk.rows(OPEN)
    assert open_now[:3] == ("visits", "visit_kind", "not_a_code") and open_now[4:] == (13, told)
    (line,) = file_lines(report)
    assert line.endswith(f"In all: {told}.")


def test_a_refused_cell_is_told_on_one_line_and_without_control_characters(desk):
    head = "visit_id,site_id,technician_id,arrived_at,visit_kind\n"
    body = (
        head + 'V1,S,T,2025-01-01T10:00,"NH\n\x1b[31mred"\nV2,S,T,2025-01-01T10:00,PM\n,S,T,2025-01-01T10:00,no_heat\n'
    )
    told = desk.load_text("visits.csv", body).unknown_words["visit_kind: not_a_code"]
    assert told == "'NH [31mred' once, 'PM' once"
    assert sorted(str(row[5]) for row in desk.rows(OPEN)) == [told, "None"], "nothing stands for a blank cell"


def test_one_wrong_word_and_a_wrong_date_need_no_list(desk):
    head = "visit_id,site_id,technician_id,arrived_at,visit_kind\n"
    body = head + "V1,S,T,never,no_heat\nV2,S,T,2025-01-01T10:00,NH\nV3,S,T,soon,no_heat\n"
    assert desk.load_text("visits.csv", body).unknown_words == {}
    assert sorted(row[5] for row in desk.rows(OPEN)) == ["'NH' once", "'never'"]


def test_lines_reversed_are_told(desk):
    body = LINES + "V1,1,P,draft_switch,,1,\nV1,2,P,draft_switch,,-1,\nV2,1,P,hose,,1,credited\nV3,1,P,hose,,1,quoted\n"
    (told,) = desk.load_text("part_lines.csv", body).messages
    assert told.startswith("2 lines take another back")


def test_lines_revised_and_overlapping_are_counted(desk):
    desk.load_text("part_lines.csv", LINES + "V1,1,P,hose,,1,\nV1,2,P,trap,,1,\nV1,3,P,trap,,1,\n")
    again = desk.load_text(
        "part_lines_2.csv", LINES + "V1,2,P,trap,,2,\nV1,3,P,trap,,1,\nV1,4,P,hose,,1,\nV1,4,P,hose,,1,\n"
    )
    assert (again.n_rows, again.n_accepted, again.n_revised, again.n_duplicates) == (4, 2, 1, 2)


def test_a_bare_number_without_a_unit_column_is_unknown_or_takes_the_usual_unit(desk):
    readings = "visit_id,reading_no,quantity,value\nV1,1,draft_at_switch,0.8\nV1,2,draft_at_switch,180\n"
    (told,) = desk.load_text("readings.csv", readings).messages
    assert told.startswith("2 rows have pressures without a unit")
    assert desk.rows("SELECT count(value_pa), count(value) FROM delivered.readings") == [(0, 2)]
    # With a usual unit, what cannot be meant in it is told: a draft of 0.8 Pa, one of 180 in. w.c.
    pascal = desk.load_text("readings.csv", readings, settings=Settings(default_pressure_unit="Pa"))
    assert [one for one in pascal.messages if one.startswith("1 draft reading in Pa is as small as")]
    inches = desk.load_text("readings.csv", readings, settings=Settings(default_pressure_unit="[in_i'H2O]"))
    (told,) = inches.messages
    assert told.startswith("1 draft reading is above any gas pressure in a house and looks like pascal")


@pytest.mark.parametrize(
    ("name", "n"), [("Lee / Ortiz", 1), ("Lee & Ortiz", 1), ("Lee and Ortiz", 1), ("J. Ortiz", 0), ("Sandy Brand", 0)]
)
def test_two_technicians_in_one_cell_are_told(desk, table, row, name, n):
    messages = desk.load_text("visits.csv", table(row(1).replace("T1", name), row(2))).messages
    assert [one.startswith(f"{n} visit names more than one technician") for one in messages] == [True] * n


def test_visits_with_a_crew_are_told_whichever_file_comes_first(desk, table, row):
    crew = "visit_id,technician_id\nV1,T1\nV1,T9\nV2,T9\nV3,T1\n"
    report = desk.load(
        desk.write("visit_crew.csv", crew), desk.write("visits.csv", table(row(1), row(2), row(3)))
    )  # V3 names its lead alone
    (told,) = said(report, "visit_crew")
    assert told.startswith("2 visits had two technicians or more")


def test_parts_renamed_are_told(desk):
    parts = "part_number,part_class,superseded_by\nOLD,draft_switch,NEW\nNEW,,\nX,hose,\n"
    (told,) = desk.load_text("parts.csv", parts).messages
    assert told.startswith("1 part names the number that replaced it")


def test_pressure_switches_of_other_circuits_and_switches_without_a_class_are_told(desk):
    """The class of a line stands on it, or in the parts, or comes from the number that replaced it."""
    parts = "part_number,part_class,superseded_by\nGAS,gas_switch,\nDRAFT,draft_switch,\nOLD,,NEW\nNEW,draft_switch,\nODD,,\n"
    lines = (
        "V1,1,GAS,,Pressure switch LP,1,\nV1,2,,refrigerant_switch,HI PRESS SW,1,\nV1,3,GAS,,valve,1,\n"
        "V1,4,DRAFT,,pressure switch,1,\nV1,5,OLD,,pressure switch,1,\nV1,6,NEW,,pressure switch,1,\n"
        "V1,7,ODD,,press. switch,1,\nV1,8,,,pressure switch,1,\nV1,9,,,switchgear,1,\n"
    )
    report = desk.load(desk.write("part_lines.csv", LINES + lines), desk.write("parts.csv", parts))
    other, unclassed = said(report, "part_lines")
    assert other.startswith("2 lines are called pressure switch and belong to a gas, water or refrigerant circuit")
    assert unclassed.startswith("2 lines speak of a switch and have no part class")


def test_an_appliance_exchanged_for_a_new_one_is_told_even_where_the_new_one_comes_later(desk):
    first = (
        "A,S1,furnace,M1,X17,2009-01-01,2024-03-01\nC,S2,boiler,M1,X18,2009-01-01,2020-03-01\n"
        "D,S2,furnace,M1,X19,2020-03-10,\nE,S3,furnace,M1,X20,2009-01-01,2020-03-01\nF,S3,furnace,M1,X21,2023-01-01,\n"
    )
    assert desk.load_text("appliances.csv", APPLIANCES + first).messages == ()
    (told,) = desk.load_text("appliances_2.csv", APPLIANCES + "B,S1,furnace,M9,Y22,2024-03-02,\n").messages
    assert told.startswith("1 appliance was taken out and one of the same kind was put in its place")


def test_twins_without_a_serial_number_are_told(desk):
    rows = (
        "A,S1,furnace,M1,,,\nB,S1,furnace,M1,unknown,,\n"
        "C,S2,furnace,M1,X17,,\nD,S2,furnace,M1,X18,,\n"
        "E,S3,furnace,M1,,,\nF,S3,boiler,M1,,,\n"
        "G,S4,furnace,M1,,,2020-01-01\nH,S4,furnace,M1,,2023-01-01,\n"
    )
    (told,) = desk.load_text("appliances.csv", APPLIANCES + rows).messages
    assert told.startswith("1 group of twins stands on a site")


def test_a_make_point_of_zero_on_the_bench_is_told(desk):
    body = "bench_test_id,visit_id,tested_at,pressure_unit,make_1,make_2\nB1,V1,2024-01-05,Pa,0,200\nB2,V2,2024-01-05,Pa,200,201\n"
    (told,) = desk.load_text("bench_tests.csv", body).messages
    assert told.startswith("1 bench test has a make point of exactly 0")


def test_a_tag_that_no_part_line_has_is_told_by_a_load_and_by_a_check_and_the_test_is_taken(desk):
    lines = "visit_id,line_no,part_class,quantity,removed_tag\nV1,1,draft_switch,1,T1\nV2,1,draft_switch,1,\n"
    body = (
        "bench_test_id,removed_tag,visit_id,tested_at,pressure_unit,make_1\n"
        "B1,T1,,2024-01-05,Pa,200\nB2,T9,,2024-01-05,Pa,200\nB3,T8,V2,2024-01-05,Pa,200\nB4,,V1,2024-01-05,Pa,200\n"
    )
    paths = [desk.write("bench_tests.csv", body), desk.write("part_lines.csv", lines)]
    for report in (desk.load(*paths, is_dry_run=True), desk.load(*paths)):
        (file,) = [file for file in report.files if file.table_name == "bench_tests"]
        assert file.n_accepted == 4
        assert file.messages == (
            "1 bench test names a tag that no part line on record has: no swap on record has this tag; the result counts once "
            "one does. The page Bench lists it.",
        )


def test_days_to_come_are_held_back_and_told_with_what_was_got(desk, table, row):
    later = (date.today() + timedelta(days=40)).isoformat()
    file = desk.load_text("visits.csv", table(row(1, arrived=f"{later}T08:00:00"), row(2)))
    assert (file.n_accepted, file.reasons) == (1, {"arrived_at: date_out_of_range": 1})
    assert f"arrived_at is {later}T08:00:00; must lie between 1990 and tomorrow" in file.examples[
        "arrived_at: date_out_of_range"
    ]  # fmt: skip


def test_an_hour_that_clocks_skip_is_told_and_the_hour_after_it_is_not(desk, table, row):
    """In Chicago the clocks went from 02:00 to 03:00 on 9 March 2025."""
    rows = [
        row(n, arrived=f"2025-03-09T{at}")
        for n, at in enumerate(("01:59:00", "02:10:00", "02:59:59", "03:10:00", "02:30:00-06:00", "02:30 Z"))
    ]
    (told,) = desk.load_text("visits.csv", table(*rows), settings=CHICAGO).messages
    assert told.startswith("2 arrivals lie in the hour that clocks skip")
    right = [row(n, arrived=f"2025-03-09T0{at}") for n, at in enumerate(("1:59:00", "3:10:00"), 10)]
    assert desk.load_text("visits_2.csv", table(*right), settings=CHICAGO).messages == ()
