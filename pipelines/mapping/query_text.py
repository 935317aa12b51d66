"""The text of a query, as far as it can be judged before anything is sent: one statement, and one that reads.

What protects the database is the database itself (pipelines.mapping.database); a text refused here gets a clearer reason.
"""

from __future__ import annotations

import re

from pipelines.mapping.declared import MappingError

NEVER_WRITTEN = "must be one SELECT. Nothing is ever written to a database."
_SHOWN = 30
_READS = re.compile(r"(select|with|values|table)\b", re.IGNORECASE)
# A remark to the end of its line or in stars, a text in quotes or in dollars, a name in quotes.
_SET_APART = re.compile(
    r"""(?P<remark>--[^\n\r]*)|(?P<stars>/\*)|(?P<name>"(?:[^"]|"")*")|(?P<dollar>(?<![\w$])\$(?:[^\W\d]\w*)?\$)"""
    r"""|(?P<text>(?<![\w$])e'(?:[^'\\]|\\.|'')*'|'(?:[^']|'')*')""",
    re.IGNORECASE | re.DOTALL,
)
_STAR = re.compile(r"/\*|\*/")
# What stands for a text, a name in quotes and a pair of brackets in what is judged.
_TEXT, _NAME, _BRACKETS = "\x01", "\x02", "\x00"
_INNERMOST = re.compile(r"\(([^()]*)\)")
# INTO is no name of anything, unless behind AS or a dot: it makes a table, or puts rows into one.
_INTO = re.compile(r"(?:\b(?:insert|merge) )?(?<!\.)(?<!\. )(?<!\bas )\binto\b", re.IGNORECASE)
# DELETE and UPDATE may be names too; at the beginning of a statement, or behind its WITH, they are not.
_CHANGES = re.compile(
    r" ?(?:with\b(?:(?!\b(?:select|values|table)\b).)*?\x00 ?)?"
    r"(?P<verb>delete from\b|update (?:only )?[\w$.*\x00\x02 ]*?\bset\b)",
    re.IGNORECASE,
)


def one_read(name: str, text: str) -> str:
    """The one statement of a query, without the semicolon and remarks that end it.

    name: of the query, for what is said. Raises MappingError where the text is empty, begins as no SELECT does, holds more
    than one statement, or writes.
    """
    bare = _bare(text)
    end = bare.find(";")
    if end >= 0:
        more = re.search(r"[^;\s]", bare[end:])
        if more:
            follows = text[end + more.start() :][:_SHOWN]
            raise MappingError(
                f"The query {name!r} holds more than one statement ({follows!r} follows the first); {NEVER_WRITTEN}"
            )
        text, bare = text[:end], bare[:end]
    begun = bare.lstrip(" \t\r\n\f\v(")
    if not begun.strip():
        raise MappingError(f"The query {name!r} is empty; {NEVER_WRITTEN}")
    if not _READS.match(begun):
        shown = text[len(bare) - len(begun) :][:_SHOWN]
        raise MappingError(f"The query {name!r} begins with {shown!r}; {NEVER_WRITTEN}")
    verb = _writing(bare)
    if verb:
        raise MappingError(f"The query {name!r} writes ({verb}); {NEVER_WRITTEN}")
    return text.strip()


def names_in(text: str) -> set[str]:
    """Every word and quoted name of a query, as the database would know a table or schema by it."""
    quoted = {found["name"][1:-1].replace('""', '"') for found in _SET_APART.finditer(text) if found["name"]}
    return quoted | {word.lower() for word in re.findall(r"[^\W\d][\w$]*", _bare(text))}


def _bare(text: str) -> str:
    """The text, as long as it was, with blanks for remarks and signs for texts and names in quotes."""
    pieces, at = [], 0
    while found := _SET_APART.search(text, at):
        end, sign = found.end(), _TEXT
        if found["remark"]:
            sign = " "
        elif found["stars"]:
            end, sign = _end_of_stars(text, found.end()), " "
        elif found["name"]:
            sign = _NAME
        elif found["dollar"]:
            closed = text.find(found["dollar"], found.end())
            end = len(text) if closed < 0 else closed + len(found["dollar"])
        pieces += [text[at : found.start()], sign * (end - found.start())]
        at = end
    return "".join([*pieces, text[at:]])


def _end_of_stars(text: str, at: int) -> int:
    """Where a remark in stars ends that was opened before `at`; PostgreSQL lets them hold others."""
    depth = 1
    for found in _STAR.finditer(text, at):
        depth += 1 if found[0] == "/*" else -1
        if not depth:
            return found.end()
    return len(text)


def _writing(bare: str) -> str | None:
    """The words by which a statement writes, also within brackets; None where none are met."""
    left = " ".join(bare.split())
    into = _INTO.search(left)
    if into:
        return into[0].upper()
    # Brackets are judged from the innermost outwards, each standing as one sign in what is around it.
    while True:
        for held in (*_INNERMOST.findall(left), left):
            found = _CHANGES.match(held)
            if found:
                return found["verb"].partition(" ")[0].upper()
        left, n = _INNERMOST.subn(_BRACKETS, left)
        if not n:
            return None
