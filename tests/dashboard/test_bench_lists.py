"""The page Bench with more than one list kept: each test under the chance of its own draw, no switch drawn twice."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest
from page_texts import assert_drawn, opened, said, text_tables
from small_company import DAY, asked, bench, field, made_home
from streamlit.testing.v1 import AppTest
from typer.testing import CliRunner

from dashboard.commands import app
from pipelines.loading import load
from pipelines.own_draws import keep_draw
from pipelines.own_work import OwnWork

CHANCES = {"TAG3": 0.25, "TAG4": 0.5, "TAG0": 0.75}


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    return made_home(tmp_path, monkeypatch)


def keep(home: Path, entry_id: str, *tags: str, as_of: str = str(DAY)) -> None:
    """Keep a list of these switches, each with its chance."""
    rows = [
        {
            "removed_tag": tag, "visit_id": f"V{tag[3:]}", "selection": "random", "selection_probability": CHANCES[tag],
            "swapped_on": str(DAY), "test_by": str(DAY), "technician_id": "T0", "evidence": "no_reading",
        }
        for tag in tags
    ]  # fmt: skip
    content = {"list": rows, "seed": 1, "as_of": as_of, "sentence": f"The list {entry_id}.", "n_eligible": 6}
    keep_draw(OwnWork(home), content, "Tess", entry_id)


def typed(home: Path, tag: str) -> AppTest:
    """The test of this switch, its tag typed, its readings good, entered."""
    test = bench(opened("bench"), ("199", "201", "200"), tag)
    field(test, "button", "Enter the test").click().run()
    assert_drawn(test)
    return test


def test_a_switch_of_an_earlier_list_is_entered_with_the_chance_of_its_draw(home):
    keep(home, "list 1", "TAG3", "TAG4")
    keep(home, "list 2", "TAG0")
    test = opened("bench")
    assert field(test, "selectbox", "Tag of the switch").options == ["TAG0", "TAG3", "TAG4", "Another tag"]
    text = said(test)
    assert "0 of 3 switches on the 2 lists tested" in text
    assert "The list list 2." in text and "Of 1 earlier list, 2 switches are still to test" in text
    assert "TAG3" in text and "25%" in text
    # DAY, the last day of their tests, is three days past.
    assert (
        "past" in text and "The day is past for 3 switches: a test can still find one faulty, but never good." in text
    )
    typed(home, "TAG3")
    text = said(opened("bench"))
    assert "0 of 3 switches on the 2 lists tested; 1 more test is entered and comes in with the next load." in text
    load(home, [])
    assert asked(home, "SELECT removed_tag, selection, selection_probability FROM bench_test") == [
        ("TAG3", "random", 0.25)
    ]
    test = opened("bench")
    assert field(test, "selectbox", "Tag of the switch").options == ["TAG0", "TAG4", "Another tag"]
    assert "1 of 3 switches on the 2 lists tested" in said(test)


def test_a_list_taken_back_gives_no_chance_and_does_not_keep_its_switches_from_a_draw(home):
    keep(home, "list 1", "TAG3", "TAG4")
    keep(home, "list 2", "TAG0")
    OwnWork(home).undo("list 1", "drawn by mistake", "Tess")
    test = opened("bench")
    assert field(test, "selectbox", "Tag of the switch").options == ["TAG0", "Another tag"]
    test.date_input(key=f"bench_since_{DAY}").set_value(None).run()
    assert "20 of 5 removed switches" not in said(test) and "5 of 5 removed switches drawn at random" in said(test)
    typed(home, "TAG3")
    load(home, [])
    assert asked(home, "SELECT removed_tag, selection, selection_probability FROM bench_test") == [
        ("TAG3", "chosen", None)
    ]


def test_the_next_draw_leaves_out_what_stands_in_a_kept_list_and_names_its_day(home):
    keep(home, "list 1", "TAG3", "TAG4")
    test = opened("bench")
    assert field(test, "date_input", "Day of the draw before").value == DAY
    text = said(test)
    assert "No removed switch can be drawn now" in text
    assert "2 drawn already, in a list that is kept; 4 removed by the day of the draw before" in text
    assert not test.warning
    test.date_input(key=f"bench_since_{DAY}").set_value(None).run()
    assert "4 of 4 removed switches drawn at random" in said(test)
    assert "could enter a second draw here" in test.warning[0].value
    typed(home, "TAG0")
    assert "3 of 3 removed switches drawn at random" in said(
        opened("bench").date_input(key=f"bench_since_{DAY}").set_value(None).run()
    ), "a test that was entered and not brought into the figures yet"
    test = opened("bench").date_input(key=f"bench_since_{DAY}").set_value(None).run()
    assert "1 with a test entered that the figures do not include;" in said(test)


def test_the_list_says_what_it_draws_from_and_the_list_kept_says_it_too(home):
    test = opened("bench")
    pool = "that bear a tag of their own and were neither tested nor drawn yet"
    assert pool in said(test) and "6 could be drawn; none was left out." in said(test)
    next(one for one in test.text_input if one.key == "who_draw_0").input("Tess").run()
    field(test, "button", "Keep this list").click().run()
    assert_drawn(test)
    (kept,) = OwnWork(home).entries("bench_draw")
    assert pool in kept.entry.content["pool"]
    assert "6 could be drawn; none was left out. Kept by Tess" in said(test)
    assert "There is nothing to draw from yet" in said(opened("records"))


def test_a_tag_used_again_on_another_switch_is_not_the_one_that_was_drawn(home):
    keep(home, "list 1", "TAG3")
    (home.parent / "more").mkdir()
    (home.parent / "more" / "visits.csv").write_text(
        "visit_id,site_id,appliance_id,technician_id,arrived_at,visit_kind,symptom,cause_code,is_declared_complete\n"
        f"V9,S9,A9,T0,{DAY}T18:00:00Z,no_heat,draft_not_proven,fan_worn,yes\n"
    )
    (home.parent / "more" / "part_lines.csv").write_text(
        "visit_id,line_no,part_number,part_class,quantity,removed_tag\nV9,1,SW,draft_switch,1,TAG3\n"
    )
    load(home, [home.parent / "more"])
    typed(home, "TAG3")
    load(home, [])
    assert asked(home, "SELECT selection, selection_probability FROM bench_test") == [("chosen", None)]


def drawn_by_command(home: Path, *more: str) -> tuple[set[str], str]:
    """Tags of the list that the command draws, and all it says."""
    done = CliRunner().invoke(app, ["bench-list", "--home", str(home), *more])
    lines = [line.split(",")[0] for line in done.output.splitlines()]
    return {tag for tag in lines if tag in {f"TAG{n}" for n in range(6)}}, done.output


def test_the_command_leaves_out_what_stands_in_a_kept_list_and_says_so(home):
    everything, told = drawn_by_command(home)
    assert len(everything) == 6 and "6 could be drawn; none was left out." in told
    keep(home, "list 1", "TAG3", "TAG4", as_of=str(DAY - dt.timedelta(days=1)))
    found, told = drawn_by_command(home, "--pick", "TAG3")
    assert found == {"TAG0", "TAG1", "TAG2", "TAG5"}
    assert "left out: 2 (2 drawn already, in a list that is kept)" in told
    assert "TAG3: not on the list; stands in a list that is kept." in told
    assert f"of those removed after the draw of {DAY - dt.timedelta(days=1)}" in told
    keep(home, "list 2", "TAG0")
    assert drawn_by_command(home)[0] == set(), "the day of the last list kept is the day of the draw before"
    assert drawn_by_command(home, "--since", "2020-01-01")[0] == {"TAG1", "TAG2", "TAG5"}
    OwnWork(home).undo("list 2", "drawn by mistake", "Tess")
    assert drawn_by_command(home)[0] == {"TAG0", "TAG1", "TAG2", "TAG5"}


def entered_lines(test: AppTest) -> list[tuple[str, str, str]]:
    """Tag, verdict and whether the figures include it, of each test listed as entered here."""
    (table,) = [table for table in text_tables(test) if "In the figures" in table]
    return list(zip(table["Tag"], table["Verdict"], table["In the figures"], strict=True))


def test_each_test_entered_is_told_with_its_own_verdict_and_whether_it_counts(home):
    typed(home, "TAG0")
    field(bench(opened("bench"), ("299", "301", "300"), "TAG1"), "button", "Enter the test").click().run()
    typed(home, "LOST")
    coming = "with the next load, unless a newer test of the switch is on record"
    lost = ("LOST", "none yet", "no: no swap fits it yet")
    assert entered_lines(opened("bench")) == [lost, ("TAG1", "faulty", coming), ("TAG0", "good", coming)]
    load(home, [])
    lost = ("LOST", "none yet", "no: no swap fits it")
    assert entered_lines(opened("bench")) == [lost, ("TAG1", "faulty", "yes"), ("TAG0", "good", "yes")]
    field(bench(opened("bench"), ("299", "301", "300"), "TAG0", "Tom"), "button", "Enter the test").click().run()
    load(home, [])
    lines = entered_lines(opened("bench"))
    assert sorted(lines[:1] + lines[3:]) == [
        ("TAG0", "faulty", "yes"), ("TAG0", "good", "no: another test of the switch is newer"),
    ]  # fmt: skip
