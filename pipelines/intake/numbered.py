"""Sentences that begin with a number: one or many."""

from __future__ import annotations

import re

_EITHER = re.compile(r"\[([^\[\]|]*)\|([^\[\]|]*)\]")


def numbered(n: int, said: str) -> str:
    """The number and what is said of it. Of `[is|are]` the first stands for 1, the second for any other number."""
    return f"{n:,} " + _EITHER.sub(lambda found: found[1 if n == 1 else 2], said)
