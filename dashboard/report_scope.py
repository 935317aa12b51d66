"""The filters of `goodpull report`: the same scope as the pages, from words typed on the command line."""

from __future__ import annotations

import datetime as dt
import difflib
import hashlib
import re

from dashboard import scope_bar
from models.figures.scope import Scope
from pipelines.errors import GoodpullError

MOST_NAMED = 30
# Of the name of a file, which every system takes up to 255 bytes.
LONGEST_PART = 80


class ScopeError(GoodpullError):
    """A filter names nothing on record, or no day."""


def scope_of(branch: str | None, region: str | None, kind: str | None, start: str | None, end: str | None) -> Scope:
    """The scope of these filters; None = not narrowed. Days: 2025-01-31, both included.

    Raises ScopeError naming the filter, what was got and what is allowed.
    """
    start_on, end_on = _day("--from", start), _day("--until", end)
    if start_on and end_on and start_on > end_on:
        raise ScopeError(f"--from {start_on} lies after --until {end_on}. Exchange the two.")
    return Scope(
        start_on,
        end_on,
        _one_of("--branch", "branch", branch),
        _one_of("--region", "region", region),
        _one_of("--kind", "appliance", kind),
    )


def in_file_name(scope: Scope) -> str:
    """What the name of a file says of the scope, so that packs of two scopes do not take each other's place.

    Empty for the whole company. What a file name cannot hold on every system is told apart by a digest.
    """
    named = scope_bar.in_words(scope).replace(",", "")
    if not named:
        return ""
    plain = re.sub(r"[^A-Za-z0-9-]+", "_", named).strip("_").lower()[:LONGEST_PART]
    # Names that differ in a mark, a capital or beyond the cut would give the same file.
    digest = hashlib.sha256(scope_bar.in_words(scope).encode("utf-8")).hexdigest()[:6]
    return f"_{plain}_{digest}"


def _one_of(option: str, name: str, given: str | None) -> str | None:
    """The name as it stands on record; capitals, and a blank for an underscore, do not count."""
    if given is None:
        return None
    allowed = scope_bar.choices(name)
    by_folded = {_folded(one): one for one in allowed}
    found = given if given in allowed else by_folded.get(_folded(given))
    if found is not None:
        return found
    if not allowed:
        raise ScopeError(f"{option}: got {given!r}; no visit on record names one, so nothing can be narrowed by it.")
    near = difflib.get_close_matches(_folded(given), by_folded, n=1, cutoff=0.7)
    hint = f" Did you mean {by_folded[near[0]]!r}?" if near else ""
    named = ", ".join(allowed[:MOST_NAMED]) + (
        f" and {len(allowed) - MOST_NAMED} more" if len(allowed) > MOST_NAMED else ""
    )
    raise ScopeError(f"{option}: got {given!r}; must be one of {named}.{hint}")


def _folded(text: str) -> str:
    return " ".join(text.replace("_", " ").split()).casefold()


def _day(option: str, given: str | None) -> dt.date | None:
    if given is None:
        return None
    try:
        return dt.datetime.strptime(given.strip(), "%Y-%m-%d").date()
    except ValueError as error:
        raise ScopeError(f"{option}: got {given!r}; must be a day such as 2025-01-31.") from error
