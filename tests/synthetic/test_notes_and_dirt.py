"""Notes by different hands, and the dirt of real exports: present, and about as often as said."""

from __future__ import annotations

import json

import numpy as np
import pytest

from synthetic_data import dirt
from synthetic_data.generate import generate
from synthetic_data.notes import fragments, in_hand
from synthetic_data.scenario import Scenario
from synthetic_data.technicians import N_HANDS

_NORMALISED = "regexp_replace(regexp_replace(lower(notes), '[0-9]+', '#', 'g'), '[^a-z#]+', ' ', 'g')"


def _share(fleet, sql: str) -> float:
    return fleet.con.execute(sql).fetchone()[0]


def test_notes_are_not_five_sentences_over_and_over(fleet):
    n, distinct = fleet.con.execute(
        f"SELECT count(notes), count(DISTINCT {_NORMALISED}) FROM visits WHERE notes IS NOT NULL"
    ).fetchone()
    assert n > 60_000
    assert distinct > 0.6 * n
    most = _share(
        fleet,
        f"SELECT max(n) FROM (SELECT count(*) AS n FROM visits WHERE notes IS NOT NULL GROUP BY {_NORMALISED})",
    )
    assert most < 0.002 * n


def test_notes_of_swaps_without_a_cause_differ_too(fleet):
    n, distinct = fleet.con.execute(
        f"""SELECT count(*), count(DISTINCT {_NORMALISED}) FROM visits JOIN truth_swaps USING (visit_id)
            WHERE notes IS NOT NULL AND swap_way = 'blind'"""
    ).fetchone()
    assert distinct > 0.6 * n


def test_hands_write_differently():
    written = {in_hand("replaced pressure switch", hand) for hand in range(N_HANDS)}
    assert len(written) == N_HANDS
    assert len(fragments().texts) == N_HANDS * fragments().n_per_hand


def test_readings_stand_in_notes_with_their_units(fleet):
    share = _share(
        fleet,
        r"""SELECT avg(regexp_matches(notes, '\d( ?"| |)(wc|in wc|iwc|Pa|pa|mbar|mb)\b')::INT) FROM visits
            WHERE notes IS NOT NULL AND visit_id IN (
                SELECT visit_id FROM readings WHERE taken = 'before_repair' AND quantity = 'draft_at_switch')""",
    )
    assert 0.4 < share < 0.9


def test_rows_twice_and_rows_revised_are_about_as_many_as_said(fleet):
    n = fleet.summary["n_visits"]
    rows, distinct, versions = fleet.con.execute(
        """WITH version AS (SELECT DISTINCT * FROM visits)
           SELECT (SELECT count(*) FROM visits), count(*), count(*) - count(DISTINCT visit_id) FROM version"""
    ).fetchone()
    assert rows - distinct == pytest.approx(n * dirt.DUPLICATE_SHARE, rel=0.35)
    assert versions == pytest.approx(n * dirt.REVISED_SHARE, rel=0.35)


def test_unreadable_times_are_there_and_on_routine_visits_only(fleet):
    broken, on_drafts = fleet.con.execute(
        """SELECT count(*), count(*) FILTER (WHERE visit_id IN (SELECT visit_id FROM truth_draft_faults)
             OR visit_id IN (SELECT visit_id FROM truth_swaps))
           FROM visits WHERE TRY_CAST(arrived_at AS TIMESTAMPTZ) IS NULL OR arrived_at NOT LIKE '20%'"""
    ).fetchone()
    assert broken == pytest.approx(fleet.summary["n_visits"] * dirt.UNREADABLE_SHARE, rel=0.5)
    assert on_drafts == 0


@pytest.mark.parametrize(
    ("what", "sql", "low", "high"),
    [
        ("appliance not proven", "SELECT avg((appliance_id IS NULL)::INT) FROM visits", 0.03, 0.08),
        ("job blank", "SELECT avg((job_id IS NULL)::INT) FROM visits", 0.05, 0.13),
        ("no departure", "SELECT avg((left_at IS NULL)::INT) FROM visits", 0.02, 0.05),
        (
            "tag missing on swaps",
            "SELECT avg((removed_tag IS NULL)::INT) FROM truth_swaps",
            0.04,
            0.10,
        ),
        (
            "draft without a unit",
            "SELECT avg((unit IS NULL AND value NOT LIKE '%\"')::INT) FROM readings WHERE quantity = 'draft_at_switch'",
            0.001,
            0.02,
        ),
        ("unit in the cell", "SELECT avg((value LIKE '%\"')::INT) FROM readings", 0.002, 0.03),
        ("decimal comma", "SELECT avg((value LIKE '%,%')::INT) FROM readings", 0.002, 0.03),
        ("Unicode minus", "SELECT avg((value LIKE '\u2212%')::INT) FROM readings", 0.0005, 0.03),
        ("suction negative", "SELECT avg((value LIKE '-%')::INT) FROM readings", 0.05, 0.4),
        ("no leading zero", "SELECT avg(regexp_matches(value, '^-?\\.')::INT) FROM readings", 0.02, 0.4),
        (
            "old part number",
            "SELECT avg(regexp_matches(part_number, '^DPS-...$')::INT) FROM part_lines WHERE part_number LIKE 'DPS%'",
            0.04,
            0.15,
        ),
        ("swap without a reading", "SELECT avg((evidence = 'no_reading')::INT) FROM truth_swaps", 0.3, 0.65),
    ],
)
def test_dirt_is_there_in_its_share(fleet, what, sql, low, high):
    assert low <= _share(fleet, sql) <= high, what


def test_inches_labelled_pascal_are_there(fleet):
    """Wrong units: a draft under 3 that says pascal."""
    n = _share(
        fleet,
        "SELECT count(*) FROM readings WHERE quantity = 'draft_at_switch' AND unit = 'Pa' "
        "AND abs(TRY_CAST(value AS DOUBLE)) BETWEEN 0.1 AND 3",
    )
    assert n >= 3


def test_other_pressure_switches_are_called_pressure_switch_too(fleet):
    classes = {
        row[0]
        for row in fleet.con.execute(
            "SELECT DISTINCT part_class FROM part_lines WHERE lower(description) LIKE '%pressure switch%'"
        ).fetchall()
    }
    assert {"gas_switch", "water_switch", "refrigerant_switch", "draft_fan", "draft_switch"} - classes <= {
        "refrigerant_switch"
    }


def test_units_are_spelled_in_many_ways(fleet):
    assert _share(fleet, "SELECT count(DISTINCT unit) FROM readings WHERE quantity LIKE 'draft_at_%'") >= 8


def test_a_clean_scenario_has_no_dirt(tmp_path):
    generate(tmp_path, seed=1, visits=5_000, scenario=Scenario(dirt=0.0))
    lines = (tmp_path / "records" / "visits.csv").read_text("utf-8").splitlines()
    assert len(lines) - 1 == json.loads((tmp_path / "truth" / "summary.json").read_text("utf-8"))["n_visits"]
    assert len(np.unique(lines)) == len(lines)
