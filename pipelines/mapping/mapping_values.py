"""The values of a mapping file, each checked; what is wrong is told with its place."""

from __future__ import annotations

import re
from collections.abc import Iterable
from functools import cache
from typing import Any
from zoneinfo import ZoneInfo

import duckdb

from pipelines.contract.fields import Field
from pipelines.contract.units import PASCAL_PER_UNIT, unit_code
from pipelines.mapping.declared import EXCEL_SERIAL, MappingError, folded_text

# A connection that hangs this long is given up, in seconds.
_LONGEST_WAIT = 86_400


def check_allowed(entry: Field, value: Any, place: str) -> None:
    """Refuse a constant that no cell of the column may hold. A blank one means: no value."""
    if value is None or value == "" or entry.code_list is None:
        return
    if str(value) not in entry.code_list.values():
        raise MappingError(f"{place} is {value!r}; must be one of {', '.join(entry.code_list.values())}")


def codes_of(given: Any, place: str) -> tuple[tuple[str, str], ...]:
    """Folded spelling -> code. Raises MappingError where two spellings differ in case or spaces only."""
    if not isinstance(given, dict):
        raise MappingError(f'{place}: must be a table, such as "SW PRESS RPLCD" = "draft_switch"')
    found: dict[str, tuple[str, str]] = {}
    for spelling, code in given.items():
        key = folded_text(spelling)
        if key in found:
            raise MappingError(f"{place}: {spelling!r} and {found[key][0]!r} are the same spelling; keep one")
        found[key] = (spelling, str(code))
    return tuple((key, code) for key, (_, code) in found.items())


def aliases_of(given: Any, place: str) -> tuple[tuple[str, str], ...]:
    """Folded spelling -> the identifier at the end of its chain. Raises MappingError for a cycle."""
    pairs = codes_of(given, place)
    direct = dict(pairs)
    ends = []
    for key, target in pairs:
        seen = [key]
        while (next_key := folded_text(target)) in direct and direct[next_key] != target:
            if next_key in seen:
                raise MappingError(f"{place}: goes round in a circle: {' → '.join([*seen, next_key])}. Break it")
            seen.append(next_key)
            target = direct[next_key]
        ends.append((key, target))
    return tuple(ends)


def check_keys(given: Any, allowed: Iterable[str], place: str) -> None:
    """Refuse keys that mean nothing here."""
    if not isinstance(given, dict):
        raise MappingError(f"{place}: must be a table of {', '.join(allowed)}")
    for key in given:
        if key not in allowed:
            raise MappingError(f"{place}: {key!r} is not known here; known are {', '.join(allowed)}")


def table_of(given: dict[str, Any], key: str, place: str = "the mapping") -> dict[str, Any]:
    """A table within a table; empty where there is none."""
    value = given.get(key, {})
    if not isinstance(value, dict):
        raise MappingError(f"{place}: {key} must be a table")
    return value


def words_of(given: Any, place: str) -> tuple[str, ...]:
    """One or more texts."""
    if isinstance(given, str):
        given = [given]
    if not isinstance(given, list) or not all(isinstance(word, str | int | float) for word in given):
        raise MappingError(f"{place}: must be text, or a list of texts in square brackets")
    return tuple(str(word) for word in given)


def text_of(value: Any) -> str | None:
    """A value as text; None where there is none."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return None if value is None else str(value)


def pattern_of(given: Any, place: str) -> str | None:
    """A regular expression with one group."""
    if given is None:
        return None
    try:
        n_groups = re.compile(str(given)).groups
        _try_in_database(str(given))
    except (re.error, duckdb.Error) as error:
        raise MappingError(f"{place}: pattern is no regular expression that can be read ({error})") from error
    if n_groups != 1:
        raise MappingError(
            f"{place}: pattern has {n_groups} groups; must have one pair of brackets around what is meant"
        )
    return str(given)


@cache
def _try_in_database(pattern: str) -> None:
    # The database reads it, and knows no looking ahead and no naming of a group again.
    duckdb.connect().execute("SELECT regexp_extract('', ?, 1)", [pattern])


def formats_of(given: Any, place: str) -> tuple[str, ...]:
    """Formats of dates and times."""
    formats = words_of(given, place)
    for one in formats:
        if one != EXCEL_SERIAL and "%" not in one:
            raise MappingError(f'{place}: {one!r} is no format; write it like "%d.%m.%Y %H:%M", or "{EXCEL_SERIAL}"')
    return formats


def zone_of(given: Any) -> str | None:
    """The name of a time zone."""
    if given is None:
        return None
    try:
        ZoneInfo(str(given))
    except (KeyError, ValueError, OSError) as error:
        raise MappingError(f'time_zone is {given!r}; must be a name such as "America/Chicago"') from error
    return str(given)


def unit_of(given: Any) -> str | None:
    """The UCUM code of a unit of pressure."""
    if given is None:
        return None
    code = unit_code(str(given))
    if code not in PASCAL_PER_UNIT:
        raise MappingError(f"default_pressure_unit is {given!r}; must be one of {', '.join(PASCAL_PER_UNIT)}")
    return code


def seconds_of(given: Any) -> int:
    """A limit in whole seconds."""
    if isinstance(given, bool) or not isinstance(given, int) or not 1 <= given <= _LONGEST_WAIT:
        raise MappingError(f"database.timeout_seconds is {given!r}; must be a whole number from 1 to {_LONGEST_WAIT}")
    return given
