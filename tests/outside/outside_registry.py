"""The list of outside checks: what each is, where its value stands, what was expected and what our code gives."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from models.evidence.outside import STATUSES

READ, MEMORY, LIBRARY, PRACTICE = STATUSES
DIGITS = 7
# Digits below this are rounding of the machine.
NOISE = 1e-9


@dataclass(frozen=True)
class Check:
    """One check. expected: numbers from outside, or None where `got` returns both (a library's output)."""

    topic: str
    name: str
    source: str
    status: str
    expected: tuple[float, ...] | None
    allowed: float
    got: Callable[[], Any]
    note: str = ""


REGISTRY: list[Check] = []


def check(
    topic: str, name: str, source: str, status: str, expected: Any = None, allowed: float = 5e-5, note: str = ""
) -> Callable[[Callable[[], Any]], Callable[[], Any]]:
    """Put a function on the list that gives our numbers (with expected None: a pair of the library's and ours).

    allowed: largest difference, in the unit of the numbers. note: what else a reader must know.
    """
    if status not in STATUSES:
        raise ValueError(f"status: got {status!r}; must be one of {', '.join(STATUSES)}.")

    def add(function: Callable[[], Any]) -> Callable[[], Any]:
        numbers = None if expected is None else tuple(float(x) for x in np.ravel(expected))
        REGISTRY.append(Check(topic, name, source, status, numbers, allowed, function, note))
        return function

    return add


def run(one: Check) -> tuple[np.ndarray, np.ndarray]:
    """What was expected and what our code gives, both flat and as long as each other."""
    expected, got = (one.expected, one.got()) if one.expected is not None else one.got()
    theirs, ours = (np.ravel(np.asarray(values, dtype=float)) for values in (expected, got))
    assert theirs.shape == ours.shape and theirs.size, one.name
    return theirs, ours


def as_row(one: Check) -> dict[str, Any]:
    """A check as the committed list holds it."""
    theirs, ours = run(one)
    return {
        "topic": one.topic,
        "name": one.name,
        "source": one.source,
        "status": one.status,
        "note": one.note,
        "expected": [_shown(x) for x in theirs],
        "got": [_shown(x) for x in ours],
        "allowed": one.allowed,
    }


def _shown(x: float) -> float:
    return 0.0 if abs(x) < NOISE else float(f"{x:.{DIGITS}g}") if math.isfinite(x) else math.nan
