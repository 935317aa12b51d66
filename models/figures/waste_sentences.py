"""The sentences of Parts waste that hold amounts: made with the figures, and again where they are shown in another currency."""

from __future__ import annotations

from dataclasses import replace

from models.methods.estimate import Estimate
from models.methods.numeral import numeral


def with_known_sentence(known: Estimate, n_without_part: float, currency: str) -> Estimate:
    """Waste.known with its sentence; one that is not known keeps the reason it has. Amounts are in `currency`."""
    if not known.is_known:
        return known
    n, total = known.n, numeral(known.value)
    words = f"{numeral(n)} switch{'es' if n != 1 else ''} the bench found good cost {total} {currency}."
    if n_without_part:
        words = f"{words[:-1]} at least: {numeral(n_without_part)} of them without the part, whose cost is not known."
    return replace(known, sentence=words)


def with_estimated_sentence(estimated: Estimate, expected_good: float, currency: str) -> Estimate:
    """Waste.estimated with its sentence, in the same way. expected_good: how many of its switches were likely good."""
    if not estimated.is_known:
        return estimated
    return replace(
        estimated,
        sentence=f"About {numeral(expected_good)} of {numeral(estimated.n)} switches without a clear bench result were good; "
        f"they cost about {numeral(estimated.value)} {currency} ({_between(estimated)}).",
    )


def with_what_if_sentence(what_if: Estimate, currency: str) -> Estimate:
    """Waste.what_if with its sentence, in the same way."""
    if not what_if.is_known:
        return what_if
    return replace(
        what_if,
        sentence=f"At the rate of the best quarter of technicians about {numeral(what_if.value)} {currency} a year would not be "
        f"spent ({_between(what_if)}).",
    )


def _between(estimate: Estimate) -> str:
    return f"between {numeral(estimate.low)} and {numeral(estimate.high)}"
