"""Later visits: what each is to the fault before it, and how long a fault was watched."""

from __future__ import annotations

from datetime import date

import pytest

FIRST = "a | one | F1 | J | no_heat | draft_not_proven | | 2024-01-01 | true"
HEADER = (
    "visit_id | site_id | appliance_id | job_id | visit_kind | symptom | cause_code | arrived_at | is_declared_complete"
)


def then(records, *visits, first=FIRST):
    return records.visits("\n".join((HEADER, first, *visits)))


def link(records):
    return records.ask(
        "SELECT next_visit_id, days_between, link_class FROM visit_link WHERE draft_fault_id = 'a' ORDER BY 2, 1"
    )


@pytest.mark.parametrize(
    ("visit", "link_class"),
    [
        ("b | one | F1 | K | no_heat         | draft_not_proven |             | 2024-01-09 |", "callback"),
        ("b | one | F1 | J | no_heat         | runs_then_stops  | not_found   | 2024-01-09 |", "callback"),
        ("b | one | F1 | K | other_fault     |                  | trap_fouled | 2024-01-09 |", "callback"),
        ("b | one | F1 | K | no_heat         | no_heat_other    | fan_worn    | 2024-01-09 |", "callback"),
        ("b | one | F1 | K | no_heat         | no_heat_other    |             | 2024-01-09 |", "other_function"),
        ("b | one | F1 | K | no_heat         | no_heat_other    | not_found   | 2024-01-09 |", "other_function"),
        ("b | one | F1 | K | other_fault     | noise            |             | 2024-01-09 |", "other_function"),
        ("b | one | F1 | K | other_fault     | leak             | trap_fouled | 2024-01-09 |", "uncertain"),
        ("b | one | F1 | K | no_heat         |                  |             | 2024-01-09 |", "uncertain"),
        ("b | one | F1 | K | maintenance     |                  | trap_fouled | 2024-01-09 |", "maintenance"),
        ("b | one | F1 | K | inspection      | draft_not_proven |             | 2024-01-09 |", "maintenance"),
        ("b | one | F1 | K | return_for_part |                  |             | 2024-01-09 |", "planned_return"),
        ("b | one | F1 | K | return_for_part | draft_not_proven |             | 2024-01-09 |", "uncertain"),
        ("b | one |    | K | no_heat         | draft_not_proven |             | 2024-01-09 |", "callback"),
    ],
)
def test_classes(records, visit, link_class):
    assert link(then(records, visit)) == [("b", 8, link_class)]


def test_a_planned_return_on_the_job_is_no_link_at_all_but_moves_completion(records):
    then(records, "b | one | F1 | J | return_for_part | | | 2024-01-09 | true")
    assert link(records) == []
    assert records.one("SELECT starts_on FROM callback") == date(2024, 1, 9)


def test_a_return_that_was_announced_is_planned_even_with_the_symptom(records):
    then(records, "b | one | F1 | K | return_for_part | draft_not_proven | | 2024-01-09 |")
    records.con.execute("UPDATE delivered.visits SET follows_visit_id = 'a' WHERE visit_id = 'b'")
    assert link(records) == [("b", 8, "planned_return")]


def test_on_twins_only_the_same_boiler_is_certain(records):
    then(
        records,
        "other   | twin | B2 | K1 | no_heat | draft_not_proven | | 2024-01-05 |",
        "unknown | twin |    | K2 | no_heat | draft_not_proven | | 2024-01-09 |",
        "same    | twin | B1 | K3 | no_heat | draft_not_proven | | 2024-01-20 |",
        first="a | twin | B1 | J | no_heat | draft_not_proven | | 2024-01-01 | true",
    )
    assert link(records) == [("unknown", 8, "uncertain"), ("same", 19, "callback")]
    row = records.ask(
        "SELECT callback_days, possible_callback_days, observed_days, possible_observed_days "
        "FROM callback WHERE draft_fault_id = 'a'"
    )
    assert row == [(19, 8, 19, 8)]


def test_an_unproven_first_visit_leaves_later_ones_uncertain(records):
    then(
        records,
        "b | twin | B1 | K | no_heat | draft_not_proven | | 2024-01-05 |",
        first="a | twin | | J | no_heat | draft_not_proven | | 2024-01-01 | true",
    )
    assert link(records) == [("b", 4, "uncertain")]


def test_following_proves_the_appliance(records):
    then(
        records,
        "b | twin | | K | no_heat | draft_not_proven | | 2024-01-05 |",
        first="a | twin | | J | no_heat | draft_not_proven | | 2024-01-01 | true",
    )
    records.correct("b", "link", "a")
    assert link(records) == [("b", 4, "callback")]


def test_a_corrected_link_to_another_visit_or_none_takes_it_away(records):
    then(records, "b | one | F1 | K | no_heat | draft_not_proven | | 2024-01-09 |").correct("b", "link", "none")
    assert link(records) == [("b", 8, "other_function")]


def test_a_corrected_class_wins(records):
    then(records, "b | one | F1 | K | no_heat | draft_not_proven | | 2024-01-09 |")
    records.correct("b", "callback_class", "other_function")
    assert link(records) == [("b", 8, "other_function")]
    records.correct("b", "callback_class", None, at="2025-07-01")
    assert link(records) == [("b", 8, "callback")]


def test_a_note_of_another_unit_makes_it_uncertain(records):
    then(records, "b | one | F1 | K | no_heat | draft_not_proven | | 2024-01-09 |")
    records.con.execute("UPDATE delivered.visits SET notes = 'Different furnace this time' WHERE visit_id = 'b'")
    assert link(records) == [("b", 8, "uncertain")]


def test_links_reach_up_to_the_next_fault_and_400_days(records):
    then(
        records,
        "b | one | F1 | K | no_heat     | draft_not_proven | | 2024-02-01 | true",
        "c | one | F1 | L | maintenance |                  | | 2024-03-01 |",
        "d | one | F1 | M | maintenance |                  | | 2025-03-07 |",
        "e | one | F1 | N | maintenance |                  | | 2025-03-08 |",
    )
    assert link(records) == [("b", 31, "callback")]
    rows = records.ask("SELECT next_visit_id, days_between FROM visit_link WHERE draft_fault_id = 'b' ORDER BY 2")
    assert rows == [("c", 29), ("d", 400)]


def test_a_job_never_complete_is_not_watched(records):
    then(
        records,
        "b | one | F1 | K | no_heat | draft_not_proven | | 2024-02-01 | true",
        first="a | one | F1 | J | no_heat | draft_not_proven | | 2024-01-01 | false",
    )
    row = records.ask(
        "SELECT starts_on, observed_days, callback_days, censored_because, reason FROM callback "
        "WHERE draft_fault_id = 'a'"
    )
    assert row == [(None, None, None, None, "never declared complete")]


WATCHED = """SELECT starts_on, callback_visit_id, callback_days, observed_days, censored_because FROM callback
    WHERE draft_fault_id = 'a'"""


@pytest.mark.parametrize(
    ("visits", "removed", "expected"),
    [
        (["b | one | F1 | K | no_heat | draft_not_proven | | 2024-01-31 |"], None, ("b", 30, 30, None)),
        (["z | twin | B1 | K | other | | | 2024-03-01 |"], None, (None, None, 60, "data_end")),
        (["z | twin | B1 | K | other | | | 2026-03-01 |"], None, (None, None, 400, "limit")),
        (["z | twin | B1 | K | other | | | 2024-03-01 |"], "2024-01-21", (None, None, 20, "removed")),
        (
            ["b | one | F1 | K | no_heat | draft_not_proven | | 2024-01-31 |"],
            "2024-01-21",
            (None, None, 20, "removed"),
        ),
        (
            ["m | one | F1 | K | maintenance | | | 2024-01-11 |", "b | one | F1 | L | no_heat | leak | | 2024-03-01 |"],
            None,
            (None, None, 10, "next_swap"),
        ),
    ],
)
def test_watched_until(records, visits, removed, expected):
    then(records, *visits).lines("visit_id\n a\n m")
    records.con.execute("UPDATE delivered.appliances SET removed_on = ? WHERE appliance_id = 'F1'", [removed])
    assert records.ask(WATCHED) == [(date(2024, 1, 1), *expected)]


def test_the_swap_of_a_fault_is_its_last_and_the_owner_goes_along(records):
    then(records, "z | twin | B1 | K | other | | | 2024-03-01 |").lines(
        "visit_id | line_no | removed_tag\n a | 1 | X\n a | 2 | Y"
    )
    row = records.ask("SELECT swap_id, owner_id FROM callback WHERE draft_fault_id = 'a'")
    assert row == [("a#2", "anna")]


def weather(records, *temperatures):
    """Days from 1 January 2024 at station W1, each with one temperature; None = not known."""
    lines = [
        f"W1 | 2024-01-{day:02d} | {'' if t is None else t} | {'' if t is None else t}"
        for day, t in enumerate(temperatures, start=1)
    ]
    return records.given(
        weather_days="\n".join(("weather_station_id | day_on | min_temperature_c | max_temperature_c", *lines))
    )


@pytest.mark.parametrize(
    ("temperatures", "n_heating_days"),
    [
        ([0] * 11, 10),
        ([0, 20, 20, 0, 0, 0, 0, 0, 0, 0, 20], 7),
        ([0, None, None, None, 20, 20, 20, 20, 20, 20, 20], 3),
        ([0, None, None, None, None, 20, 20, 20, 20, 20, 20], None),
        ([0] * 10, None),
    ],
)
def test_heating_days_count_from_the_day_after_completion(records, temperatures, n_heating_days):
    then(weather(records, *temperatures), "b | one | F1 | K | no_heat | draft_not_proven | | 2024-01-11 |")
    row = records.ask("SELECT observed_days, heating_days_observed FROM callback WHERE draft_fault_id = 'a'")
    assert row == [(10, n_heating_days)]


@pytest.mark.parametrize("left_at", ["2024-01-01 11:00", "2023-12-31 10:00", "2024-11-01 11:00", None])
def test_a_wrong_departure_neither_hides_nor_moves_a_callback(records, left_at):
    then(records, "b | one | F1 | K | no_heat | draft_not_proven | | 2024-01-09 |").lines("visit_id\n a\n b")
    records.con.execute("UPDATE delivered.visits SET left_at = ? WHERE visit_id = 'a'", [left_at])
    assert records.ask(WATCHED) == [(date(2024, 1, 1), "b", 8, 8, None)]
    assert link(records) == [("b", 8, "callback")]


def test_a_switch_fitted_for_the_fault_itself_after_completion_does_not_end_its_watch(records):
    then(
        records,
        "r | one | F1 | J | return_for_part |                  | | 2024-01-05 | false",
        "b | one | F1 | K | no_heat         | draft_not_proven | | 2024-01-31 |",
    ).lines("visit_id\n r")
    assert records.ask(WATCHED) == [(date(2024, 1, 1), "b", 30, 30, None)]


def test_a_last_job_left_after_midnight_is_watched_for_no_days(records):
    records.visits("""
        visit_id | symptom          | arrived_at       | left_at
        a        | draft_not_proven | 2024-01-01 23:30 | 2024-01-02 00:30""")
    assert records.ask(WATCHED) == [(date(2024, 1, 2), None, None, 0, "data_end")]
    assert "callback_before_start" not in records.found()


@pytest.mark.parametrize(
    ("visit_id", "job_id", "arrived_at", "left_at", "expected"),
    [
        ("b", "K", "2024-01-01", None, [("b", 0, "callback")]),
        ("b", "K", "2024-01-01", "2024-01-01 16:00", [("b", 0, "callback")]),
        ("b", "K", "2024-01-01", "2024-01-02 00:00", [("b", 0, "callback")]),
        ("B", "K", "2024-01-01", None, []),
        ("b", "K", "2024-01-01 09:15", "2024-01-01 16:00", []),
        ("b", "K", "2024-01-01 09:15", None, [("b", 0, "callback")]),
    ],
)
def test_a_call_on_the_same_day_without_times(records, visit_id, job_id, arrived_at, left_at, expected):
    """Of visits with dates only, the one with the later visit_id is taken for the later one. Ids order by characters."""
    then(records, f"{visit_id} | one | F1 | {job_id} | no_heat | draft_not_proven | | {arrived_at} | true")
    records.con.execute("UPDATE delivered.visits SET left_at = ? WHERE visit_id = 'a'", [left_at])
    assert link(records) == expected
    if expected and arrived_at == "2024-01-01":
        assert records.ask("SELECT draft_fault_id FROM callback WHERE callback_visit_id IS NOT NULL") == [("a",)]
        assert records.found() == {}


def test_two_jobs_with_one_and_the_same_time_of_arrival_are_one_attendance(records):
    then(
        records,
        "b | one | F1 | K | no_heat | draft_not_proven | | 2024-01-01 09:12 | true",
        first="a | one | F1 | J | no_heat | draft_not_proven | | 2024-01-01 09:12 | true",
    )
    assert link(records) == []


def test_links_of_dates_only_end_at_the_next_fault_of_that_day_and_so_does_the_watch(records):
    then(
        records,
        "b | one | F1 | K | maintenance |                  | | 2024-01-01 |",
        "c | one | F1 | L | no_heat     | draft_not_proven | | 2024-01-01 | true",
        "d | one | F1 | M | no_heat     | draft_not_proven | | 2024-01-01 | true",
        "e | one | F1 | N | no_heat     | draft_not_proven | | 2024-01-05 | true",
    ).lines("visit_id\n a\n b\n c\n d")
    pairs = records.ask("SELECT draft_fault_id, next_visit_id FROM visit_link ORDER BY ALL")
    assert pairs == [("a", "b"), ("b", "c"), ("c", "d"), ("d", "e")]
    assert records.ask(WATCHED) == [(date(2024, 1, 1), None, None, 0, "next_swap")]


def test_midnight_at_the_company_s_place_is_a_bare_date(records_with):
    records = records_with(time_zone="America/Denver")
    then(
        records,
        "b | one | F1 | K | no_heat | draft_not_proven | | 2024-01-01 07:00 | true",
        first="a | one | F1 | J | no_heat | draft_not_proven | | 2024-01-01 07:00 | true",
    )
    assert link(records) == [("b", 0, "callback")]
