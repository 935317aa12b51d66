"""Tiers of a recorded cause: measured, described, a code alone, none."""

from __future__ import annotations

import pytest

TIER = "SELECT tier, has_root_cause FROM root_cause"


def fault(records, cause="trap_fouled", notes="", swap=True):
    records.visits(f"""
        visit_id | symptom          | cause_code | notes   | arrived_at
        v1       | draft_not_proven | {cause}    | {notes} | 2024-01-01""")
    return records.lines("visit_id | removed_tag\n v1 | T-1") if swap else records


def read(records, before=None, after=None):
    header = "visit_id | reading_no | quantity | value | value_pa | condition | contacts | taken"
    lines = []
    for number, (reading, taken) in enumerate(((before, "before_repair"), (after, "after_repair"))):
        if reading:
            pa, contacts = reading
            lines.append(f"v1 | {number} | draft_at_switch | {pa} | {pa} | hot_running | {contacts} | {taken}")
    return records.given(readings=header + "\n" + "\n".join(lines))


@pytest.mark.parametrize(
    ("cause", "before", "after", "tier"),
    [
        ("trap_fouled", (150, "open"), (250, "closed"), "measured"),
        ("trap_fouled", (150, "open"), (250, ""), "measured"),
        ("trap_fouled", (150, "open"), (150, "open"), "code_only"),
        ("trap_fouled", (150, "open"), None, "code_only"),
        ("trap_fouled", None, (250, "closed"), "code_only"),
        ("trap_fouled", (250, "closed"), (250, "closed"), "code_only"),
        ("wiring_or_contact", (250, "closed"), (250, "closed"), "measured"),
        ("wiring_or_contact", (150, "open"), (250, "closed"), "code_only"),
        ("diaphragm_leak", (250, "open"), None, "measured"),
        ("diaphragm_leak", (150, "open"), (250, "closed"), "code_only"),
        ("not_found", (150, "open"), (250, "closed"), "none"),
        ("", (150, "open"), (250, "closed"), "none"),
    ],
)
def test_measured_takes_readings_that_agree_with_the_cause(records, cause, before, after, tier):
    assert read(fault(records, cause), before, after).one(TIER) == (tier, tier == "measured")


@pytest.mark.parametrize(
    ("cause", "check", "outcome", "tier"),
    [
        ("trap_fouled", "trap_and_drain", "fault", "described"),
        ("trap_fouled", "trap_and_drain", "sound", "code_only"),
        ("trap_fouled", "hose", "fault", "code_only"),
        ("hose_water", "hose", "fault", "described"),
        ("not_found", "hose", "fault", "none"),
    ],
)
def test_a_check_at_fault_describes_only_the_cause_it_points_to(records, cause, check, outcome, tier):
    fault(records, cause).given(checks=f"visit_id | check_code | outcome\n v1 | {check} | {outcome}")
    assert records.one("SELECT tier FROM root_cause") == tier


def test_every_cause_has_checks_of_the_contract_that_point_to_it(records):
    from pipelines.contract.codes import CAUSES, CHECK_CODE

    signs = dict(records.ask("SELECT cause_code, check_codes FROM cause_sign"))
    assert set(signs) == {cause.code for cause in CAUSES if cause.group != "none_found"}
    assert {check for checks in signs.values() for check in checks} <= set(CHECK_CODE.values())


@pytest.mark.parametrize(
    ("notes", "tier"),
    [
        ("cleared the trap, full of sludge", "described"),
        ("trap looks fine", "code_only"),
        ("replaced the switch", "code_only"),
        ("vent iced up", "code_only"),
    ],
)
def test_a_note_describes_the_finding_of_the_cause_recorded(records, notes, tier):
    assert fault(records, notes=notes).one("SELECT tier, n_note_characters FROM root_cause") == (tier, len(notes))


@pytest.mark.parametrize(
    ("notes", "tier", "words"),
    [
        ("trap OK, did not replace switch", "code_only", None),
        ("quoted only", "code_only", None),
        ("cond trap plgd solid", "described", "cond trap plgd"),
        (".62 wc on start", "code_only", None),
        ("Drain Frozen; trap full of ice", "described", "Drain Frozen; trap full"),
        ("<b>trap plugged</b>", "described", "trap plugged"),
        ("maybe the trap is plugged", "code_only", None),
        ("x " * 4_990 + "trap plugged", "described", "trap plugged"),
    ],
)
def test_the_words_a_tier_rests_on_are_kept(records, notes, tier, words):
    assert fault(records, notes=notes).one("SELECT tier, note_words FROM root_cause") == (tier, words)


def test_a_note_raises_a_tier_at_most_to_described_and_adds_no_reading(records):
    row = fault(records, notes="0.62 wc before, trap plugged, 0.95 wc after").one(
        "SELECT tier, (SELECT count(*) FROM reading), note_words FROM root_cause"
    )
    assert row == ("described", 0, "trap plugged")


def test_words_are_kept_only_where_the_tier_rests_on_them(records):
    read(fault(records, notes="trap plugged"), (150, "open"), (250, "closed"))
    assert records.one("SELECT tier, note_words FROM root_cause") == ("measured", None)


def test_words_of_several_notes_stand_once_each(records):
    records.visits("""
        visit_id | job_id | symptom          | cause_code  | arrived_at | is_declared_complete | notes
        v1       | J      | draft_not_proven | trap_fouled | 2024-01-01 | false                | trap plugged
        v2       | J      | draft_not_proven | trap_fouled | 2024-01-02 | true                 | drain iced, trap plugged""")
    assert records.one("SELECT note_words FROM root_cause") == "drain iced; trap plugged"


def test_a_bench_test_shows_the_switch_but_was_not_known_when_the_visit_closed(records):
    fault(records, "diaphragm_leak").given(
        bench_tests="""
        bench_test_id | removed_tag | tested_at  | pressure_unit | is_diaphragm_torn
        X             | T-1         | 2024-01-03 | Pa            | true"""
    )
    row = records.one("SELECT tier, tier_at_close, has_root_cause FROM root_cause")
    assert row == ("measured", "code_only", True)


def test_a_faulty_bench_test_proves_no_other_cause(records):
    fault(records, "trap_fouled").given(
        bench_tests="""
        bench_test_id | removed_tag | tested_at  | pressure_unit | is_diaphragm_torn
        X             | T-1         | 2024-01-03 | Pa            | true"""
    )
    assert records.one("SELECT tier FROM root_cause") == "code_only"


def test_the_last_cause_that_is_one_counts_and_a_corrected_one_goes_first(records):
    records.visits("""
        visit_id | job_id | symptom          | cause_code  | arrived_at | is_declared_complete
        v1       | J      | draft_not_proven | fan_worn    | 2024-01-01 | false
        v2       | J      | draft_not_proven | trap_fouled | 2024-01-02 | false
        v3       | J      | draft_not_proven | not_found   | 2024-01-03 | true""")
    assert records.one("SELECT cause_code FROM root_cause") == "trap_fouled"
    records.correct("v1", "cause_code", "hose_water", why="water stood in hose")
    row = records.one("SELECT cause_code, cause_group, tier FROM root_cause")
    assert row == ("hose_water", "air_path", "described")


def test_swap_case_carries_what_is_known(records):
    read(fault(records, notes="trap plugged"), (150, "open"), (250, "closed")).given(
        checks="""
            visit_id | check_code     | outcome
            v1       | hose           | sound
            v1       | trap_and_drain | fault
            v1       | wiring         | not_done""",
        warranty_claims="""
            claim_id | visit_id | removed_tag | filed_on   | outcome | credited_amount
            K1       | v1       |             | 2024-02-01 | refused | 0
            K2       | v1       | T-1         | 2024-01-20 | paid    | 30
            K3       | v1       | T-2         | 2024-03-01 | refused | 0""",
    )
    row = records.one("""SELECT swap_id, branch, region, season, month, symptom, appliance_kind, is_condensing,
        evidence, tier, cause_group, has_root_cause, verdict, n_readings_before, n_checks_done, n_checks_fault,
        has_gauge_reading, has_after_reading, n_note_characters, claim_outcome, claim_credited_amount, rated_make_pa
        FROM swap_case""")
    assert row == (
        *("v1#1", "east", "north", 2023, 1, "draft_not_proven", "furnace", True, "condemnation_not_supported"),
        *("measured", "condensate", True, None, 1, 2, 1, True, True, 12, "paid", 30.0, 200.0),
    )
