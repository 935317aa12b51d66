"""Every check finds its bad rows, and nothing in good ones."""

from __future__ import annotations

import pytest

from pipelines.build import health
from pipelines.entry_checks import why_without_swap
from pipelines.relations import SQL_FOLDER, RelationError

CHECKS = sorted(path.stem for path in (SQL_FOLDER / "checks").glob("*.sql"))


def good(records):
    """Records with some of everything, in order."""
    records.visits("""
        visit_id | job_id | symptom          | cause_code  | arrived_at       | left_at          | follows_visit_id
        v1       | J      | draft_not_proven | trap_fouled | 2024-01-01 10:00 | 2024-01-01 11:00 |
        v2       | K      | draft_not_proven | not_found   | 2024-01-09 10:00 |                  | v1""")
    records.lines("visit_id | removed_tag\n v1 | T-1\n v2 | T-2")
    records.given(
        readings="""
            visit_id | reading_no | quantity        | value | value_pa | condition   | contacts | taken         | unit
            v1       | 1          | draft_at_switch | 150   | 150      | hot_running | open     | before_repair | Pa""",
        checks="visit_id | check_code | outcome\n v1 | hose | sound",
        visit_crew="visit_id | technician_id\n v1 | ben",
        warranty_claims="claim_id | visit_id\n K1 | v1",
        bench_tests="""
            bench_test_id | removed_tag | tested_at  | pressure_unit | make_1_pa | make_2_pa
            X             | T-1         | 2024-01-03 | Pa            | 200       | 200""",
        weather_days="weather_station_id | day_on | min_temperature_c | max_temperature_c\n W1 | 2024-01-01 | 0 | 4",
    )
    records.correct("v1", "cause_code", "hose_water").correct("v2", "link", "v1").correct(
        "v2", "callback_class", "callback"
    )
    records.correct("v1", "owner", "ben").correct("v1", "part_class", "1:draft_switch").correct(
        "v1", "bench_result", "good"
    )
    records.con.execute("""INSERT INTO "load" (load_id, n_rows, n_accepted, n_revised, n_held_back, n_duplicates)
        VALUES (1, 10, 7, 2, 2, 1)""")
    return records


# check -> a change to good records before the build, or (after=) to the facts behind its back
BEFORE = {
    "load_arithmetic": 'UPDATE "load" SET n_rows = 11',
    "bench_test_without_swap": "UPDATE delivered.bench_tests SET removed_tag = 'lost'",
    "appliance_on_two_sites": "UPDATE delivered.appliances SET site_id = 'twin' WHERE appliance_id = 'F1'",
    "appliance_not_on_record": "UPDATE delivered.visits SET appliance_id = 'F9' WHERE visit_id = 'v1'",
    "visit_after_removal": "UPDATE delivered.appliances SET removed_on = '2024-01-05' WHERE appliance_id = 'F1'",
    "visit_before_installation": "UPDATE delivered.appliances SET installed_on = '2024-01-05'",
    "visit_left_before_arrival": "UPDATE delivered.visits SET left_at = '2024-01-01 09:00' WHERE visit_id = 'v1'",
    "visit_longer_than_a_day": "UPDATE delivered.visits SET left_at = '2024-01-02 10:01' WHERE visit_id = 'v1'",
    "visit_follows_later_one": "UPDATE delivered.visits SET follows_visit_id = 'v2' WHERE visit_id = 'v1'",
    "row_without_visit": "UPDATE delivered.checks SET visit_id = 'v9'",
    "technician_not_on_record": "UPDATE delivered.visits SET technician_id = 'nobody' WHERE visit_id = 'v1'",
    "part_line_without_class": "UPDATE delivered.part_lines SET part_number = 'ZZ', description = 'press. switch' "
    "WHERE visit_id = 'v2'",
    "reading_without_unit": "UPDATE delivered.readings SET value_pa = NULL, unit = NULL",
    "tag_on_several_swaps": "UPDATE delivered.part_lines SET removed_tag = 'T-1'",
    "correction_without_effect": "UPDATE delivered.corrections SET new_value = 'gremlins' WHERE correction_id = 'C000'",
}
# The view `callback`, held fast so that it can be tampered with.
HELD = "CREATE TABLE held AS FROM callback; DROP VIEW callback; ALTER TABLE held RENAME TO callback;"
AFTER = {
    "key_counted_twice": "INSERT INTO root_cause SELECT * FROM root_cause WHERE draft_fault_id = 'v1'",
    "swap_without_draft_fault": "DELETE FROM draft_fault WHERE draft_fault_id = 'v1'",
    "fact_rows_do_not_add_up": "DELETE FROM swap_case WHERE swap_id = 'v1#1'",
    "callback_before_start": HELD + "UPDATE callback SET observed_days = -1 WHERE draft_fault_id = 'v2'",
    "heating_days_beyond_days": HELD + "UPDATE callback SET heating_days_observed = observed_days + 1",
    "probability_out_of_range": "UPDATE bench_result SET p_conform = 1.5",
    "week_is_not_monday": "UPDATE week_summary SET week_on = week_on + 1",
}


def test_good_records_are_healthy(records):
    assert good(records).found() == {}


def test_every_check_has_bad_rows_here():
    assert sorted({**BEFORE, **AFTER}) == CHECKS


@pytest.mark.parametrize("check", sorted(BEFORE))
def test_a_check_finds_bad_records(records, check):
    good(records).con.execute(BEFORE[check])
    assert records.found().get(check, 0) > 0


@pytest.mark.parametrize("check", sorted(AFTER))
def test_a_check_finds_bad_facts(records, check):
    good(records).build()
    records.con.execute(AFTER[check])
    findings = {finding.check: finding for finding in health(records.con)}
    assert check in findings
    assert findings[check].n_rows == len(findings[check].examples) > 0
    assert findings[check].severity == "error" and findings[check].about


@pytest.mark.parametrize("kind", ["gas_switch", "1:gadget"])
def test_each_field_of_a_correction_has_values_it_allows(records, kind):
    good(records).correct("v2", "part_class", kind)
    assert ("correction_without_effect" in records.found()) is (kind == "1:gadget")


@pytest.mark.parametrize(
    ("tag", "visit_id", "tested_at", "why"),
    [
        ("lost", None, "2024-01-20", "no swap on record has this tag; the result counts once one does"),
        ("lost", "v1", "2024-01-20", "no swap on record has this tag; the result counts once one does"),
        (None, "v9", "2024-01-20", "no swap of this visit is on record; the result counts once one is"),
        (None, "v1", "2024-01-20", "several switches were pulled on this visit; the result counts once its tag says which"),
        ("T-2", "v1", "2024-01-20", "the swap on record with this tag is of another visit; the result counts once tag and "
         "visit agree"),
        ("T-2", None, "2024-01-05", "the swap on record with this tag came after the test; the result counts once one before "
         "it is on record"),
        ("T-2", None, "2024-01-20", None),
    ],
)  # fmt: skip
def test_why_a_bench_test_counts_in_no_figure_is_said_on_record_and_as_it_is_typed(
    records, tag, visit_id, tested_at, why
):
    good(records).lines("visit_id | removed_tag | line_no\n v1 | T-3 | 2")
    test = [tag, visit_id, tested_at]
    records.con.execute("UPDATE delivered.bench_tests SET removed_tag = ?, visit_id = ?, tested_at = ?", test)
    records.build()
    found = [one for one in health(records.con) if one.check == "bench_test_without_swap"]
    assert [row[-1] for one in found for row in one.examples] == ([why] if why else [])
    stored = {"bench_test_id": "Y", "removed_tag": tag, "visit_id": visit_id, "tested_at": tested_at}
    assert why_without_swap(records.con, [stored]) == ({"Y": why} if why else {})
    assert why_without_swap(records.con, []) == {}


def test_findings_come_errors_first(records):
    good(records).con.execute(BEFORE["row_without_visit"])
    records.con.execute(BEFORE["load_arithmetic"])
    records.build()
    assert [finding.severity for finding in health(records.con)] == ["error", "notice"]


def test_a_check_without_a_severity_is_refused(records, tmp_path):
    (tmp_path / "odd.sql").write_text("-- a row\n-- severity: dire\nSELECT 1 AS x\n")
    records.build()
    with pytest.raises(RelationError, match="must be error or notice"):
        health(records.con, tmp_path)
