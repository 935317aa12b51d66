"""The one shape in which every number leaves the models."""

from __future__ import annotations

import math
from dataclasses import dataclass

from models.methods.numeral import canonical


@dataclass(frozen=True)
class Estimate:
    """A figure with its range and what it rests on.

    value, low, high: the figure and its interval in its own unit; None = not known (never NaN, never a made-up zero).
    n: cases the figure rests on.
    coverage: share of the cases that could have told (0..1), or None where that has no meaning.
    method: short name of the method, as shown on the Method page.
    sentence: the figure in plain words, or why it cannot be given; its numbers marked (models.methods.numeral).
    level: two-sided coverage of the interval.
    """

    value: float | None
    low: float | None
    high: float | None
    n: int
    coverage: float | None
    method: str
    sentence: str = ""
    level: float = 0.95

    def __post_init__(self) -> None:
        for name in ("value", "low", "high", "coverage"):
            number = getattr(self, name)
            if number is not None:
                number = float(number)
                object.__setattr__(self, name, number if math.isfinite(number) else None)
        object.__setattr__(self, "n", int(self.n))

    @property
    def is_known(self) -> bool:
        return self.value is not None

    def as_json(self) -> dict:
        """The published form: value, low, high, n, coverage, method, and the sentence of one that is not known."""
        published = {
            "value": self.value,
            "low": self.low,
            "high": self.high,
            "n": self.n,
            "coverage": self.coverage,
            "method": self.method,
        }
        return published if self.is_known else published | {"sentence": canonical(self.sentence)}


def unknown(why: str, n: int = 0, coverage: float | None = None, method: str = "not available") -> Estimate:
    """An estimate that cannot be given; `why` is shown in its place."""
    return Estimate(None, None, None, n, coverage, method, why)
