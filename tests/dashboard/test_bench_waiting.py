"""A bench test that no swap on record fits: taken, said so at every step, listed until a swap fits it."""

from __future__ import annotations

from pathlib import Path

import pytest
from page_texts import assert_drawn, opened, said
from small_company import DAY, asked, bench, field, made_home
from typer.testing import CliRunner

from dashboard.commands import app
from pipelines.loading import load
from pipelines.own_work import OwnWork

WHY = "no swap on record has this tag; the result counts once one does"
MADE = ("199", "201", "200")


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    return made_home(tmp_path, monkeypatch)


def fit_later(home: Path, tag: str) -> None:
    """Load the visit that pulled the switch with this tag."""
    folder = home.parent / "later"
    folder.mkdir()
    (folder / "visits.csv").write_text(
        "visit_id,site_id,appliance_id,technician_id,arrived_at,visit_kind,symptom,cause_code,is_declared_complete\n"
        f"V9,S9,A9,T0,{DAY}T08:00:00Z,no_heat,draft_not_proven,fan_worn,yes\n"
    )
    (folder / "part_lines.csv").write_text(
        f"visit_id,line_no,part_number,part_class,quantity,removed_tag\nV9,1,SW,draft_switch,1,{tag}\n"
    )
    load(home, [folder])


def test_a_tag_without_a_swap_is_said_before_and_after_entering_and_listed_until_a_swap_has_it(home):
    test = bench(opened("bench"), MADE, "LOST1")
    assert said(test).count(WHY) == 2, "beside the tag, and in place of the verdict"
    assert "Tests without a swap" not in [one.value for one in test.header]
    field(test, "button", "Enter the test").click().run()
    assert_drawn(test)
    told = test.success[0].value.replace("\\", "")
    assert told == f"The test of LOST1 is kept. But {WHY}."
    for _ in range(2):
        test = opened("bench")
        assert "Tests without a swap" in [one.value for one in test.header]
        assert "1 bench test fits no swap on record and counts in no figure yet" in said(test)
        assert said(test).count(WHY) == 1
        load(home, [])
    fit_later(home, "LOST1")
    assert asked(home, "SELECT removed_tag, verdict FROM bench_result") == [("LOST1", "good")]
    assert WHY not in said(opened("bench"))


def test_a_test_that_fits_a_swap_is_said_to_be_kept_and_no_more(home):
    test = bench(opened("bench"), MADE)
    assert WHY not in said(test)
    field(test, "button", "Enter the test").click().run()
    assert test.success[0].value.replace("\\", "") == "The test of TAG0 is kept."


def test_tests_of_a_file_are_listed_with_why_and_those_taken_back_are_not(home):
    file = home.parent / "bench_tests.csv"
    file.write_text(
        "bench_test_id,removed_tag,tested_at,pressure_unit,make_1\n"
        f"B1,LOST2,{DAY},Pa,200\nB2,TAG1,2020-01-01,Pa,200\nB3,TAG2,{DAY},Pa,200\n"
    )
    load(home, [file])
    field(bench(opened("bench"), MADE, "LOST3"), "button", "Enter the test").click().run()
    text = said(opened("bench"))
    assert "3 bench tests fit no swap on record and count in no figure yet" in text
    assert text.count(WHY) == 2 and "LOST2" in text and "came after the test" in text and "1 Jan 2020" in text
    (entered,) = OwnWork(home).entries("bench_test")
    OwnWork(home).undo(entered.entry.entry_id, "the tag was TAG3", "Tess")
    assert "2 bench tests fit no swap on record" in said(opened("bench"))


def test_the_commands_say_it_too(home):
    field(bench(opened("bench"), MADE, "LOST1"), "button", "Enter the test").click().run()
    field(bench(opened("bench"), MADE, "TAG1"), "button", "Enter the test").click().run()
    for command in ("list", "take-in", "list"):
        done = CliRunner().invoke(app, ["own-work", command, "--home", str(home)])
        assert done.exit_code == 0, done.output
        (line,) = [line for line in done.output.splitlines() if WHY in line]
        assert "LOST1" in line
    file = home.parent / "bench_tests.csv"
    file.write_text(f"bench_test_id,removed_tag,tested_at,pressure_unit,make_1\nB1,LOST2,{DAY},Pa,200\n")
    for command in ("check", "load"):
        done = CliRunner().invoke(app, [command, str(file), "--home", str(home)])
        assert "1 bench test names a tag that no part line on record has" in done.output and WHY in done.output
