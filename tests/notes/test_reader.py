"""What the reader takes from a note, given and expected."""

from __future__ import annotations

import re
import time

import duckdb
import pytest

from pipelines.build import run_macros
from pipelines.notes import patterns
from pipelines.notes.reader import read_note, read_notes


@pytest.fixture(scope="module")
def con():
    connection = duckdb.connect()
    run_macros(connection)
    return connection


def evidence(con, group, note):
    return con.execute("SELECT note_evidence(?::VARCHAR, ?::VARCHAR)", [group, note]).fetchone()[0]


@pytest.mark.parametrize(
    ("note", "findings", "actions", "denials"),
    [
        ("trap OK", (), (), ("trap OK",)),
        ("did not replace switch", (), (), ("did not replace switch",)),
        ("quoted only", (), (), ("quoted only",)),
        ("no water in hose", (), (), ("no water in hose",)),
        ("replaced switch", (), ("replaced switch",), ()),
        ("switch not replaced", (), (), ("not replaced",)),
        ("Trap plugged, cleared it", ("Trap plugged",), ("cleared",), ()),
        ("needs a new switch", (), (), ("needs a new switch",)),
        ("maybe trap plugged", (), (), ("maybe trap plugged",)),
        ("hose cracked?", (), (), ("hose cracked?",)),
        ("ice on vent: none", (), (), ("ice on vent: none",)),
        ("code for pressure switch stuck closed", (), (), ("code for pressure switch stuck",)),
        ("no heat", ("no heat",), (), ()),
        ("fan not working", ("not working",), (), ()),
        ("", (), (), ()),
        (None, (), (), ()),
        ("seems the usual", (), (), ()),
    ],
)
def test_findings_actions_and_denials(note, findings, actions, denials):
    reading = read_note(note)
    assert (reading.findings, reading.actions, reading.denials) == (findings, actions, denials)


@pytest.mark.parametrize(
    ("group", "note", "words"),
    [
        ("condensate", "trap plgd solid", ["trap plgd"]),
        ("condensate", "condensat trap pluged", ["condensat trap pluged"]),
        ("air_path", "blew water out of the sensing line", ["water out of the sensing line"]),
        ("electrical", "coroded conector at board", ["coroded conector"]),
        ("switch_itself", "sw diaphram torn", ["diaphram torn"]),
        ("heat_exchanger", "secondary exch crkd", ["secondary exch crkd"]),
        ("condensate", "no heat trap plugged solid replased presure switch ok on departure", ["trap plugged"]),
        ("condensate", "TRAP OK / DRAIN FROZEN AT THE WALL / ", ["DRAIN FROZEN"]),
        ("air_path", "no restrictor in sensing hose", ["no restrictor"]),
        ("air_path", "fault code for presure switch sensing hose cracked at the port", ["hose cracked"]),
        ("air_path", "hose wet - hose cracked", ["hose wet", "hose cracked"]),
    ],
)
def test_abbreviations_misspellings_and_hands(con, group, note, words):
    assert evidence(con, group, note) == words


@pytest.mark.parametrize(
    ("group", "note"),
    [
        ("condensate", "trap was not plugged"),
        ("condensate", "trap clear, no ice or slime in the drain"),
        ("condensate", "trap. plugged in the tester"),
        ("condensate", "cleaned trap"),
        ("condensate", "if it does it again look for plugged trap"),
        ("condensate", "hose full of water"),
        ("air_path", "never saw any water in hose"),
        ("air_path", "did not find a hole in the hose"),
        ("switch_itself", "replaced switch"),
        ("switch_itself", "switch bad"),
        ("switch_itself", ".62 wc on start"),
        ("switch_itself", "did not replace switch"),
        ("heat_exchanger", "recommend checking for cracked exchanger"),
        ("installation", "jumpered switch to test"),
        ("none_found", "trap plugged"),
        (None, "trap plugged"),
    ],
)
def test_nothing_is_described(con, group, note):
    assert not evidence(con, group, note)
    assert con.execute("SELECT describes(?::VARCHAR, ?::VARCHAR)", [group, note]).fetchone() == (False,)


def test_a_finding_stands_beside_the_denial_of_another(con):
    note = "No water in hose. Vent clear. Trap full of slime, did not replace switch."
    assert evidence(con, "condensate", note) == ["Trap full"]
    assert not evidence(con, "air_path", note) and not evidence(con, "flue_path", note)
    reading = read_note(note)
    assert reading.findings == ("Trap full",)
    assert reading.denials == ("No water in hose", "Vent clear", "did not replace switch")


@pytest.mark.parametrize(
    ("note", "readings"),
    [
        (".62 wc on start", (".62 wc",)),
        ('read 0.85" w.c. running', ('0.85" w.c.',)),
        ("160 Pa", ("160 Pa",)),
        ("gauge shows 1.4 mbar at switch", ("1.4 mbar",)),
        ("-1.1 iwc, then 0,8 in. w.c.", ("-1.1 iwc", "0,8 in. w.c.")),
        ("part 62, 3 cycles, CO 12 ppm", ()),
    ],
)
def test_a_draft_in_words_is_shown_as_text(note, readings):
    assert read_note(note).readings == readings
    assert read_note(note).by_group == {}


def test_html_is_text_and_splits_nothing_off(con):
    note = '<p>trap plugged</p><img src=x onerror="alert(1)"> =HYPERLINK("x")'
    assert evidence(con, "condensate", note) == ["trap plugged"]
    assert read_note("<script>no</script>").findings == ()


def test_ten_thousand_characters_are_read_to_the_end_in_a_moment(con):
    note = ("checked the water and the hose and the trap of it all " * 200)[:9_987] + " trap plugged"
    assert len(note) == 10_000
    started = time.process_time()
    assert evidence(con, "condensate", note)[-1] == "trap plugged"
    hard = "no " * 3_333
    assert evidence(con, "condensate", hard) == []
    assert time.process_time() - started < 2


def test_words_are_given_as_the_note_writes_them():
    note = "FOUND Trap Plugged\nRepl P/S"
    reading = read_note(note)
    assert reading.findings == ("Trap Plugged",) and reading.actions == ("Repl P/S",)
    assert all(word in note for word in (*reading.findings, *reading.actions))


def test_many_notes_are_read_as_one_by_one():
    notes = ["trap plugged", None, "no water in hose", "trap plugged"]
    assert read_notes(notes) == [read_note(note) for note in notes]


def test_every_declared_state_is_found_with_its_part_and_can_be_denied(con):
    """Every entry of the vocabulary works: none is dead because of a slip in it or in the expressions."""
    asked = []
    for rule in patterns.vocabulary()["finding"]:
        part = patterns.vocabulary()["parts"][rule["parts"][0]][0]
        for state in (*rule.get("either", ()), *rule.get("behind", ())):
            asked.append((rule["group"], f"{part} {state.replace('*', '')}"))
        asked += [(rule["group"], f"{state} {part}") for state in rule.get("before", ())]
    rows = con.execute(
        "SELECT g, n, describes(g, n), describes(g, 'never ' || n) FROM (SELECT unnest(?) AS g, unnest(?) AS n)",
        [list(column) for column in zip(*asked, strict=True)],
    ).fetchall()
    assert len(rows) == len(asked) > 200
    assert not [row for row in rows if not row[2]], "declared but not found"
    assert not [row for row in rows if row[3]], "found although denied"


def test_every_spelling_is_read_as_its_word():
    for word, spellings in patterns.vocabulary()["spellings"].items():
        for spelling in (word, *spellings):
            assert re.fullmatch(patterns.any_of([word]), spelling), (word, spelling)


@pytest.mark.parametrize(
    ("written", "is_read"),
    [("plugged", True), ("pluged", True), ("pllugged", False), ("plggd", True), ("lugged", False), ("plunged", False)],
)
def test_long_words_may_lack_vowels_and_doubled_letters_but_stay_the_same_word(written, is_read):
    assert bool(re.fullmatch(patterns.loosely("plugged"), written)) is is_read
