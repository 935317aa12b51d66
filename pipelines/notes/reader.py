"""Reading notes: SQL functions for the build, and one note at a time for the screens. Both use the same expressions.

    note_evidence(cause_group, note)   the words of the note that describe a finding of that group, VARCHAR[];
                                       note_evidence_in(cause_group, note, low) where the note in lower case is at hand
    describes(cause_group, note)       whether there are any

What a whole note says, whatever the cause, is read for one note at a time (`read_note`), for the screens.

A draft reading in a note is text: it describes nothing and is never taken for a reading.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache, lru_cache

import duckdb

from pipelines.notes import patterns

# Characters looked at before and behind a finding for what denies it.
_BEFORE, _BEHIND = 60, 24


@dataclass(frozen=True)
class NoteReading:
    """What a note says, in its own words. findings: what is wrong; actions: what was done; denials: what is said to be
    sound, not done, supposed, priced or only needed. readings: pressures in the text, as written. by_group: the findings by
    the group of causes they describe."""

    findings: tuple[str, ...]
    actions: tuple[str, ...]
    denials: tuple[str, ...]
    readings: tuple[str, ...]
    by_group: dict[str, tuple[str, ...]]


def build_macros() -> str:
    """SQL that defines note_evidence and describes.

    Expressions are matched in lower case, which compiles faster than ignoring case; what is found is given as written.
    """
    found = " ".join(f"WHEN {_text(group)} THEN {_all(patterns.finding(group))}" for group in patterns.groups())
    return f"""
CREATE OR REPLACE MACRO text_before(found, low) AS right(left(low, strpos(low, found) - 1), {_BEFORE});
CREATE OR REPLACE MACRO text_behind(found, low) AS substr(low, strpos(low, found) + length(found), {_BEHIND});
CREATE OR REPLACE MACRO is_affirmed_in(found, low) AS NOT {_has("text_before(found, low)", patterns.denied_before())}
    AND NOT {_has("text_behind(found, low)", patterns.denied_behind())};
CREATE OR REPLACE MACRO is_affirmed(found, low) AS is_affirmed_in(found, low)
    AND (NOT {_has("found", patterns.undone_inside())} OR {_has("found", patterns.says_no_itself())});
CREATE OR REPLACE MACRO as_written(found, note, low) AS substr(note, strpos(low, found), length(found));
CREATE OR REPLACE MACRO mentions_in(cause_group, low) AS CASE cause_group {found} END;
CREATE OR REPLACE MACRO note_evidence_in(cause_group, note, low) AS list_transform(
    list_filter(mentions_in(cause_group, low), lambda found: is_affirmed(found, low)),
    lambda found: as_written(found, note, low));
CREATE OR REPLACE MACRO note_evidence(cause_group, note) AS note_evidence_in(cause_group, note, lower(note));
CREATE OR REPLACE MACRO describes(cause_group, note) AS coalesce(len(note_evidence(cause_group, note)) > 0, false);
"""


def screen_macros() -> str:
    """SQL that defines what reads a whole note. Needs build_macros."""
    every = ", ".join(_all(patterns.finding(group)) for group in patterns.groups())
    lost = _all(patterns.lost_function())
    done = _all(patterns.action())
    return f"""
CREATE OR REPLACE MACRO said_with(found, low, before, behind) AS
    regexp_extract(text_before(found, low), before) || found || regexp_extract(text_behind(found, low), behind);
CREATE OR REPLACE MACRO is_done(found, low) AS NOT {_has("text_before(found, low)", patterns.not_done_before())}
    AND NOT {_has("text_behind(found, low)", patterns.not_done_behind())};
CREATE OR REPLACE MACRO longest(words) AS
    list_filter(words, lambda w: len(list_filter(words, lambda o: o <> w AND contains(o, w))) = 0);
CREATE OR REPLACE MACRO all_mentions(low) AS flatten([{every}, {_all(patterns.general_finding())}]);
CREATE OR REPLACE MACRO findings_in(low) AS list_filter(longest(list_distinct(all_mentions(low) || {lost})),
    lambda found: is_affirmed(found, low) OR (list_contains({lost}, found) AND is_affirmed_in(found, low)));
CREATE OR REPLACE MACRO actions_in(low) AS list_filter(list_distinct({done}), lambda found: is_done(found, low));
CREATE OR REPLACE MACRO denials_in(low) AS longest(list_distinct(flatten([
    list_transform(list_filter(all_mentions(low), lambda found: NOT is_affirmed(found, low)),
        lambda found: said_with(found, low, {_text(patterns.denied_before())}, {_text(patterns.denied_behind())})),
    list_transform(list_filter({lost}, lambda found: NOT is_affirmed_in(found, low)),
        lambda found: said_with(found, low, {_text(patterns.denied_before())}, {_text(patterns.denied_behind())})),
    list_transform(list_filter({done}, lambda found: NOT is_done(found, low)),
        lambda found: said_with(found, low, {_text(patterns.not_done_before())}, {_text(patterns.not_done_behind())})),
    {_all(patterns.sound_part())}, {_all(patterns.nothing())}])));
CREATE OR REPLACE MACRO readings_in(low) AS list_distinct({_all(patterns.reading())});
"""


@lru_cache(maxsize=256)
def read_note(note: str | None) -> NoteReading:
    """What one note says. A missing note says nothing."""
    return read_notes([note])[0]


def read_notes(notes: Sequence[str | None]) -> list[NoteReading]:
    """What each note says, in the order given."""
    con = _connection().cursor()
    evidence = ", ".join(f"note_evidence({_text(group)}, note)" for group in patterns.groups())
    rows = con.execute(
        f"""SELECT note, findings_in(low), actions_in(low), denials_in(low), readings_in(low), [{evidence}]
            FROM (SELECT place, note, lower(note) AS low
                  FROM unnest(?::VARCHAR[]) WITH ORDINALITY AS given(note, place)) ORDER BY place""",
        [list(notes)],
    ).fetchall()
    return [
        NoteReading(
            findings=_in_order(findings, note),
            actions=_in_order(actions, note),
            denials=_in_order(denials, note),
            readings=_in_order(readings, note),
            by_group={group: tuple(words) for group, words in zip(patterns.groups(), grouped, strict=True) if words},
        )
        for note, findings, actions, denials, readings, grouped in rows
    ]


@cache
def _connection() -> duckdb.DuckDBPyConnection:
    con = duckdb.connect(config={"threads": 1, "autoinstall_known_extensions": "false"})
    con.execute(build_macros())
    con.execute(screen_macros())
    return con


def _in_order(words: list[str] | None, note: str | None) -> tuple[str, ...]:
    """Words as the note writes them, in its order."""
    low = (note or "").lower()
    places = sorted({(low.find(word), word) for word in words or ()})
    return tuple((note or "")[place : place + len(word)] if place >= 0 else word for place, word in places)


def _all(expression: str) -> str:
    return f"regexp_extract_all(low, {_text(expression)})"


def _has(value: str, expression: str) -> str:
    return f"regexp_matches({value}, {_text(expression)})"


def _text(value: str) -> str:
    """A text as SQL writes it."""
    return "'" + value.replace("'", "''") + "'"
