"""What counts as a swap, and what does not."""

from __future__ import annotations

import pytest

WHY = "SELECT visit_id, line_no, excluded_because FROM switch_line ORDER BY visit_id, line_no"


def day(number: int) -> str:
    return f"2024-01-{number:02d} 10:00"


@pytest.fixture
def job(records):
    """Three visits of one job."""
    return records.visits(f"""
        visit_id | job_id | symptom          | arrived_at | is_declared_complete
        v1       | J      | draft_not_proven | {day(1)}   | false
        v2       | J      | draft_not_proven | {day(3)}   | false
        v3       | J      | draft_not_proven | {day(5)}   | true""")


def test_a_switch_fitted_is_a_swap_with_what_is_known_of_it(job):
    job.lines("""
        visit_id | removed_tag | unit_cost | currency | is_under_warranty
        v2       | T-1         | 42.5      | EUR      | true""")
    row = job.one("""SELECT swap_id, visit_id, draft_fault_id, site_id, appliance_key, technician_id, diagnosed_by,
        part_number, removed_tag, unit_cost, currency, is_under_warranty, rated_make_pa, make_tolerance_pa,
        is_tolerance_assumed FROM swap""")
    assert row == ("v2#1", "v2", "v1", "one", "F1", "anna", "anna", "SW", "T-1", 42.5, "EUR", True, 200.0, 10.0, False)


def test_without_a_cost_on_the_line_the_parts_list_gives_it(job):
    job.lines("visit_id | part_number\n v1 | SW")
    assert job.one("SELECT unit_cost, currency FROM swap") == (40.0, "USD")


def test_only_draft_switches_count_and_a_description_never_decides(job):
    job.lines("""
        visit_id | line_no | part_number | part_class    | description
        v1       | 1       | GAS         |               | pressure switch
        v1       | 2       |             | water_switch  | pressure switch
        v1       | 3       |             |               | draft pressure switch
        v1       | 4       | unlisted    |               | draft pressure switch""")
    assert job.ask(WHY) == []
    assert job.ask("SELECT count(*) FROM swap") == [(0,)]


def test_the_line_wins_over_the_parts_list_and_a_replaced_number_has_the_class_of_its_replacement(job):
    job.lines("""
        visit_id | part_number | part_class
        v1       | SW          | gas_switch
        v2       | OLD         |
        v3       | GAS         | draft_switch""")
    assert job.ask("SELECT visit_id, part_class_from FROM switch_line ORDER BY 1") == [
        ("v2", "superseded"),
        ("v3", "line"),
    ]


def test_a_corrected_class_wins(job):
    job.lines("""
        visit_id | line_no | part_number
        v1       | 1       | SW
        v1       | 2       | HOSE
        v2       | 1       | GAS
        v3       | 1       | SW
        v3       | 2       | SW""")
    job.correct("v1", "part_class", "gas_switch").correct("v2", "part_class", "draft_switch")
    job.correct("v3", "part_class", "2:other")
    assert job.ask("SELECT visit_id, line_no, part_class_from FROM switch_line ORDER BY 1, 2") == [
        ("v2", 1, "correction"),
        ("v3", 1, "parts list"),
    ]


@pytest.mark.parametrize(
    ("line", "why"),
    [
        ("v1 | 1 | quoted   |             |      |", "quoted"),
        ("v1 | 1 | returned |             |      |", "returned unused"),
        ("v1 | 1 | credited |             |      |", "credit"),
        ("v1 |-1 |          |             |      |", "credit"),
        ("v1 | 0 |          |             |      |", "credit"),
        ("v1 | 1 |          | RECALL kit  |      |", "recall"),
        ("v1 | 1 |          | Upgrade set |      |", "upgrade"),
        ("v1 | 1 |          | recallable  |      |", None),
        ("v1 | 1 | fitted   |             |      |", None),
    ],
)
def test_lines_that_are_no_swap(job, line, why):
    job.lines(f"visit_id | quantity | line_status | description | price | removed_tag\n {line}")
    assert job.ask(WHY) == [("v1", 1, why)]
    assert job.ask("SELECT count(*) FROM swap") == [(int(why is None),)]


@pytest.mark.parametrize(
    ("switch", "why"),
    [
        ("0  | 0  |     |", "came with a draft-fan assembly"),
        ("   |    |     |", "came with a draft-fan assembly"),
        ("   |    | T-1 |", None),
        ("40 |    |     |", None),
        ("   | 90 |     |", None),
        ("40 | 90 | T-1 | switch, with new fan assembly", "came with a draft-fan assembly"),
    ],
)
def test_a_switch_that_came_with_a_fan_assembly(job, switch, why):
    job.lines(f"visit_id | unit_cost | price | removed_tag | description\n v1 | {switch}")
    job.lines("visit_id | line_no | part_number\n v1 | 2 | FAN")
    assert job.ask(WHY) == [("v1", 1, why)]


def test_a_fan_quoted_or_fitted_on_another_visit_excuses_nothing(job):
    job.lines("visit_id | unit_cost | price\n v1 | 0 | 0")
    job.lines("visit_id | line_no | part_number | line_status\n v1 | 2 | FAN | quoted\n v2 | 1 | FAN |")
    assert job.ask(WHY) == [("v1", 1, None)]


def test_a_negative_line_on_a_later_visit_credits_the_fit(job):
    job.lines("visit_id | quantity\n v1 | 1\n v3 | -1")
    assert job.ask(WHY) == [("v1", 1, "credited back"), ("v3", 1, "credit")]


@pytest.mark.parametrize(
    ("fit_tag", "quantity", "tag", "is_credited"),
    [
        ("T-1", 1, "", False),
        ("", 1, "", False),
        ("T-1", 1, "T-2", False),
        ("T-1", 1, "T-1", True),
        ("T-1", -1, "", True),
        ("", -1, "", True),
    ],
)
def test_a_line_set_to_credited_takes_back_itself_and_an_earlier_fit_only_by_its_tag(
    job, fit_tag, quantity, tag, is_credited
):
    job.lines(f"""
        visit_id | line_status | quantity   | removed_tag
        v1       | fitted      | 1          | {fit_tag}
        v3       | credited    | {quantity} | {tag}""")
    assert job.ask(WHY) == [("v1", 1, "credited back" if is_credited else None), ("v3", 1, "credit")]


def test_a_credit_on_a_later_visit_of_the_same_day_without_times_cancels_the_fit(records):
    records.visits("""
        visit_id | job_id | symptom          | arrived_at | is_declared_complete
        v1       | J      | draft_not_proven | 2024-01-01 | false
        v2       | J      | draft_not_proven | 2024-01-01 | true
        v3       | J      | draft_not_proven | 2024-01-01 | true""")
    records.lines("visit_id | quantity\n v1 | 1\n v2 | -1\n v3 | 1")
    assert records.ask(WHY) == [("v1", 1, "credited back"), ("v2", 1, "credit"), ("v3", 1, None)]


def test_a_credit_before_the_fit_of_another_part_or_another_job_cancels_nothing(job):
    job.visits(f"visit_id | job_id | symptom | arrived_at\n w1 | K | draft_not_proven | {day(9)}")
    job.lines("""
        visit_id | line_no | part_number | quantity
        v1       | 1       | SW          | -1
        v2       | 1       | SW          | 1
        v3       | 1       | OLD         | -1
        w1       | 1       | SW          | -1""")
    assert (("v2", 1, None)) in job.ask(WHY)


def test_one_credit_cancels_one_fit_the_latest_before_it(job):
    job.lines("visit_id | quantity\n v1 | 1\n v2 | 1\n v3 | -1")
    assert job.ask(WHY) == [("v1", 1, None), ("v2", 1, "credited back"), ("v3", 1, "credit")]


def test_a_credit_between_two_fits_cancels_the_first(job):
    job.lines("visit_id | quantity\n v1 | 1\n v2 | -1\n v3 | 1")
    assert job.ask(WHY) == [("v1", 1, "credited back"), ("v2", 1, "credit"), ("v3", 1, None)]


def test_a_credit_with_a_tag_cancels_the_fit_with_that_tag(job):
    job.lines("visit_id | quantity | removed_tag\n v1 | 1 | T-1\n v2 | 1 | T-2\n v3 | -1 | T-1")
    assert job.ask(WHY) == [("v1", 1, "credited back"), ("v2", 1, None), ("v3", 1, "credit")]


def test_two_fitted_one_credited_is_still_a_swap(job):
    job.lines("visit_id | quantity\n v1 | 2\n v3 | -1")
    assert job.ask("SELECT visit_id FROM swap") == [("v1",)]
    job.lines("visit_id | line_no | quantity\n v3 | 2 | -1")
    assert job.ask("SELECT visit_id FROM swap") == []


def test_one_swap_per_visit_and_removed_tag(job):
    job.lines("""
        visit_id | line_no | removed_tag
        v1       | 1       | T-1
        v1       | 2       | T-1
        v1       | 3       | T-2
        v2       | 1       |
        v2       | 2       |""")
    assert job.ask("SELECT swap_id, removed_tag FROM swap ORDER BY 1") == [
        ("v1#1", "T-1"),
        ("v1#2", "T-2"),
        ("v2#1", None),
    ]
    assert job.one("SELECT n_swaps, has_swap FROM draft_fault") == (3, True)


def test_tolerance_and_rating_come_from_the_plate_else_the_part_else_are_assumed(records):
    records.con.execute("UPDATE delivered.appliances SET make_tolerance_pa = NULL WHERE appliance_id = 'B1'")
    records.con.execute("UPDATE delivered.appliances SET rated_make_pressure_pa = NULL WHERE appliance_id = 'B2'")
    records.con.execute(
        "UPDATE delivered.parts SET rated_make_pressure_pa = 150, make_tolerance_pa = 7 WHERE part_number = 'SW'"
    )
    records.visits(f"""
        visit_id | site_id | appliance_id | arrived_at
        one      | one     | F1           | {day(1)}
        plate    | twin    | B1           | {day(1)}
        part     | twin    | B2           | {day(2)}
        unlisted | twin    | B2           | {day(3)}""")
    records.lines(
        "visit_id | part_number | part_class\n one | SW |\n plate | OLD |\n part | SW |\n unlisted | Z | draft_switch"
    )
    query = "SELECT visit_id, rated_make_pa, make_tolerance_pa, is_tolerance_assumed FROM swap ORDER BY 1"
    assert records.ask(query) == [
        ("one", 200.0, 10.0, False),
        ("part", 150.0, 7.0, False),
        ("plate", 200.0, 20.0, True),
        ("unlisted", None, None, True),
    ]


CLAIMED = "SELECT swap_id, claim_outcome, claim_credited_amount, claim_currency FROM swap_case ORDER BY swap_id"


def claims(job, *rows):
    header = "claim_id | visit_id | removed_tag | decided_on | outcome | credited_amount | currency"
    return job.given(warranty_claims="\n".join((header, *rows)))


@pytest.mark.parametrize(
    ("claim", "credited_to"),
    [
        ("K | v1 | T-2 |  | paid | 50 | USD", "v1#2"),
        ("K | v1 |     |  | paid | 50 | USD", "v1#3"),
        ("K | v1 | T-9 |  | paid | 50 | USD", "v1#3"),
        ("K | v2 |     |  | paid | 50 | USD", "v2#1"),
        ("K | v2 | T-9 |  | paid | 50 | USD", "v2#1"),
        ("K | v2 | T-5 |  |      | 50 | USD", "v2#2"),
    ],
)
def test_a_warranty_claim_belongs_to_one_swap(job, claim, credited_to):
    """v1 took out T-1, T-2 and one without a tag; v2 took out T-4 and T-5."""
    job.lines("""
        visit_id | line_no | removed_tag
        v1       | 1       | T-1
        v1       | 2       | T-2
        v1       | 3       |
        v2       | 1       | T-4
        v2       | 2       | T-5""")
    claims(job, claim)
    assert [row[0] for row in job.ask(CLAIMED) if row[2]] == [credited_to]
    assert [row[2] for row in job.ask(CLAIMED) if row[2]] == [50.0]


@pytest.mark.parametrize(
    ("first", "second", "expected"),
    [
        ("T-1 | 2024-02-01 | paid    | 50 | USD", "T-1 | 2024-03-01 | paid    | 20 | USD", ("paid", 70.0, "USD")),
        ("T-1 | 2024-02-01 | refused |    |    ", "T-1 | 2024-03-01 | paid    | 20 | USD", ("paid", 20.0, "USD")),
        ("T-1 | 2024-02-01 | paid    | 50 | USD", "T-1 | 2024-03-01 | refused | 9  | USD", ("refused", 50.0, "USD")),
        ("T-1 | 2024-02-01 | paid    | 50 | USD", "    | 2024-03-01 | refused |    |    ", ("paid", 50.0, "USD")),
        ("T-1 | 2024-02-01 | paid    | 50 | USD", "    | 2024-03-01 | paid    | 20 | USD", ("paid", 70.0, "USD")),
        ("T-1 | 2024-02-01 | paid    | 50 | USD", "T-1 | 2024-03-01 | paid    | 20 | EUR", ("paid", 20.0, "EUR")),
        ("T-1 | 2024-02-01 | open    |    | USD", "T-1 | 2024-01-01 | refused |    |    ", ("open", None, "USD")),
    ],
)
def test_claims_on_one_swap_add_up_and_the_last_decides(job, first, second, expected):
    job.lines("visit_id | removed_tag\n v1 | T-1")
    claims(job, f"K1 | v1 | {first}", f"K2 | v1 | {second}")
    assert job.one(CLAIMED) == ("v1#1", *expected)
