"""Unit spellings: capitals, spaces and full stops do not matter, and nothing unknown becomes a unit."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from pipelines.contract.units import UNIT_CODES, UNIT_SPELLINGS, folded, unit_code


@st.composite
def written(draw):
    """A known spelling as a person may type it: capitals, spaces and full stops strewn in."""
    spelling = draw(st.sampled_from(sorted(UNIT_SPELLINGS)))
    pieces = []
    for char in spelling:
        pieces.append(draw(st.sampled_from(["", "", "", " ", ".", ". ", "\N{NO-BREAK SPACE}"])))
        pieces.append(char.upper() if draw(st.booleans()) and char.upper().lower() == char else char)
    return spelling, "".join(pieces) + draw(st.sampled_from(["", ".", "  "]))


@given(written())
def test_a_spelling_means_the_same_however_it_is_typed(case):
    spelling, text = case
    assert unit_code(text) == UNIT_SPELLINGS[spelling]


@given(st.text(max_size=12))
def test_any_text_is_a_known_spelling_or_no_unit(text):
    code = unit_code(text)
    assert (code is None) == (folded(text) not in UNIT_SPELLINGS)


def test_every_code_is_a_spelling_of_itself():
    assert {code: unit_code(code) for code in UNIT_CODES} == {code: code for code in UNIT_CODES}
