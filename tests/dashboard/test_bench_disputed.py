"""Disputed results on the page Bench: tests of one switch that differ, verdicts corrected against their readings."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest
from page_texts import assert_drawn, opened, said, text_tables
from small_company import DAY, asked, bench, field, made_home

from dashboard import bench_disputed, code_names, roles, store_access
from pipelines.loading import load
from pipelines.own_work import OwnWork

NEXT = DAY + dt.timedelta(days=1)
# Two tests that differ; two that agree; one of good corrected to faulty; one of faulty corrected to faulty.
TESTS = f"""bench_test_id,removed_tag,tested_at,tester_id,pressure_unit,make_1,make_2,make_3,gauge_id
B1,TAG0,{DAY}T12:00:00Z,T1,Pa,150,151,150,G1
B2,TAG0,{NEXT}T12:00:00Z,Kim,Pa,199,201,200,G1
B3,TAG1,{DAY}T12:00:00Z,Kim,Pa,199,201,200,G1
B4,TAG1,{NEXT}T12:00:00Z,Kim,Pa,199,201,200,G1
B5,TAG2,{DAY}T12:00:00Z,,Pa,199,201,200,G1
B6,TAG3,{DAY}T12:00:00Z,Kim,Pa,150,151,150,G1
"""
CORRECTIONS = f"""correction_id,visit_id,corrected_field,new_value,reason,corrected_by,corrected_at
C1,V2,bench_result,TAG2:faulty,sticks when warm,Anna,{NEXT}T12:00:00Z
C2,V3,bench_result,faulty,seen again,Anna,{NEXT}T12:00:00Z
"""
GOOD, OUTSIDE = "make point within its tolerance, nothing physical wrong", "make point outside its tolerance"


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    return made_home(tmp_path, monkeypatch)


@pytest.fixture
def disputed_home(home: Path) -> Path:
    files = {"bench_tests": TESTS, "corrections": CORRECTIONS}
    for name, text in files.items():
        (home.parent / f"{name}.csv").write_text(text, "utf-8")
    load(home, [home.parent / f"{name}.csv" for name in files])
    return home


def day(one: dt.date) -> str:
    return f"{one.day} {one:%b} {one.year}"


def shown(test: object) -> list[tuple[str, ...]]:
    """The lines of the section."""
    (table,) = [one for one in text_tables(test) if [*one] == [title for title, _ in bench_disputed.COLUMNS]]
    return [*zip(*table.values(), strict=True)]


def test_each_verdict_stands_with_its_day_who_and_whether_it_counts(disputed_home: Path) -> None:
    test = opened("bench")
    assert_drawn(test)
    assert "2 switches have a disputed result. Of several tests of a switch the last one counts" in said(test)
    lines = shown(test)
    assert lines == [
        ("TAG0", "SW", "V0", "Anna (T0)", "faulty", day(DAY), "Ben (T1)", OUTSIDE, "no: another test of the switch is newer"),
        ("TAG0", "SW", "V0", "Anna (T0)", "good", day(NEXT), "Kim", GOOD, "yes: the last test counts"),
        ("TAG2", "SW", "V2", "Anna (T0)", "good", day(DAY), "not known", GOOD, "no: it was corrected"),
        (
            "TAG2", "SW", "V2", "Anna (T0)", "corrected to faulty", day(NEXT), "Anna", "sticks when warm",
            "yes: a correction counts before any test",
        ),
    ]  # fmt: skip
    in_figures = dict(asked(disputed_home, "SELECT removed_tag, verdict FROM bench_result"))
    counting = {line[0]: line[4].removeprefix("corrected to ") for line in lines if line[-1].startswith("yes")}
    assert counting == {tag: in_figures[tag] for tag in ("TAG0", "TAG2")}


def test_a_visit_opens_from_the_list(disputed_home: Path) -> None:
    test = opened("bench")
    box = field(test, "selectbox", "Visit to read in full")
    assert box.options == ["V0", "V2"]
    box.select("V2").run()
    assert_drawn(test)
    assert "Visit V2," in said(test) and test.query_params["visit"] in ("V2", ["V2"])


def test_technicians_stand_as_the_reader_may_see_them(disputed_home: Path) -> None:
    """Under code names neither the technician, nor one who tested, nor a technician's name that was typed, is told."""
    with roles.whoever_has_the_files():
        name_of = code_names.naming(True)
        lines = bench_disputed.lines(bench_disputed.disputed(), name_of)
    codes = [name_of("T0"), name_of("T1")]
    assert [line[3] for line in lines] == [codes[0]] * 4
    assert [line[6] for line in lines] == [codes[1], "Kim", "not known", bench_disputed.NOT_SHOWN]
    assert not any(word in cell for line in lines for cell in line for word in ("Anna", "Ben", "T0", "T1"))


def test_without_a_test_and_without_a_dispute_the_page_says_so(home: Path) -> None:
    test = opened("bench")
    assert_drawn(test)
    assert bench_disputed.NONE_TESTED in said(test)
    agreeing = [line for line in TESTS.splitlines() if not line.startswith("B1")]
    (home.parent / "bench_tests.csv").write_text("\n".join(agreeing) + "\n", "utf-8")
    load(home, [home.parent / "bench_tests.csv"])
    test = opened("bench")
    assert_drawn(test)
    assert bench_disputed.NONE_DISPUTED in said(test) and "Visit to read in full" not in [
        one.label for one in test.selectbox
    ]


def test_a_test_entered_here_disputes_the_one_on_record_from_the_next_load_on(home: Path) -> None:
    (home.parent / "bench_tests.csv").write_text("\n".join(TESTS.splitlines()[:2]) + "\n", "utf-8")
    load(home, [home.parent / "bench_tests.csv"])
    field(bench(opened("bench"), ("199", "201", "200")), "button", "Enter the test").click().run()
    assert bench_disputed.NONE_DISPUTED in said(opened("bench"))
    load(home, [])
    lines = shown(opened("bench"))
    assert [(line[0], line[4], line[6]) for line in lines] == [("TAG0", "faulty", "Ben (T1)"), ("TAG0", "good", "Tess")]
    (entered,) = OwnWork(home).entries("bench_test")
    OwnWork(home).undo(entered.entry.entry_id, "another switch", "Tess")
    load(home, [])
    assert bench_disputed.NONE_DISPUTED in said(opened("bench"))


def test_a_correction_of_one_tag_counts_before_that_of_the_visit(disputed_home: Path) -> None:
    (disputed_home.parent / "corrections.csv").write_text(
        CORRECTIONS + f"C3,V2,bench_result,inconclusive,unsure,Kim,{NEXT}T13:00:00Z\n", "utf-8"
    )
    load(disputed_home, [disputed_home.parent / "corrections.csv"])
    with roles.whoever_has_the_files():
        (counted,) = [one for one in bench_disputed.disputed() if one.removed_tag == "TAG2" and one.is_counted]
        assert counted.verdict == "faulty"
        assert store_access.row("SELECT verdict FROM bench_result WHERE removed_tag = 'TAG2'") == {"verdict": "faulty"}
