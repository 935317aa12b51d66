"""What a person is told when records are small, spelled otherwise or put right by hand."""

from __future__ import annotations

import json
from pathlib import Path

import pytest


@pytest.fixture(scope="module")
def small(tmp_path_factory) -> Path:
    """Twelve visits and six switches priced in euros, in records/; the same with a kind of part that is none, in spelled/."""
    folder = tmp_path_factory.mktemp("small")
    visits = ["visit_id,arrived_at,site_id,technician_id,appliance_id,visit_kind,symptom"]
    visits += [f"V{i},2026-10-{i + 1:02}T10:00:00,S{i % 6},T1,A{i % 6},no_heat,draft_not_proven" for i in range(12)]
    lines = ["visit_id,line_no,part_class,quantity,unit_cost,currency"]
    lines += [f"V{i},1,draft_switch,1,55,EUR" for i in range(6)]
    for name, part in (("records", "draft_switch"), ("spelled", "draft_pressure_switch")):
        (folder / name).mkdir()
        (folder / name / "visits.csv").write_text("\n".join(visits))
        (folder / name / "part_lines.csv").write_text("\n".join(lines).replace("draft_switch", part))
    return folder


def test_what_is_not_known_is_told_with_its_reason(goodpull, small):
    assert goodpull("load", small / "records", "--home", small / "home").returncode == 0
    told = goodpull("figures", "--home", small / "home")
    assert 'Write currency = "EUR" into settings.toml' in told.stdout
    assert "0 USD" not in told.stdout and "Kaplan" not in told.stdout
    assert str(small / "home" / "settings.toml") in told.stderr


def test_a_table_of_which_nothing_came_in_does_not_end_like_a_success(goodpull, small, tmp_path):
    done = goodpull("load", small / "spelled", "--home", tmp_path / "home")
    assert done.returncode == 1
    assert "part_lines.csv: not one of its rows was accepted, so from this file no swap can be counted" in done.stdout
    told = " ".join(done.stdout.split())
    assert "6 cells held back, such as line 2: part_class is draft_pressure_switch; must be one of draft_switch" in told
    assert "did you mean draft_switch?" in told and "goodpull held-back reasons" in told
    drawn = goodpull("bench-list", "--home", tmp_path / "home", "--csv", tmp_path / "list.csv")
    assert "No removed switch is on record" in drawn.stderr
    assert not (tmp_path / "list.csv").exists()


def test_check_names_the_home_it_would_load_into(goodpull, small, tmp_path):
    done = goodpull("check", small / "records", "--home", tmp_path / "home")
    assert f"goodpull load {small / 'records'} --home {tmp_path / 'home'}" in done.stderr


def test_a_workbook_without_rows_makes_nothing(goodpull, tmp_path):
    assert goodpull("contract", "--templates", tmp_path / "blank").returncode == 0
    done = goodpull("load", tmp_path / "blank", "--home", tmp_path / "home")
    assert done.returncode == 0 and "No file holds a row." in done.stdout and "nothing new" in done.stdout
    assert not (tmp_path / "home" / "current").exists()
    assert "To load" not in goodpull("check", tmp_path / "blank", "--home", tmp_path / "home").stderr


def test_a_correction_and_a_row_put_right_by_command_reach_the_figures_and_a_copy(goodpull, tmp_path):
    (tmp_path / "visits.csv").write_text(
        "visit_id,site_id,technician_id,arrived_at,visit_kind,symptom,cause_code\n"
        "V1,S1,T1,2026-01-05T10:00:00Z,no_heat,draft_not_proven,fan_worn\n"
        "V2,S1,T1,5014-09-15,no_heat,draft_not_proven,\nV3,S1,T1,nope,no_heat,draft_not_proven,\n"
    )
    home = ("--home", tmp_path / "home")
    assert goodpull("load", tmp_path / "visits.csv", *home).returncode == 0
    told = goodpull("held-back", "reasons", *home).stdout
    assert "1  visits.arrived_at  date_out_of_range  such as '5014-09-15'" in told and "not_a_time" in told
    keys = [line.split()[0] for line in goodpull("held-back", "rows", *home).stdout.splitlines() if line[0] != " "]
    wrong = goodpull("held-back", "mend", keys[0], "arrived_at=5015-01-01", "--reason", "typo", *home)
    assert wrong.returncode == 1 and "arrived_at is 5015-01-01; must lie" in wrong.stderr
    assert goodpull("held-back", "mend", keys[0], "arrived_at=2014-09-15", "--reason", "typo", *home).returncode == 0
    assert goodpull("held-back", "dismiss", keys[1], "--reason", "a test row", *home).returncode == 0
    refused = goodpull("own-work", "correct", "V1", "cause_code", "nonsense", "--reason", "x", *home)
    assert refused.returncode == 1 and "must be one of board_input" in refused.stderr
    done = goodpull("own-work", "correct", "V1", "cause_code", "trap_fouled", "--reason", "phone", "--by", "Ann", *home)
    assert done.returncode == 0 and "goodpull own-work take-in" in done.stderr
    assert "3 not in the figures yet" in goodpull("own-work", "list", *home).stderr
    assert goodpull("own-work", "take-in", *home).returncode == 0
    published = json.loads(goodpull("figures", "--json", *home).stdout)
    assert (published["coverage"]["n_corrections"], published["coverage"]["n_held_back"]) == (1, 0)
    assert "Corrections included: 1." in goodpull("figures", *home).stdout
    assert "nothing was changed" in goodpull("own-work", "take-in", *home).stderr
    copy, other = tmp_path / "copy.jsonl", ("--home", tmp_path / "other")
    exported = goodpull("own-work", "export", copy, *home).stderr
    assert "3 entries" in exported and "WARNING" not in exported, "nothing of the page library"
    assert "3 of 3 entries and 0 of 0 mappings restored" in goodpull("own-work", "restore", copy, *other).stderr
    listed = goodpull("own-work", "list", *other).stdout
    assert listed == goodpull("own-work", "list", *home).stdout and "cause_code = trap_fouled  Ann  phone" in listed
    spoiled = goodpull("own-work", "restore", tmp_path / "visits.csv", *other)
    assert spoiled.returncode == 1 and "is no copy of own work" in spoiled.stderr
