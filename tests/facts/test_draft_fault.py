"""Which visits make up a draft fault, who owns it, and when it is closed."""

from __future__ import annotations

from datetime import datetime

import pytest


def members(records):
    return records.ask("SELECT draft_fault_id, list(visit_id ORDER BY visit_no) FROM draft_visit GROUP BY 1 ORDER BY 1")


def test_a_draft_symptom_a_swap_or_a_cause_makes_a_draft_fault(records):
    records.visits("""
        visit_id | visit_kind  | symptom          | cause_code   | arrived_at
        a        | no_heat     | draft_not_proven |              | 2024-01-01
        b        | no_heat     | noise            |              | 2024-01-02
        c        | other_fault | noise            | trap_fouled  | 2024-01-03
        d        | maintenance |                  | trap_fouled  | 2024-01-04
        e        | no_heat     | no_heat_other    | not_found    | 2024-01-05
        f        | maintenance |                  |              | 2024-01-06
        g        | maintenance | runs_then_stops  |              | 2024-01-07""")
    records.lines("visit_id\n f")
    assert records.ask("SELECT draft_fault_id, is_by_symptom FROM draft_fault ORDER BY 1") == [
        ("a", True),
        ("c", False),
        ("f", False),
        ("g", True),
    ]


def test_a_planned_return_belongs_to_the_fault_and_the_first_visit_diagnosed_it(records):
    records.visits("""
        visit_id | job_id | technician_id | visit_kind      | symptom       | arrived_at | is_declared_complete
        v1       | J      | anna          | no_heat         | no_heat_other | 2024-01-30 | false
        v2       | J      | ben           | return_for_part |               | 2024-02-02 | true""")
    records.lines("visit_id\n v2")
    assert members(records) == [("v1", ["v1", "v2"])]
    row = records.one("""SELECT technician_id, branch, month, n_visits, n_swaps, owner_id, is_declared_complete,
        completed_at FROM draft_fault""")
    assert row == ("anna", "east", 1, 2, 1, "ben", True, datetime(2024, 2, 2))
    assert records.one("SELECT technician_id, diagnosed_by FROM swap") == ("ben", "anna")


def test_maintenance_before_the_fault_shows_up_is_no_part_of_it(records):
    records.visits("""
        visit_id | job_id | visit_kind  | symptom          | arrived_at
        v1       | J      | maintenance |                  | 2024-01-01
        v2       | J      | no_heat     | draft_not_proven | 2024-01-02""")
    assert members(records) == [("v2", ["v2"])]


def test_twins_on_one_job_are_two_faults(records):
    records.visits("""
        visit_id | site_id | job_id | appliance_id | symptom          | arrived_at
        v1       | twin    | J      | B1           | draft_not_proven | 2024-01-01
        v2       | twin    | J      | B2           | draft_not_proven | 2024-01-01""")
    assert members(records) == [("v1", ["v1"]), ("v2", ["v2"])]


def test_an_unproven_visit_goes_with_the_one_appliance_of_its_job(records):
    records.visits("""
        visit_id | site_id | job_id | appliance_id | symptom          | arrived_at | is_declared_complete
        v1       | twin    | J      |              | draft_not_proven | 2024-01-01 | false
        v2       | twin    | J      | B2           | draft_not_proven | 2024-01-02 | true
        w1       | twin    | K      |              | draft_not_proven | 2024-02-01 | true""")
    assert records.ask("SELECT draft_fault_id, appliance_key, is_appliance_proven FROM draft_fault ORDER BY 1") == [
        ("v1", "B2", True),
        ("w1", None, False),
    ]


def test_an_unplanned_visit_after_completion_is_a_new_fault_even_on_the_same_job(records):
    records.visits("""
        visit_id | job_id | visit_kind      | symptom          | arrived_at | is_declared_complete
        v1       | J      | no_heat         | draft_not_proven | 2024-01-01 | true
        v2       | J      | return_for_part |                  | 2024-01-03 | true
        v3       | J      | no_heat         | draft_not_proven | 2024-01-09 | true""")
    assert members(records) == [("v1", ["v1", "v2"]), ("v3", ["v3"])]
    assert records.ask("SELECT completed_at FROM draft_fault ORDER BY 1") == [
        (datetime(2024, 1, 3),),
        (datetime(2024, 1, 9),),
    ]


def test_complete_while_waiting_for_a_part_is_not_complete(records):
    records.visits("""
        visit_id | symptom          | arrived_at | is_declared_complete | waits_for_part
        v1       | draft_not_proven | 2024-01-01 | true                 | true""")
    assert records.one("SELECT is_declared_complete, is_closed FROM draft_fault") == (False, False)


def test_where_completion_is_never_recorded_the_last_visit_closes_unless_it_waits(records):
    records.visits("""
        visit_id | symptom          | arrived_at       | left_at          | is_declared_complete | waits_for_part
        a        | draft_not_proven | 2024-01-01 10:00 | 2024-01-01 12:00 |                      |
        b        | draft_not_proven | 2024-01-02 10:00 |                  |                      | true
        c        | draft_not_proven | 2024-01-03 10:00 |                  | false                |""")
    assert records.ask("SELECT draft_fault_id, is_closed, completed_at FROM draft_fault ORDER BY 1") == [
        ("a", True, datetime(2024, 1, 1, 12)),
        ("b", False, datetime(2024, 1, 2, 10)),
        ("c", False, datetime(2024, 1, 3, 10)),
    ]


def test_a_corrected_owner_wins_wherever_on_the_fault_it_was_entered(records):
    records.visits("""
        visit_id | job_id | symptom          | arrived_at | is_declared_complete
        v1       | J      | draft_not_proven | 2024-01-01 | false
        v2       | J      | draft_not_proven | 2024-01-02 | true""")
    records.correct("v1", "owner", "ben")
    assert records.one("SELECT owner_id FROM draft_fault") == "ben"


@pytest.mark.parametrize(
    ("left_at", "completed_at", "n_minutes"),
    [
        ("2024-01-01 12:00", datetime(2024, 1, 1, 12), 120),
        ("2024-01-02 10:00", datetime(2024, 1, 2, 10), 1440),
        ("2024-01-02 10:01", datetime(2024, 1, 1, 10), None),
        ("2024-11-01 12:00", datetime(2024, 1, 1, 10), None),
        ("2024-01-01 09:00", datetime(2024, 1, 1, 10), None),
    ],
)
def test_a_departure_that_cannot_be_right_does_not_move_completion(records, left_at, completed_at, n_minutes):
    records.visits(f"""
        visit_id | symptom          | arrived_at       | left_at
        a        | draft_not_proven | 2024-01-01 10:00 | {left_at}""")
    assert records.one("SELECT completed_at FROM draft_fault") == completed_at
    assert records.one("SELECT n_minutes FROM visit") == n_minutes


@pytest.mark.parametrize(
    ("between", "is_new"),
    [
        ("inspection      |       |      ", True),
        ("maintenance     | false |      ", True),
        ("installation    |       |      ", True),
        ("return_for_part |       |      ", True),
        ("return_for_part | true  |      ", True),
        ("return_for_part | false |      ", False),
        ("return_for_part |       | true ", False),
    ],
)
def test_a_planned_visit_between_completion_and_the_call_does_not_hide_it(records, between, is_new):
    """Two planned visits in between, so that looking one visit back further would not do."""
    kind, complete, waits = between.split("|")
    records.visits(f"""
        visit_id | job_id | visit_kind | symptom          | arrived_at | is_declared_complete | waits_for_part
        v1       | J      | no_heat    | draft_not_proven | 2024-01-01 | true                 |
        v2       | J      | {kind}     |                  | 2024-01-03 | {complete}           | {waits}
        v3       | J      | inspection |                  | 2024-01-04 |                      |
        v4       | J      | no_heat    | draft_not_proven | 2024-01-09 | true                 |""")
    assert members(records) == (
        [("v1", ["v1", "v2", "v3"]), ("v4", ["v4"])] if is_new else [("v1", ["v1", "v2", "v3", "v4"])]
    )
    if is_new:
        assert records.one("SELECT callback_visit_id FROM callback WHERE draft_fault_id = 'v1'") == "v4"


@pytest.mark.parametrize(
    ("follows", "link", "expected"),
    [
        ("", "v1", [("v1", ["v1", "v2"])]),
        ("far", "v1", [("v1", ["v1", "v2"])]),
        ("v1", "", [("v1", ["v1", "v2"])]),
        ("v1", "none", [("v1", ["v1"]), ("v2", ["v2"])]),
        ("", "", [("v1", ["v1"]), ("v2", ["v2"])]),
    ],
)
def test_a_return_without_a_job_joins_that_of_the_visit_it_follows_as_corrected(records, follows, link, expected):
    records.visits(f"""
        visit_id | visit_kind      | symptom          | arrived_at | is_declared_complete | follows_visit_id
        v1       | no_heat         | draft_not_proven | 2024-01-01 | false                |
        v2       | return_for_part |                  | 2024-01-03 | true                 | {follows}""")
    records.lines("visit_id\n v2").correct("v2", "link", link)
    assert members(records) == expected
