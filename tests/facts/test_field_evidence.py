"""What readings before the repair say. Make point 200 Pa, tolerance 10 Pa, gauge G1: guard = 1.645 u."""

from __future__ import annotations

import math

import pytest

# gauge 0.5 % of 500 Pa, step 1 Pa, tolerance 10 Pa
GUARD = 1.645 * math.sqrt(2.5**2 / 3 + 1 / 12 + 10**2 / 3)


def given(records, readings, swap=True):
    records.visits("visit_id | symptom | arrived_at\n v1 | draft_not_proven | 2024-01-01")
    if swap:
        records.lines("visit_id\n v1")
    header = "visit_id | reading_no | quantity | value | value_pa | condition | contacts | taken | gauge_id"
    lines = []
    for number, (pa, condition, contacts, taken) in enumerate(readings):
        lines.append(f"v1 | {number} | draft_at_switch | {pa} | {pa} | {condition} | {contacts} | {taken} | G1")
    records.given(readings=header + "\n" + "\n".join(lines))
    return records


BEFORE = "before_repair"


@pytest.mark.parametrize(
    ("reading", "evidence"),
    [
        ((150, "hot_running", "open", BEFORE), "condemnation_not_supported"),
        ((199.9, "start", "open", BEFORE), "condemnation_not_supported"),
        ((201, "cold_running", "closed", BEFORE), "condemnation_not_supported"),
        ((200 + GUARD + 0.01, "hot_running", "open", BEFORE), "switch_shown_faulty"),
        ((200 + GUARD - 0.01, "hot_running", "open", BEFORE), "unclear"),
        ((2, "at_rest", "closed", BEFORE), "switch_shown_faulty"),
        ((2, "at_rest", "open", BEFORE), "unclear"),
        ((150, "hot_running", "closed", BEFORE), "unclear"),
        ((150, "", "open", BEFORE), "unclear"),
        ((230, "", "closed", BEFORE), "condemnation_not_supported"),
        ((150, "hot_running", "", BEFORE), "unclear"),
        ((150, "hot_running", "open", ""), "unclear"),
        ((150, "hot_running", "open", "after_repair"), "unclear"),
    ],
)
def test_one_reading(records, reading, evidence):
    assert given(records, [reading]).one("SELECT evidence FROM field_evidence") == evidence


@pytest.mark.parametrize(
    ("readings", "evidence", "shown"),
    [
        ([(150, "start", "open", BEFORE), (170, "hot_running", "open", BEFORE)], "condemnation_not_supported", 150.0),
        ([(2, "at_rest", "closed", BEFORE), (150, "hot_running", "open", BEFORE)], "unclear", 2.0),
        ([(250, "start", "open", BEFORE), (250, "hot_running", "closed", BEFORE)], "unclear", 250.0),
        ([(2, "at_rest", "closed", BEFORE), (250, "hot_running", "closed", BEFORE)], "switch_shown_faulty", 2.0),
        ([(150, "start", "open", BEFORE), (250, "hot_running", "open", BEFORE)], "switch_shown_faulty", 250.0),
    ],
)
def test_several_readings(records, readings, evidence, shown):
    assert given(records, readings).one("SELECT evidence, draft_pa FROM field_evidence") == (evidence, shown)


def test_margin_and_guard_are_given_and_a_reading_at_rest_has_no_margin(records):
    row = given(records, [(150, "hot_running", "open", BEFORE)]).one(
        "SELECT draft_pa, make_pa, margin_pa, guard_pa, contacts FROM field_evidence"
    )
    assert row == (150.0, 200.0, -50.0, pytest.approx(GUARD), "open")


def test_at_rest_no_margin(records):
    records = given(records, [(3, "at_rest", "closed", BEFORE)])
    assert records.one("SELECT draft_pa, margin_pa FROM field_evidence") == (3.0, None)


def test_an_unknown_unit_or_another_quantity_is_no_reading(records):
    records.visits("visit_id | symptom | arrived_at\n v1 | draft_not_proven | 2024-01-01")
    records.given(
        readings="""
        visit_id | reading_no | quantity      | value | value_pa | condition   | contacts | taken
        v1       | 1          | draft_at_switch | 0.8 |          | hot_running | open     | before_repair
        v1       | 2          | draft_at_port   | 150 | 150      | hot_running | open     | before_repair"""
    )
    row = records.one("SELECT evidence, has_gauge_reading, n_readings_before FROM field_evidence")
    assert row == ("no_reading", True, 2)


@pytest.mark.parametrize(
    ("value_pa", "evidence"), [(690, "switch_shown_faulty"), (872, "no_reading"), (2491, "no_reading")]
)
def test_a_gas_pressure_in_the_draft_field_is_no_draft(records, value_pa, evidence):
    """3.5 and 10 in. w.c. are what gas manifolds stand at (common practice); no draft-proving switch makes there."""
    records = given(records, [(value_pa, "hot_running", "open", BEFORE)])
    assert records.one("SELECT evidence FROM field_evidence") == evidence
    assert records.one("SELECT value_pa FROM delivered.readings") == value_pa


def test_a_reading_after_the_first_swap_is_not_before_the_repair(records):
    records.visits("""
        visit_id | job_id | symptom          | arrived_at | is_declared_complete
        v1       | J      | draft_not_proven | 2024-01-01 | false
        v2       | J      | draft_not_proven | 2024-01-02 | false
        v3       | J      | draft_not_proven | 2024-01-03 | true""")
    records.lines("visit_id\n v2")
    columns = "visit_id | reading_no | quantity | value | value_pa | condition | contacts | taken"
    records.given(readings=f"{columns}\n v3 | 1 | draft_at_switch | 150 | 150 | hot_running | open | before_repair")
    assert records.one("SELECT evidence FROM field_evidence") == "unclear"
    # a visit before the one that fitted the switch needs no word on it
    records.given(readings=f"{columns}\n v1 | 1 | draft_at_switch | 150 | 150 | hot_running | open |")
    assert records.one("SELECT evidence FROM field_evidence") == "condemnation_not_supported"


def test_without_a_make_point_nothing_can_be_said(records):
    records.con.execute("UPDATE delivered.appliances SET rated_make_pressure_pa = NULL")
    records = given(records, [(150, "hot_running", "open", BEFORE)])
    assert records.one("SELECT evidence, reason FROM field_evidence") == ("unclear", "no make point on record")


def test_no_reading_at_all(records):
    records.visits("visit_id | symptom | arrived_at\n v1 | draft_not_proven | 2024-01-01")
    row = records.one("SELECT evidence, n_readings_before, has_gauge_reading, has_after_reading FROM field_evidence")
    assert row == ("no_reading", 0, False, False)


@pytest.mark.parametrize("quantity", ["contact_voltage", "draft_at_port", "draft_at_switch"])
@pytest.mark.parametrize(
    ("condition", "contacts", "taken", "evidence"),
    [
        ("at_rest", "closed", BEFORE, "switch_shown_faulty"),
        ("at_rest", "open", BEFORE, "no_reading"),
        ("at_rest", "closed", "after_repair", "no_reading"),
        ("hot_running", "closed", BEFORE, "no_reading"),
    ],
)
def test_contacts_closed_at_rest_count_whatever_was_read(records, quantity, condition, contacts, taken, evidence):
    """Draft at the switch has no unit here, so that it is no draft reading either."""
    records.visits("visit_id | symptom | arrived_at\n v1 | switch_closed_at_rest | 2024-01-01").lines("visit_id\n v1")
    records.given(
        readings=f"""
        visit_id | reading_no | quantity   | value | condition   | contacts   | taken
        v1       | 1          | {quantity} | 0     | {condition} | {contacts} | {taken}"""
    )
    assert records.one("SELECT evidence, draft_pa, margin_pa FROM field_evidence") == (evidence, None, None)
