"""Figures in another currency: the same, every amount times a rate of exchange. What is given is never changed.

Counts, shares and probabilities stay, unknown stays unknown. Sentences about the settings stay in the company's currency.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pandas as pd

from models.figures.bench_programme import BenchProgramme
from models.figures.missing import Missing
from models.figures.waste import GROUPS, Waste
from models.figures.waste_sentences import with_estimated_sentence, with_known_sentence, with_what_if_sentence
from models.methods.estimate import Estimate

_AMOUNTS = ("known", "estimated", "low", "high")


def waste_in(found: Waste, currency: str, rate: float) -> Waste:
    """Parts waste in `currency`. rate: units of it for one of found.currency; in the same way below."""
    told = found.in_sentences
    return replace(
        found,
        known=with_known_sentence(_times(found.known, rate), told["n_without_part"], currency),
        estimated=with_estimated_sentence(_times(found.estimated, rate), told["expected_good"], currency),
        what_if=with_what_if_sentence(_times(found.what_if, rate), currency),
        parts={name: amount * rate for name, amount in found.parts.items()},
        credit=found.credit | {"credited": found.credit["credited"] * rate},
        currency=currency,
        **{name: _frame(getattr(found, name), _AMOUNTS, rate) for name in GROUPS},
    )


def bench_programme_in(programme: BenchProgramme, known: Estimate, currency: str, rate: float) -> BenchProgramme:
    """The bench programme in `currency`. known: Waste.known of the same scope in that currency, with its sentence."""
    return replace(
        programme,
        cost=_times(programme.cost, rate),
        found=known,
        credit=_times(programme.credit, rate),
        without=_ends(programme.without, rate),
        with_tests=_ends(programme.with_tests, rate),
        narrowing=_times(programme.narrowing, rate),
        currency=currency,
    )


def missing_in(found: Missing, rate: float) -> Missing:
    """What is missing, with the widths of ranges of money in another currency; widths of shares and days stay."""
    is_money = found.figures["unit"] == "money"
    widths = {
        name: found.figures[name].where(~is_money, found.figures[name] * rate) for name in ("width_now", "width_filled")
    }
    return replace(found, figures=found.figures.assign(**widths))


def _times(estimate: Estimate, rate: float) -> Estimate:
    value, low, high = (
        None if amount is None else amount * rate for amount in (estimate.value, estimate.low, estimate.high)
    )
    return replace(estimate, value=value, low=low, high=high)


def _ends(ends: tuple[float, float] | None, rate: float) -> tuple[float, float] | None:
    return None if ends is None else (ends[0] * rate, ends[1] * rate)


def _frame(frame: pd.DataFrame, columns: Sequence[str], rate: float) -> pd.DataFrame:
    return frame.assign(**{name: frame[name] * rate for name in columns})
