"""Technicians under two entries: what is proposed, how strongly, and what speaks against it."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import pytest

_spec = importlib.util.spec_from_file_location("identity_rows", Path(__file__).with_name("conftest.py"))
rows = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(rows)


def people(*named: tuple[str, str, str]) -> str:
    return "\n".join(["technician_id | technician_name | branch", *(" | ".join(one) for one in named)])


# The first four forms of a name are how people write one: common practice, not from any list.
@pytest.mark.parametrize(
    ("one", "other", "reason", "strength"),
    [
        ("Juan Ortiz", "ORTIZ, JUAN", "same_name", "near_certain"),
        ("José Núñez", "Jose  Nunez", "same_name", "near_certain"),
        ("Sean O'Neil", "ONeil Sean", "same_name", "near_certain"),
        ("Ortiz, J.", "J Ortiz", "same_initials", "likely"),
        ("J. Ortiz", "Juan Ortiz", "initials", "likely"),
        ("Juan Ortis", "Juan Ortiz", "near_name", "likely"),
        ("Jaun Ortiz", "Juan Ortiz", "near_name", "likely"),
        ("Juan Ortiz", "Juan Carlos Ortiz", "fewer_names", "likely"),
        ("Jörg Weiß", "Jorg Weiss", "same_name", "near_certain"),
        ("Иван Петров", "Петров Иван", "same_name", "near_certain"),
    ],
)
def test_spellings_of_one_name_in_one_branch(pairs_of, one, other, reason, strength):
    found = pairs_of("technician", technicians=people(("A7", one, "east"), ("K2", other, "East")))
    assert [(pair.reason, pair.strength, pair.against) for pair in found.values()] == [(reason, strength, ())]


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("Juan Ortiz", "Maria Ortiz"),
        ("Juan Ortiz", "Juan Gomez"),
        ("J. Ortiz", "Maria Ortiz"),
        ("Ann Lee", "Ian Lee"),
        ("Unit 12", "Unit 13"),
        ("T1", "T2"),
        ("", ""),
    ],
)
def test_other_names_are_not_proposed(pairs_of, one, other):
    assert pairs_of("technician", technicians=people(("A7", one, "east"), ("K2", other, "east"))) == {}


@pytest.mark.parametrize(
    ("one", "other", "is_found"),
    [("T-014", "t14", True), ("T 14", "T14", True), ("A-10-2", "A-1-02", False), ("T14", "T140", False)],
)
def test_ids_without_names(pairs_of, one, other, is_found):
    visits = rows.visit_rows(("S1", one, "", "2025-01-10 10:00"), ("S2", other, "", "2025-02-10 10:00"))
    found = pairs_of("technician", visits=visits)
    assert [(pair.reason, pair.strength) for pair in found.values()] == [("same_id", "near_certain")] * is_found


def test_an_initial_that_fits_two_people_is_doubtful(pairs_of):
    found = pairs_of(
        "technician", technicians=people(("A", "J Ortiz", "e"), ("B", "Juan Ortiz", "e"), ("C", "Jose Ortiz", "e"))
    )
    assert {pair: found[pair].strength for pair in found} == {("A", "B"): "doubtful", ("A", "C"): "doubtful"}


NAMESAKES = people(("A", "Juan Ortiz", "east"), ("B", "Juan Ortiz", "west"))


@pytest.mark.parametrize(
    ("one_left_at", "other_at", "n_at_once"),
    [
        ("2025-01-10 11:00", "2025-01-10 10:40", 1),
        ("2025-01-10 10:20", "2025-01-10 10:40", 0),
        ("", "2025-01-10 10:20", 1),
        ("", "2025-01-10 10:40", 0),
        ("2025-01-11 00:10", "2025-01-11 00:05", 1),
        ("2024-12-01 10:00", "2025-01-10 12:00", 0),
    ],
)
def test_two_people_of_one_name_in_two_branches(pairs_of, one_left_at, other_at, n_at_once):
    visits = f"""visit_id | site_id | technician_id | arrived_at | left_at | visit_kind
        V0 | S1 | A | 2025-01-10 10:00 | {one_left_at} | no_heat
        V1 | S2 | B | {other_at} |  | no_heat"""
    (pair,) = pairs_of("technician", technicians=NAMESAKES, visits=visits).values()
    assert pair.n_clash == n_at_once
    assert pair.strength == ("speaks_against" if n_at_once else "doubtful")
    assert pair.against == (("at_once", "branch") if n_at_once else ("branch",))
    assert pair.example == ("V0 and V1" if n_at_once else None)


def test_one_crew_is_two_people_and_a_bare_date_is_no_hour(pairs_of):
    visits = rows.visit_rows(("S1", "A", "", "2025-01-10"), ("S2", "B", "", "2025-01-10"))
    (pair,) = pairs_of("technician", technicians=NAMESAKES, visits=visits).values()
    assert pair.n_clash == 0
    crew = "visit_id | technician_id\nV0 | B"
    (pair,) = pairs_of("technician", technicians=NAMESAKES, visits=visits, visit_crew=crew).values()
    assert (pair.n_clash, pair.strength) == (1, "speaks_against")


@pytest.mark.parametrize(
    ("second_from", "started_on", "is_found"),
    [("2025-02-01", "", True), ("2025-02-01", "2019-05-01", True), ("2025-02-01", "2025-02-01", False),
     ("2025-04-01", "", False), ("2025-01-05", "", False)],
)  # fmt: skip
def test_a_technician_renamed_is_doubtful_and_a_new_starter_is_not_proposed(
    pairs_of, second_from, started_on, is_found
):
    technicians = f"""technician_id | technician_name | branch | started_on
        A | Anna Smith | east | 2019-05-01
        B | Anna Jones | east | {started_on}"""
    visits = rows.visit_rows(
        ("S1", "A", "", "2024-06-10 10:00"),
        ("S1", "A", "", "2025-01-20 10:00"),
        ("S2", "B", "", f"{second_from} 10:00"),
        ("S2", "B", "", "2025-06-01 10:00"),
    )
    found = pairs_of("technician", technicians=technicians, visits=visits)
    assert [(pair.reason, pair.strength) for pair in found.values()] == [("handover", "doubtful")] * is_found
