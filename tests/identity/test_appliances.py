"""Appliances under two entries of one site: what is proposed, and that twins and replacements are not taken for one."""

from __future__ import annotations

import importlib.util
import time
from pathlib import Path

import duckdb
import pytest

from pipelines.contract.ddl import create_delivered
from pipelines.identity_decisions import enter_decision, standing
from pipelines.identity_pairs import find_pairs, undecided
from pipelines.own_work import OwnWork, OwnWorkError

_spec = importlib.util.spec_from_file_location("identity_rows", Path(__file__).with_name("conftest.py"))
rows = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(rows)

HEADER = "appliance_id | site_id | appliance_kind | model_code | serial_number | installed_on | removed_on"


def register(*lines: str) -> str:
    return "\n".join([HEADER, *lines])


@pytest.mark.parametrize(
    ("one", "other", "reason", "strength", "against"),
    [
        ("A | S1 | furnace | M-80 | 4O17-A22 | |", "B | S1 | furnace | m80 | 4017a22 | |", "same_serial", "near_certain", ()),
        ("A | S1 | | | AI77L | |", "B | S1 | furnace | M80 | A1771 | |", "same_serial", "near_certain", ()),
        ("A | S1 | furnace | M80 | X4017 | |", "B | S1 | boiler | M80 | X4017 | |", "same_serial", "doubtful", ("kind",)),
        ("A | S1 | furnace | M80 | X4017 | |", "B | S1 | furnace | M90 | X4017 | |", "same_serial", "doubtful", ("model",)),
        ("A | S1 | furnace | M80 | XB40177 | |", "B | S1 | furnace | M80 | X840177 | |", "near_serial", "likely", ()),
        ("A | S1 | furnace | M80 | X840177 | |", "B | S1 | furnace | M80 | X84017 | |", "near_serial", "likely", ()),
        ("A | S1 | furnace | M80 | X840177 | |", "B | S1 | furnace | M80 | X804177 | |", "near_serial", "likely", ()),
        ("A | S1 | furnace | | X840177 | |", "B | S1 | furnace | M80 | X804177 | |", "near_serial", "doubtful", ()),
        ("A-007 | S1 | furnace | M80 | | |", "a7 | S1 | furnace | M80 | | |", "same_id", "near_certain", ()),
        ("A-007 | S1 | furnace | M80 | X4017 | |", "a7 | S1 | furnace | M80 | Z8855 | |", "same_id", "doubtful", ("serial",)),
    ],
)  # fmt: skip
def test_spellings_on_one_site(pairs_of, one, other, reason, strength, against):
    (pair,) = pairs_of("appliance", appliances=register(one, other)).values()
    assert (pair.reason, pair.strength, pair.against) == (reason, strength, against)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        # An appliance swapped for a new one.
        ("A | S1 | furnace | M80 | X4017733 | 2009-01-01 | 2024-03-01", "B | S1 | furnace | M80 | Y9022118 | 2024-03-01 |"),
        # Two units made one after the other.
        ("A | S1 | furnace | M80 | X4017733 | |", "B | S1 | furnace | M80 | X4017734 | |"),
        ("A | S1 | furnace | M80 | X4017 | |", "B | S2 | furnace | M80 | X4017 | |"),
        ("A | S1 | furnace | M80 | unknown | |", "B | S1 | furnace | M80 | UNKNOWN | |"),
        ("A | S1 | furnace | M80 | 0000 | |", "B | S1 | furnace | M80 | 000-0 | |"),
        ("A | S1 | furnace | M80 | AB1 | |", "B | S1 | furnace | M80 | ab-1 | |"),
        ("A-1-02 | S1 | furnace | | | |", "A-10-2 | S1 | furnace | | | |"),
        ("A1 | S1 | furnace | | | |", "A2 | S1 | furnace | | | |"),
    ],
)  # fmt: skip
def test_two_appliances_are_not_proposed(pairs_of, one, other):
    assert pairs_of("appliance", appliances=register(one, other)) == {}


TWINS = register("A | S1 | furnace | M80 | | |", "B | S1 | furnace | M80 | | |")
APART = [
    ("S1", "T", "A", "2023-01-10 10:00"),
    ("S1", "T", "A", "2023-11-10 10:00"),
    ("S1", "T", "B", "2024-12-01 10:00"),
]


def test_twins_without_serial_are_doubtful_at_most(pairs_of):
    (pair,) = pairs_of("appliance", appliances=TWINS, visits=rows.visit_rows(*APART)).values()
    assert (pair.reason, pair.strength) == ("no_serial", "doubtful")
    in_turn = [*APART, ("S1", "T", "A", "2025-01-10 10:00")]
    assert pairs_of("appliance", appliances=TWINS, visits=rows.visit_rows(*in_turn)) == {}
    assert pairs_of("appliance", appliances=TWINS, visits=rows.visit_rows(*APART[1:])) == {}
    assert pairs_of("appliance", appliances=TWINS) == {}
    three = TWINS + "\nC | S1 | furnace | M80 | | |"
    assert pairs_of("appliance", appliances=three, visits=rows.visit_rows(*APART)) == {}


@pytest.mark.parametrize(
    "register_says",
    [
        ("A | S1 | furnace | M80 | | 2010-01-01 |", "B | S1 | furnace | M80 | | 2024-10-01 |"),
        ("A | S1 | furnace | M80 | | | 2024-06-01", "B | S1 | furnace | M80 | | |"),
        ("A | S1 | furnace | M80 | | |", "B | S1 | furnace | M80 | X4017733 | 2024-10-01 |"),
        ("A | S1 | furnace | M80 | X4017733 | |", "B | S1 | furnace | M80 | Y9022118 | |"),
    ],
)
def test_one_that_took_the_place_of_another_is_not_proposed(pairs_of, register_says):
    found = pairs_of("appliance", appliances=register(*register_says), visits=rows.visit_rows(*APART))
    assert found == {}


def test_visits_to_both_on_one_day_speak_against(pairs_of):
    appliances = register("A | S1 | furnace | M80 | X4017733 | |", "B | S1 | furnace | M80 | X-4017733 | |")
    visits = rows.visit_rows(("S1", "T", "A", "2024-01-10 10:00"), ("S1", "T", "B", "2024-01-10 11:00"))
    (pair,) = pairs_of("appliance", appliances=appliances, visits=visits).values()
    assert (pair.strength, pair.against, pair.n_clash) == ("likely", ("same_day",), 1)


def test_ids_on_visits_alone(pairs_of):
    visits = rows.visit_rows(("S1", "T", "F-01", "2024-01-10 10:00"), ("S1", "T", "f1", "2025-01-10 11:00"))
    (pair,) = pairs_of("appliance", visits=visits).values()
    assert (pair.reason, pair.strength, pair.one.n_visits, pair.other.n_visits) == ("same_id", "near_certain", 1, 1)


def test_two_hundred_thousand_appliances_take_seconds():
    """40,000 sites of five appliances, and 200 sites that have one of them twice, under another spelling of its serial."""
    con = duckdb.connect(config={"threads": 2})
    create_delivered(con)
    rows.ready(con)
    con.execute("""
        INSERT INTO delivered.appliances (appliance_id, site_id, appliance_kind, model_code, serial_number)
        SELECT 'A' || n, 'S' || n % 40000, 'furnace', 'M' || n % 7,
            CASE WHEN n % 10 <> 0 THEN upper(left(md5(n::VARCHAR), 9)) END FROM range(200000) AS t(n)""")
    con.execute("""
        INSERT INTO delivered.appliances (appliance_id, site_id, appliance_kind, serial_number)
        SELECT 'twice' || n, 'S' || n % 40000, 'furnace',
            lower(left(md5(n::VARCHAR), 3)) || '-' || right(left(md5(n::VARCHAR), 9), 6) FROM range(1, 2000, 10) AS t(n)""")
    con.execute("""
        INSERT INTO delivered.visits (visit_id, site_id, appliance_id, technician_id, arrived_at, visit_kind)
        SELECT 'V' || n, 'S' || n % 40000, 'A' || n % 200000, 'T' || n % 50,
            TIMESTAMP '2020-01-01' + n * INTERVAL 3 MINUTE, 'no_heat' FROM range(600000) AS t(n)""")
    started = time.process_time()
    found = find_pairs(con, "appliance")
    seconds = time.process_time() - started
    twice = {pair.other.record_id for pair in found if pair.reason == "same_serial" and pair.strength == "near_certain"}
    assert twice == {f"twice{n}" for n in range(1, 2000, 10)}
    assert seconds < 15, "seconds of all cores together, so that others at work do not count"
    print(f"{seconds:.1f} s, {len(found)} pairs")


def test_ids_that_visits_name_on_two_sites_are_decided_site_by_site(tmp_path):
    con = duckdb.connect(config={"threads": 1})
    create_delivered(con)
    places = [(site, "T", what, f"2025-01-{n + 10} 10:00:00+00") for n, (site, what) in enumerate(
        [("S1", "A-1"), ("S1", "a1"), ("S2", "A-1"), ("S2", "a1")])]  # fmt: skip
    rows.put(con, "visits", rows.visit_rows(*places))
    rows.ready(con)
    own = OwnWork(tmp_path)
    one, two = find_pairs(con, "appliance")
    assert [one.site_id, two.site_id] == ["S1", "S2"]
    with pytest.raises(OwnWorkError, match="several sites: S1, S2. Say which one"):
        enter_decision(con, own, "appliance", "A-1", "a1", True, "seen", "chief")
    enter_decision(con, own, "appliance", "A-1", "a1", True, "seen", "chief", site_id="S2")
    now = standing(own.entries())
    assert now.merged() == [("appliance", "S2", "a1", "A-1")]
    assert undecided([one, two], now) == [one], "the other site is asked about by itself"
    enter_decision(con, own, "appliance", "A-1", "a1", True, "seen", "chief", site_id="S1")
    assert undecided([one, two], standing(own.entries())) == []
    with pytest.raises(OwnWorkError, match="do not both stand on the site S3"):
        enter_decision(con, own, "appliance", "A-1", "a1", True, "seen", "chief", site_id="S3")
