"""How well notes are read, in words: every line of the table comes from the measurement."""

from __future__ import annotations

from dashboard import note_reading


def test_every_line_is_in_the_measurement_and_tells_its_range():
    found = note_reading.table()
    lines = note_reading.lines(found)
    assert len(lines) == len(note_reading.SHOWN)
    score = found["held_out_hands"]["scores"]["cause_described"]
    assert lines[0][4] == score["n"] and f"{100 * score['recall'][0]:.0f}%" in lines[0][3]


def test_what_was_not_measured_is_left_out_and_no_share_is_made_up():
    assert note_reading.lines({}) == []
    scores = {"scores": {"action": {"n": 3, "precision": None, "recall": [0.5, 0.1, 0.9]}}}
    (line,) = note_reading.lines({"held_out_hands": scores})
    assert line[2] == "not known" and line[3] == "50% (10% to 90%)"
