"""Clean records: local days, appliances filled in, corrections."""

from __future__ import annotations

from datetime import date

import pytest


def test_an_iso_week_belongs_to_the_year_of_its_monday(records):
    records.visits("""
        visit_id | arrived_at
        v1       | 2024-12-31 10:00
        v2       | 2025-01-01 10:00
        v3       | 2021-01-03 23:59""")
    assert records.ask("SELECT visit_id, week_on FROM visit ORDER BY visit_id") == [
        ("v1", date(2024, 12, 30)),
        ("v2", date(2024, 12, 30)),
        ("v3", date(2020, 12, 28)),
    ]


def test_the_season_starts_in_july(records):
    records.visits("""
        visit_id | arrived_at
        v1       | 2024-06-30 10:00
        v2       | 2024-07-01 10:00
        v3       | 2025-01-15 10:00""")
    assert records.ask("SELECT season FROM visit ORDER BY visit_id") == [(2023,), (2024,), (2024,)]


def test_days_are_local_on_both_sides_of_a_clock_change(records_with):
    records = records_with(time_zone="America/Chicago").visits("""
        visit_id | arrived_at
        before   | 2024-03-10 05:59
        after    | 2024-03-11 04:59
        next     | 2024-03-11 05:00""")
    # 10 March: clocks go forward at 08:00 UTC. Midnight is 06:00 UTC before it and 05:00 UTC after it.
    assert records.ask("SELECT visit_id, arrived_on FROM visit ORDER BY arrived_at") == [
        ("before", date(2024, 3, 9)),
        ("after", date(2024, 3, 10)),
        ("next", date(2024, 3, 11)),
    ]


def test_a_blank_appliance_is_filled_in_only_where_one_stands_on_the_site(records):
    records.visits("""
        visit_id | site_id | appliance_id | arrived_at
        alone    | one     |              | 2024-01-01
        twins    | twin    |              | 2024-01-01
        early    | one     |              | 2019-01-01
        given    | twin    | B2           | 2024-01-01""")
    assert records.ask("SELECT visit_id, appliance_key, is_appliance_proven, appliance_kind FROM visit ORDER BY 1") == [
        ("alone", "F1", False, "furnace"),
        ("early", None, False, None),
        ("given", "B2", True, "boiler"),
        ("twins", None, False, None),
    ]


def test_a_removed_twin_leaves_one_appliance(records):
    records.con.execute("UPDATE delivered.appliances SET removed_on = '2023-06-01' WHERE appliance_id = 'B1'")
    records.visits("""
        visit_id | site_id | appliance_id | arrived_at
        before   | twin    |              | 2023-06-01
        after    | twin    |              | 2023-06-02""")
    assert records.ask("SELECT visit_id, appliance_key FROM visit ORDER BY 1") == [("after", "B2"), ("before", None)]


def test_jobs_are_never_blank_and_a_return_joins_the_job_it_follows(records):
    records.visits("""
        visit_id | job_id | visit_kind      | follows_visit_id | arrived_at
        v1       |        | no_heat         |                  | 2024-01-01
        v2       |        | return_for_part | v1               | 2024-01-05
        v3       | J3     | no_heat         | v1               | 2024-02-01
        v4       |        | no_heat         | v1               | 2024-03-01""")
    assert records.ask("SELECT visit_id, job_id FROM visit ORDER BY 1") == [
        ("v1", "v1"),
        ("v2", "v1"),
        ("v3", "J3"),
        ("v4", "v4"),
    ]


def test_minutes_and_age(records):
    records.visits("""
        visit_id | symptom          | arrived_at          | left_at
        v1       | draft_not_proven | 2024-01-01 10:00:00 | 2024-01-01 10:45:30
        v2       | draft_not_proven | 2024-01-01 10:00:00 | 2024-01-01 09:00:00
        v3       | draft_not_proven | 2019-01-01 10:00:00 |""")
    assert records.ask("SELECT n_minutes FROM visit ORDER BY visit_id") == [(45.5,), (None,), (None,)]
    rows = records.ask("SELECT round(appliance_age_years, 4) FROM draft_fault ORDER BY draft_fault_id")
    assert rows == [(4.0,), (4.0,), (None,)]


def test_the_latest_correction_of_a_cause_wins_and_a_blank_one_takes_it_back(records):
    records.visits("""
        visit_id | cause_code | arrived_at
        v1       | not_found  | 2024-01-01
        v2       | not_found  | 2024-01-01""")
    records.correct("v1", "cause_code", "fan_worn", "2025-01-01").correct(
        "v1", "cause_code", "hose_water", "2025-01-02"
    )
    records.correct("v2", "cause_code", "hose_water", "2025-01-01").correct("v2", "cause_code", None, "2025-01-02")
    assert records.ask("SELECT cause_code, cause_group, is_cause_corrected FROM visit ORDER BY visit_id") == [
        ("hose_water", "air_path", True),
        ("not_found", "none_found", False),
    ]


def test_draft_symptoms_of_the_contract_are_those_of_the_sql(records):
    from pipelines.contract.codes import DRAFT_SYMPTOMS, SYMPTOM

    for number, symptom in enumerate((*SYMPTOM.values(), "")):
        records.visits(f"visit_id | symptom | arrived_at\n v{number} | {symptom} | 2024-01-01")
    named = records.ask("SELECT symptom FROM visit WHERE is_draft_symptom ORDER BY visit_id")
    assert [row[0] for row in named] == list(DRAFT_SYMPTOMS)
    assert records.ask("SELECT count(*) FROM visit WHERE is_draft_symptom IS NULL") == [(0,)]


def test_classes_of_parts_follow_replacements_both_ways(records):
    records.given(
        parts="""
        part_number | part_class   | superseded_by
        A           |              | B
        B           |              | C
        C           | water_switch | D
        X           |              | X
        Y           |              |"""
    )
    assert records.ask("SELECT part_number, part_class FROM part WHERE length(part_number) = 1 ORDER BY 1") == [
        ("A", "water_switch"),
        ("B", "water_switch"),
        ("C", "water_switch"),
        ("D", "water_switch"),
        ("X", None),
        ("Y", None),
    ]


def test_readings_and_the_other_records_are_there_as_delivered(records):
    records.given(
        readings="visit_id | reading_no | quantity | value | value_pa\n v1 | 1 | draft_at_switch | -0.8 | 199.3",
        checks="visit_id | check_code | outcome\n v1 | hose | fault",
        warranty_claims="claim_id | visit_id | outcome\n K1 | v1 | paid",
        coaching_sessions="session_id | technician_id | held_on\n S1 | anna | 2024-01-01",
        bench_tests="bench_test_id | removed_tag | tested_at | pressure_unit\n T1 | tag | 2024-01-01 | Pa",
    )
    records.build()
    for relation in ("reading", "visit_check", "warranty_claim", "coaching_session", "bench_test"):
        assert records.con.execute(f"SELECT count(*) FROM {relation}").fetchone() == (1,), relation
    for relation, number in (("appliance", 3), ("technician", 2), ("gauge", 1)):
        assert records.con.execute(f"SELECT count(*) FROM {relation}").fetchone() == (number,), relation


CORRECTABLE = """
    visit_id | job_id | symptom          | cause_code | arrived_at | technician_id
    v1       | J      | draft_not_proven | hose_water | 2024-01-01 | anna
    v2       | K      | draft_not_proven | hose_water | 2024-02-01 | anna"""
STATE = """SELECT (SELECT cause_code FROM visit WHERE visit_id = 'v2'), (SELECT count(*) FROM swap WHERE visit_id = 'v2'),
    (SELECT owner_id FROM draft_fault WHERE draft_fault_id = 'v2'), (SELECT verdict FROM bench_result WHERE swap_id = 'v2#1'),
    (SELECT link_class FROM visit_link WHERE draft_fault_id = 'v1' AND next_visit_id = 'v2'),
    (SELECT follows_visit_id FROM visit WHERE visit_id = 'v2')"""
AS_DELIVERED = ("hose_water", 1, "anna", "faulty", "callback", None)


def correctable(records):
    records.visits(CORRECTABLE).lines("visit_id | removed_tag\n v2 | T-2")
    return records.given(
        bench_tests="""
            bench_test_id | removed_tag | tested_at  | pressure_unit | is_diaphragm_torn
            X             | T-2         | 2024-02-03 | Pa            | true"""
    )


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("cause_code", "trap fouled up"),
        ("part_class", "1:gadget"),
        ("part_class", "gadget"),
        ("part_class", "first:hose"),
        ("owner", "nobody"),
        ("bench_result", "T-2:fine"),
        ("callback_class", "nuisance"),
        ("link", "v9"),
        ("link", "v2"),
        ("link", "far"),
    ],
)
def test_a_correction_with_a_value_not_allowed_leaves_the_record_and_is_reported(records, field, value):
    correctable(records).visits("visit_id | site_id | appliance_id | arrived_at\n far | twin | B1 | 2024-01-01")
    assert records.one(STATE) == AS_DELIVERED
    records.correct("v2", field, value)
    assert records.one(STATE) == AS_DELIVERED
    assert records.found().get("correction_without_effect") == 1


@pytest.mark.parametrize(
    ("field", "value", "place", "expected"),
    [
        ("cause_code", "Trap Fouled", 0, "trap_fouled"),
        ("cause_code", " trap-fouled ", 0, "trap_fouled"),
        ("part_class", "1:Gas Switch", 1, 0),
        ("part_class", "gas-switch", 1, 0),
        ("owner", " ben ", 2, "ben"),
        ("bench_result", "T-2: Good", 3, "good"),
        ("callback_class", "Other function", 4, "other_function"),
        ("link", "None", 4, "other_function"),
        ("link", "v1", 5, "v1"),
    ],
)
def test_a_corrected_code_may_be_written_as_people_write_it(records, field, value, place, expected):
    correctable(records).correct("v2", field, value)
    assert records.one(STATE)[place] == expected
    assert "correction_without_effect" not in records.found()


def test_a_correction_not_allowed_does_not_undo_the_one_before_and_is_settled_by_one_after_it(records):
    correctable(records).correct("v2", "cause_code", "fan_worn", "2025-01-01")
    records.correct("v2", "cause_code", "gremlins", "2025-01-02")
    assert records.one(STATE)[0] == "fan_worn"
    assert records.found().get("correction_without_effect") == 1
    records.correct("v2", "cause_code", "hose_leak_or_kink", "2025-01-03")
    assert records.one(STATE)[0] == "hose_leak_or_kink"
    assert "correction_without_effect" not in records.found()
