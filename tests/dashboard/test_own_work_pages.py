"""What people enter in the pages: kept at once, in the figures after one click, taken back, never entered twice."""

from __future__ import annotations

from pathlib import Path

import pytest
from page_texts import APP, assert_drawn, opened, said
from small_company import DAY, asked, bench, field, made_home
from streamlit.testing.v1 import AppTest

from dashboard import code_names
from dashboard.printed import packs
from models.figures.scope import Scope
from pipelines.loading import load
from pipelines.own_work import OwnWork
from pipelines.store import Store


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    return made_home(tmp_path, monkeypatch)


def sheet(visit_id: str) -> AppTest:
    def page(visit_id: str) -> None:
        from dashboard import own_entry, visit_sheet

        own_entry.waiting()
        visit_sheet.show(visit_id)

    test = AppTest.from_function(page, default_timeout=60, args=(visit_id,)).run()
    assert_drawn(test)
    return test


def correct(test: AppTest, value: str = "trap_fouled") -> AppTest:
    field(test, "selectbox", "What holds instead").select(value)
    field(test, "text_input", "Why").input("said so on the phone")
    field(test, "text_input", "Your name").input("Chief")
    test.run()
    return field(test, "button", "Correct").click().run()


def test_a_correction_from_the_sheet_is_in_the_figures_after_one_click(home):
    test = sheet("V0")
    assert field(test, "button", "Correct").disabled
    correct(test)
    assert_drawn(test)
    assert [one.value for one in test.success] == ["The correction of visit V0 is kept\\."]
    assert "1 entry is kept, but is not in the figures yet" in said(test)
    assert asked(home, "SELECT cause_code FROM visit WHERE visit_id = 'V0'") == [("fan_worn",)]
    field(test, "button", "Bring into the figures").click().run()
    assert asked(home, "SELECT cause_code FROM visit WHERE visit_id = 'V0'") == [("trap_fouled",)]
    assert "not in the figures yet" not in said(test)
    assert "by Chief: cause is trap fouled" in said(test)
    assert "Includes 1 correction" in said(opened("this_week"))
    assert "Includes 1 correction" in said(opened("missing"))
    assert "1 correction included" in packs.document("week", Scope(), code_names.naming(False)).about
    load(home, [home.parent / "records"])
    assert asked(home, "SELECT cause_code FROM visit WHERE visit_id = 'V0'") == [("trap_fouled",)]


def test_every_field_can_be_corrected(home):
    tests = home.parent / "bench_tests.csv"
    tests.write_text(
        f"bench_test_id,removed_tag,tested_at,pressure_unit,make_1\nB1,TAG0,{DAY}T12:00:00Z,Pa,201\n", "utf-8"
    )
    load(home, [tests])
    values = {"cause_code": "hose_water", "callback_class": "uncertain", "link": "none", "owner": "T1"}
    for name, value in (values | {"part_class": "hose", "bench_result": "faulty"}).items():
        test = sheet("V0")
        field(test, "selectbox", "What is wrong").select(name).run()
        if name == "part_class":
            field(test, "selectbox", "Which line").select("1").run()
        correct(test, value)
        assert_drawn(test)
        assert test.success, name
    load(home, [])
    found = asked(home, "SELECT corrected_field, target, new_value FROM correction ORDER BY ALL")
    assert found == [
        ("bench_result", "TAG0", "faulty"),
        ("callback_class", None, "uncertain"),
        ("cause_code", None, "hose_water"),
        ("link", None, "none"),
        ("owner", None, "T1"),
        ("part_class", "1", "hose"),
    ]


def test_a_cause_against_a_check_that_was_sound_is_met_with_a_hint_and_can_be_entered(home):
    checks = home.parent / "checks.csv"
    checks.write_text(
        "visit_id,check_code,outcome\nV0,trap_and_drain,sound\nV0,collector_box,fault\nV0,hose,not_done\n"
        "V0,draft_at_switch,sound\n",
        "utf-8",
    )
    load(home, [checks])

    def hint(cause: str) -> list[str]:
        test = sheet("V0")
        field(test, "selectbox", "What holds instead").select(cause).run()
        assert_drawn(test)
        return [one.value.replace("\\", "") for one in test.info]

    (told,) = hint("trap_fouled")
    assert told.startswith("On this visit the check “trap and drain” found nothing wrong where this cause lies.")
    # Another check points to the cause; the check was not done; a sound draft speaks for a fault of the switch.
    assert hint("collector_water") == hint("hose_water") == hint("setpoint_drift") == []
    correct(sheet("V0"), "trap_fouled")
    load(home, [])
    assert asked(home, "SELECT cause_code FROM visit WHERE visit_id = 'V0'") == [("trap_fouled",)]


def test_a_correction_is_taken_back_on_the_page_and_both_stay(home):
    correct(sheet("V0"))
    load(home, [])
    test = opened("corrections")
    assert_drawn(test)
    assert "The figures include 1 correction on 1 visit" in said(test)
    what = field(test, "selectbox", "What")
    what.select(what.options[0])
    field(test, "text_input", "Why").input("the office was right")
    field(test, "text_input", "Your name").input("Ben")
    test.run()
    field(test, "button", "Take back").click().run()
    assert_drawn(test)
    field(test, "button", "Bring into the figures").click().run()
    assert asked(home, "SELECT cause_code FROM visit WHERE visit_id = 'V0'") == [("fan_worn",)]
    assert "1 thing entered here, 1 taken back" in said(test)
    assert "taken back by Ben" in test.dataframe[0].value["State"][0]


def test_rows_held_back_are_mended_or_dismissed_and_the_count_falls(home):
    assert "2 rows held back" in said(opened("this_week"))
    test = opened("records")
    assert_drawn(test)
    codes = field(test, "selectbox", "symptom")
    assert codes.value == "drft" and "draft_not_proven" in codes.options, "a code is chosen, not typed"
    codes.select("draft_not_proven")
    came = field(test, "text_input", "arrived_at").value
    field(test, "text_input", "arrived_at").input("5014-01-01")
    field(test, "text_input", "Why").input("typing error")
    field(test, "text_input", "Your name").input("Ben")
    test.run()
    field(test, "button", "Mend").click().run()
    assert "arrived_at is 5014-01-01; must lie between" in test.error[0].value.replace("\\", "")
    field(test, "text_input", "arrived_at").input(came).run()
    field(test, "button", "Mend").click().run()
    assert_drawn(test)
    field(test, "text_input", "Why").input("a test row")
    field(test, "text_input", "Your name").input("Ben")
    test.run()
    field(test, "button", "Dismiss: not wanted").click().run()
    assert_drawn(test)
    assert "waits to be brought in" in said(test)
    field(test, "button", "Bring into the figures").click().run()
    assert_drawn(test)
    assert asked(home, "SELECT symptom FROM delivered.visits WHERE visit_id LIKE 'X%'") == [("draft_not_proven",)]
    text = said(test)
    assert "0 of those held back are neither mended, dismissed nor replaced" in text
    assert "1 mended and 1 dismissed" in text and "No row is held back." in text
    assert asked(home, "SELECT count(*) FROM held_back") == [(2,)], "nothing disappears"
    assert "held back" not in said(opened("this_week"))


def test_the_same_change_in_several_rows_leaves_what_tells_them_apart(home):
    test = opened("records")
    field(test, "selectbox", "symptom").select("noise")
    field(test, "text_input", "visit_id").input("ONE")
    field(test, "text_input", "Why").input("typing error")
    field(test, "text_input", "Your name").input("Ben")
    field(test, "checkbox", "The same in all 2 rows listed with this cell").check()
    test.run()
    field(test, "button", "Mend").click().run()
    assert_drawn(test)
    load(home, [])
    found = asked(home, "SELECT visit_id, symptom FROM delivered.visits WHERE visit_id LIKE 'X%' ORDER BY 1")
    assert found == [("X0", "noise"), ("X1", "noise")]


def test_the_verdict_as_typed_is_that_of_the_facts_and_a_test_is_kept_once(home):
    test = bench(opened("bench"), ("199", "201", "200"))
    assert_drawn(test)
    text = said(test)
    assert "**Good**" in text and "Make point within its tolerance, nothing physical wrong" in text
    assert "Not looked at: held the pressure, water inside and diaphragm torn" in text
    button = field(test, "button", "Enter the test")
    button.click().run()
    assert_drawn(test)
    assert test.success
    assert len(OwnWork(home).entries("bench_test")) == 1
    load(home, [])
    assert asked(home, "SELECT removed_tag, verdict, reason FROM bench_result") == [
        ("TAG0", "good", "make point within its tolerance, nothing physical wrong")
    ]


@pytest.mark.parametrize(
    ("makes", "verdict"), [(("150", "151", "150"), "Faulty"), (("190", "209", "200"), "Inconclusive")]
)
def test_other_readings_give_other_verdicts(home, makes, verdict):
    assert f"**{verdict}**" in said(bench(opened("bench"), makes))


def test_a_bad_reading_is_told_and_cannot_be_entered(home):
    test = bench(opened("bench"), ("abc",))
    assert "make\\_1 is abc" in test.error[0].value
    assert field(test, "button", "Enter the test").disabled


def test_a_lost_connection_loses_nothing_and_sending_again_keeps_one(home):
    bench(opened("bench"), ("199", "201"))
    again = bench(opened("bench"), ())
    assert field(again, "text_input", "Makes at, reading 2").value == "201"
    # The answer to the first click got lost: the draft is still there when the test is sent again.
    own = OwnWork(home)
    draft = own.draft("bench TAG0 Tess")
    field(again, "button", "Enter the test").click().run()
    assert len(own.entries("bench_test")) == 1
    assert own.draft("bench TAG0 Tess") is None
    own.save_draft("bench TAG0 Tess", draft)
    third = bench(opened("bench"), ())
    field(third, "button", "Enter the test").click().run()
    assert_drawn(third)
    assert len(own.entries("bench_test")) == 1


def test_a_drawn_list_is_kept_with_its_chances_and_goes_into_the_test(home):
    test = opened("bench")
    next(one for one in test.number_input if one.key == "bench_number").set_value(2).run()
    next(one for one in test.text_input if one.key == "who_draw_0").input("Tess").run()
    field(test, "button", "Keep this list").click().run()
    assert_drawn(test)
    (draw,) = OwnWork(home).entries("bench_draw")
    rows = draw.entry.content["list"]
    assert len(rows) == 2 and all(0 < row["selection_probability"] < 1 for row in rows)
    assert "0 of 2 switches on the list tested" in said(test)
    next(one for one in test.text_input if one.key == "who_bench").input("Tess")
    field(test, "selectbox", "Tag of the switch").select(rows[0]["removed_tag"]).run()
    field(test, "text_input", "Makes at, reading 1").input("200").run()
    field(test, "button", "Enter the test").click().run()
    assert_drawn(test)
    assert "0 of 2 switches on the list tested; 1 more test is entered and comes in with the next load" in said(test)
    assert "entered, comes in with the next load |" in said(test)
    load(home, [])
    found = asked(home, "SELECT removed_tag, selection, selection_probability FROM bench_result")
    assert found == [(rows[0]["removed_tag"], "random", rows[0]["selection_probability"])]


def test_records_of_an_older_version_are_built_anew_by_one_click(home):
    with Store(home).new_generation() as generation:
        generation.con.execute("DROP VIEW held_back_open")
        generation.con.execute("ALTER TABLE build_state DROP COLUMN sql_digest")
    test = AppTest.from_file(str(APP), default_timeout=120).run()
    assert_drawn(test)
    assert "built by an older version" in said(test)
    field(test, "button", "Build anew").click().run()
    assert_drawn(test)
    assert [title.value for title in test.title] == ["This week"]
