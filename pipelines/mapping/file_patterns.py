"""Which files a source reads, told by a pattern of their names in which * stands for anything."""

from __future__ import annotations

import os
import re
import unicodedata
from collections.abc import Iterable, Iterator, Sequence
from fnmatch import fnmatchcase

# What the name of a file of a query's rows ends with; such a name is no pattern.
QUERY_ENDING = " (query).csv"
# Numbers and dates, also of several parts; and the count a machine puts behind the name of a second copy.
_NUMBERS = re.compile(r"\d+(?:[\s._T-]*\d+)*", re.IGNORECASE)
_COPY = re.compile(r"\s*\(\d+\)$")
# A pattern of less than this many letters would read nearly every file of a folder.
_LEAST_LETTERS = 2


def fits_pattern(file_name: str, pattern: str) -> bool:
    """Whether a pattern reads a file of that name; case does not matter, and a name always fits itself."""
    name, wanted = _compared(file_name), _compared(pattern)
    return name == wanted or fnmatchcase(name, wanted)


def pattern_of_name(file_name: str) -> str:
    """The name with * for its numbers and dates, so that the next month's file fits; as it is where it has none."""
    stem, point, ending = file_name.rpartition(".")
    if not point:
        stem, ending = ending, ""
    # A bracket begins a choice of characters in a pattern.
    safe = _COPY.sub("*", stem).replace("[", "[[]")
    made = re.sub(r"\*+", "*", _NUMBERS.sub("*", safe))
    n_letters = sum(character.isalpha() for character in made)
    return file_name if "*" not in made or n_letters < _LEAST_LETTERS else f"{made}{point}{ending}"


def pattern_beside(file_name: str, others: Iterable[str]) -> str:
    """The pattern proposed for a file among others; its exact name where the pattern would read one of them too."""
    made = pattern_of_name(file_name)
    is_query = file_name.endswith(QUERY_ENDING)
    reads_another = any(fits_pattern(one, made) for one in others if _compared(one) != _compared(file_name))
    return file_name if is_query or reads_another else made


def pattern_reading(file_name: str, patterns: Sequence[str]) -> str:
    """The pattern to suggest for a file that none of the patterns reads: one of them, widened until it does.

    patterns: at least one. One that would also read the files of another pattern is not suggested; where none is left,
    the first pattern widened stands as an example.
    """
    for before in patterns:
        others = [one for one in patterns if one != before]
        for made in _widened(before, file_name):
            if fits_pattern(file_name, made) and not any(fits_pattern(one, made) for one in others):
                return made
    return _longer(patterns[0])


def _widened(pattern: str, file_name: str) -> Iterator[str]:
    """The pattern made wider, in the order of what a person would write."""
    numberless = pattern if set("[?") & set(pattern) else pattern_of_name(pattern)
    yield from (numberless, _longer(pattern), _longer(numberless))
    begun = os.path.commonprefix([pattern, file_name])
    if sum(character.isalpha() for character in begun) >= _LEAST_LETTERS:
        yield f"{begun}*{pattern.rpartition('.')[1]}{pattern.rpartition('.')[2]}" if "." in pattern else f"{begun}*"


def _longer(pattern: str) -> str:
    """The pattern with anything before its ending."""
    stem, point, ending = pattern.rpartition(".")
    return f"{(stem if point else ending).rstrip('*')}*{point}{ending if point else ''}"


def _compared(name: str) -> str:
    # Some machines write an accent as a character of its own.
    return unicodedata.normalize("NFC", name).casefold()
