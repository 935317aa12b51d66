"""The outside checks as they were last run: each method against a value that is not ours."""

from __future__ import annotations

import json
from functools import cache
from importlib.resources import files
from typing import Any

FILE_NAME = "outside_checks.json"
# How far a published value was followed to where it stands.
STATUSES = (
    "published and read",
    "published, value from memory",
    "our reading of a library's output",
    "common practice",
)


@cache
def outside_checks() -> tuple[dict[str, Any], ...]:
    """One dict per check, by topic: topic, name, source, status (one of STATUSES), note, expected and got (lists of
    numbers, as long as each other), allowed (largest difference), made by `tests/outside/list_checks.py`.
    """
    text = files("models.evidence").joinpath(FILE_NAME).read_text("utf-8")
    return tuple(json.loads(text))
