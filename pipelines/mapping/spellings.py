"""Spellings of a column of codes or of yes and no, and which of them are understood without a translation."""

from __future__ import annotations

from collections.abc import Sequence

from pipelines.contract.fields import Field
from pipelines.mapping.declared import folded_text

FLAGS = frozenset({"yes", "no", "true", "false", "y", "n", "t", "f", "x", "1", "1.0", "0", "0.0"})
_MOST_SPELLINGS = 60


def choices(entry: Field) -> list[str]:
    """What a spelling of the field can mean; none where the field takes no codes."""
    if entry.kind == "flag":
        return ["yes", "no"]
    return list(entry.code_list.values()) if entry.code_list is not None else []


def is_understood(entry: Field, key: str) -> bool:
    """Whether a folded spelling is taken as it stands."""
    if entry.kind == "flag":
        return key in FLAGS
    return entry.code_list is not None and key.replace(" ", "_").replace("-", "_") in entry.code_list.values()


def as_themselves(entry: Field) -> dict[str, str]:
    """Folded spelling -> code, for every spelling of a field's codes that is taken as it stands."""
    if entry.kind == "flag":
        return {said: said for said in sorted(FLAGS)}
    return {code.replace("_", mark): code for code in choices(entry) for mark in ("_", " ", "-")}


def spellings_of(cells: Sequence[str]) -> list[str]:
    """The different spellings of a column, folded, in their order; more than 60 are no codes."""
    return list(dict.fromkeys(folded_text(cell) for cell in cells))[:_MOST_SPELLINGS]


def written_spellings(cells: Sequence[str]) -> list[str]:
    """The different spellings of a column as they were first written, in their order; at most 60."""
    first: dict[str, str] = {}
    for cell in cells:
        first.setdefault(folded_text(cell), cell.strip())
    return list(first.values())[:_MOST_SPELLINGS]
