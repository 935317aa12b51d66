"""Which table a header belongs to, and which of its columns are known, personal or unknown."""

from __future__ import annotations

import difflib
import re
import unicodedata
from dataclasses import dataclass

from pipelines.contract.fields import Table
from pipelines.contract.tables import PERSONAL_WHOLE_WORDS, PERSONAL_WORDS, TABLES

# A header must name this many contract columns before a table is guessed from it alone.
FEWEST_KNOWN = 2


@dataclass(frozen=True)
class HeaderFound:
    """A header row and the table it fits best. delivered: its cells as they stand. is_named: by the file's name."""

    delivered: list[str]
    table: Table
    n_known: int
    is_named: bool


@dataclass(frozen=True)
class Columns:
    """The columns of a file. known: contract column -> delivered column; unknown: column -> nearest name or None."""

    known: dict[str, str]
    personal: list[str]
    unknown: dict[str, str | None]
    missing: list[str]


def folded(name: str) -> str:
    """A column name as it is compared: lower case, words joined by one underscore."""
    return re.sub(r"[^0-9a-z]+", "_", name.replace("\ufeff", "").strip().casefold()).strip("_")


def table_of_name(name: str) -> Table | None:
    """The table a file or sheet is named after: the longest table name it begins with."""
    stem = folded(name)
    fitting = [table for table in TABLES if stem == table.name or stem.startswith(table.name + "_")]
    return max(fitting, key=lambda table: len(table.name), default=None)


def find_header(cells: list[str], name: str = "") -> HeaderFound | None:
    """The table whose columns a row names; a file named after a table is held to that table."""
    names = {folded(cell) for cell in cells if cell}
    named = table_of_name(name)
    candidates = [named] if named else list(TABLES)
    best = max(candidates, key=lambda table: (len(names & set(table.by_name)), set(table.required()) <= names))
    known = len(names & set(best.by_name))
    if known == 0 or (named is None and known < FEWEST_KNOWN):
        return None
    return HeaderFound(list(cells), best, known, named is not None)


def best_header(name: str, rows: list[list[str]]) -> tuple[HeaderFound, int] | None:
    """The row among the first that names most columns of a table, and its place; None when none names any."""
    best: tuple[HeaderFound, int] | None = None
    for at, row in enumerate(rows):
        header = find_header(row, name)
        if header is not None and (best is None or header.n_known > best[0].n_known):
            best = header, at
    return best


def no_header(cells: list[str]) -> str:
    """What is said when no header was found. cells: the first row."""
    shown = ", ".join(cell[:30] for cell in cells[:8])
    return (
        f"no row among the first 20 names the columns of a table (first row: {shown!r}; delimiters tried: comma, "
        "semicolon, tab, bar and what else stands there). See the column names with: goodpull contract; a foreign export needs its "
        "mapping: goodpull map FILE, then load it with --map"
    )


def sort_columns(table: Table, delivered: list[str]) -> Columns:
    """Known, personal and unknown columns of a file, and the required ones it lacks."""
    known: dict[str, str] = {}
    personal: list[str] = []
    unknown: dict[str, str | None] = {}
    for column in delivered:
        key = folded(column)
        if key in table.by_name and key not in known:
            known[key] = column
        elif is_personal(key):
            personal.append(column)
        else:
            near = difflib.get_close_matches(key, [n for n in table.by_name if n not in known], 1, 0.75)
            unknown[column] = near[0] if near else None
    return Columns(known, personal, unknown, [column for column in table.required() if column not in known])


def is_personal(column: str) -> bool:
    """Whether a column is named like a customer's personal data."""
    marked = unicodedata.normalize("NFKD", column.replace("ß", "ss"))
    key = folded("".join(one for one in marked if not unicodedata.combining(one)))
    joined = key.replace("_", "")
    return any(word in key or word.replace("_", "") in joined for word in PERSONAL_WORDS) or not set(
        key.split("_")
    ).isdisjoint(PERSONAL_WHOLE_WORDS)
