"""Numbers, units and terms as they are shown: the one place that turns a figure into words.

Unknown is shown as "not known", never as zero. Every number carries its unit.
"""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Sequence

from dashboard.reader_choice import chosen_temperature, written
from models.figures.sites import draft_unit
from models.methods.estimate import Estimate
from models.methods.numeral import rewritten
from pipelines.contract.codes import CAUSES, SYMPTOM, VISIT_KIND
from pipelines.contract.units import INCH_OF_WATER_PA

NOT_KNOWN = "not known"
# How units are written that the contract names by their codes.
UNIT_SIGNS = {
    "[ppm]": "ppm",
    "Cel": "°C",
    "[degF]": "°F",
    "[in_i'H2O]": "in. w.c.",
    "mm[H2O]": "mm w.c.",
    "[psi]": "psi",
}

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def is_missing(value: object) -> bool:
    """True for None, NaN, not-a-time and pandas' own missing value, which is neither equal nor unequal to itself."""
    return value is None or str(value) in ("NaT", "<NA>") or bool(value != value)


def count(value: float | int | None) -> str:
    """A count with thousands separated: 12,345."""
    return NOT_KNOWN if is_missing(value) else written(f"{value:,.0f}")


def number(value: float | None, digits: int = 1) -> str:
    return NOT_KNOWN if is_missing(value) else written(f"{value:,.{digits}f}")


def share(value: float | None, digits: int | None = None) -> str:
    """A proportion in [0, 1] as a percentage; one decimal below 10% unless said."""
    if value is None or is_missing(value):
        return NOT_KNOWN
    percent = 100 * float(value)
    if digits is None and 99 < percent < 100:
        # Nearly all is not all.
        return written(f"{min(percent, 99.9):.1f}%")
    places = digits if digits is not None else (1 if 0 < abs(percent) < 9.95 else 0)
    return written(f"{percent:.{places}f}%")


def points(value: float | None) -> str:
    """A difference of two proportions, in percentage points with its sign."""
    if value is None or is_missing(value):
        return NOT_KNOWN
    return f"{'+' if value > 0 else '−' if value < 0 else ''}{written(f'{abs(100 * value):.1f}')} points"


def money(value: float | None, currency: str | None) -> str:
    """An amount, rounded to what can be told apart, with its ISO 4217 code."""
    if value is None or is_missing(value):
        return NOT_KNOWN
    sign = "−" if value < 0 else ""
    return f"{sign}{written(f'{abs(value):,.0f}')} {currency or ''}".strip()


def pressure(value_pa: float | None, unit: str | None = None) -> str:
    """A draft in inches of water column with pascal beside it, or in pascal alone where that is the company's unit."""
    if value_pa is None or is_missing(value_pa):
        return NOT_KNOWN
    if draft_unit(unit)[0] == "Pa":
        return f"{_minus(value_pa, 0)} Pa"
    return f"{_minus(value_pa / INCH_OF_WATER_PA, 2)} in. w.c. ({_minus(value_pa, 0)} Pa)"


def small_pressure(value_pa: float | None, unit: str | None = None) -> str:
    """A pressure far below a draft, such as an uncertainty, with the two digits that say something."""
    if value_pa is None or is_missing(value_pa):
        return NOT_KNOWN
    in_pa = f"{_two_digits(value_pa)} Pa"
    return in_pa if draft_unit(unit)[0] == "Pa" else f"{_two_digits(value_pa / INCH_OF_WATER_PA)} in. w.c. ({in_pa})"


def days(value: float | None) -> str:
    if value is None or is_missing(value):
        return NOT_KNOWN
    return "1 day" if round(value) == 1 else f"{count(value)} days"


def date(value: dt.date | dt.datetime | None) -> str:
    """A calendar date: 9 Nov 2026."""
    if value is None or is_missing(value):
        return NOT_KNOWN
    return f"{value.day} {MONTHS[value.month - 1]} {value.year}"


def day_of_year(value: float | None) -> str:
    """A day of the year (1..366, may lie outside by wrapping) as a date without a year: 14 Jan."""
    if value is None or is_missing(value):
        return NOT_KNOWN
    day = dt.date(2025, 1, 1) + dt.timedelta(days=(math.floor(value) - 1) % 365)
    return f"{day.day} {MONTHS[day.month - 1]}"


def plural(n: float | int, one: str, many: str | None = None) -> str:
    """A count with its noun: 1 visit, 2 visits."""
    return f"{count(n)} {one if n == 1 else many or one + 's'}"


def followed(estimate: Estimate, window: int) -> str:
    """What a callback share rests on: how many swaps, and of how many the answer is known at the window (days)."""
    if estimate.coverage is None:
        return f"{plural(estimate.n, 'swap')} followed up"
    n_known = round(estimate.coverage * estimate.n)
    return (
        f"{plural(estimate.n, 'swap')} followed up, {count(n_known)} of them for {window} days or until they came back"
    )


def tested(n_tested: float, n_clear: float, n_swaps: float) -> str:
    """How many of the pulled switches were tested and how many tests were clear, said in one way everywhere."""
    if not n_swaps:
        return "No switch pulled"
    clear = f"{count(n_clear)} with a clear result ({share(n_clear / n_swaps)})"
    return f"Tested: {count(n_tested)} of {count(n_swaps)} pulled ({share(n_tested / n_swaps)}); {clear}"


def joined(parts: Sequence[str]) -> str:
    """a, b and c."""
    items = list(parts)
    return " and ".join([", ".join(items[:-1]), items[-1]]) if len(items) > 1 else "".join(items)


FORMATS = {
    "share": share,
    "points": points,
    "Pa": lambda amount: NOT_KNOWN if amount is None or is_missing(amount) else f"{_minus(amount, 0)} Pa",
    "in. w.c.": lambda amount: NOT_KNOWN if amount is None or is_missing(amount) else f"{_minus(amount, 2)} in. w.c.",
    "count": count,
    "number": number,
    "days": days,
    "day_of_year": day_of_year,
}


def value_of(amount: float | None, unit: str, currency: str | None = None) -> str:
    """An amount in words by its unit: share, points, count, number, ratio, days, day_of_year, money, pressure_pa."""
    if unit == "money":
        return money(amount, currency)
    if unit == "ratio":
        return NOT_KNOWN if is_missing(amount) else f"{number(amount)} times"
    if unit == "pressure_pa":
        return pressure(amount)
    return FORMATS[unit](amount)


def range_of(estimate: Estimate, unit: str, currency: str | None = None) -> str:
    """The interval in words: 'between 41% and 52%'; says so when there is none."""
    if estimate.low is None or estimate.high is None:
        return "range not known"
    low, high = (value_of(amount, unit, currency) for amount in (estimate.low, estimate.high))
    if estimate.low == estimate.high:
        return "counted, so without a range"
    if low == high:
        return f"the range is narrower than what is shown of {low}"
    if unit in ("points", "money", "days", "ratio", "Pa", "in. w.c."):
        # The unit once, at the end.
        low = low.removesuffix(f" {unit}") if unit in ("Pa", "in. w.c.") else low.rsplit(" ", 1)[0]
    return f"between {low} and {high}"


def told(text: str) -> str:
    """A sentence of the models with the numbers marked in it (models.methods.numeral) in the reader's separators."""
    return rewritten(text, written)


def plain(text: object) -> str:
    """Text that came with the records, made safe to stand inside Markdown: nothing in it is read as markup.

    Numbers that a sentence of the models marks are written as the reader wants them.
    """
    escaped = re.sub(r"([\\`*_{}\[\]()#+\-.!|>~$:<&])", r"\\\1", told(str(text)))
    return escaped.replace("\n", " ")


def with_dates(text: str) -> str:
    """Our own sentences with dates such as 2026-05-02 written as the pages write them: 2 May 2026."""

    def written(found: re.Match[str]) -> str:
        try:
            return date(dt.date.fromisoformat(found[0]))
        except ValueError:
            return found[0]

    return re.sub(r"\b\d{4}-\d{2}-\d{2}\b", written, text)


def formula_safe(value: object) -> object:
    """A cell that no spreadsheet will run: text that starts like a formula gets a leading apostrophe."""
    if isinstance(value, str) and value[:1] in ("=", "+", "-", "@", "\t", "\r", "＝", "＋", "－", "＠"):
        return "'" + value
    return value


def label(code: str | None) -> str:
    """A code in the words of the trade: hose_water -> 'hose water'."""
    return "not recorded" if code is None or is_missing(code) else str(code).replace("_", " ")


CAUSE_WORDS = {cause.code: cause.about for cause in CAUSES}
SYMPTOM_WORDS = {code.code: code.about for code in SYMPTOM.codes}
VISIT_KIND_WORDS = {code.code: code.about for code in VISIT_KIND.codes}

EVIDENCE_SHORT = {
    "condemnation_not_supported": "not supported",
    "switch_shown_faulty": "shown faulty",
    "unclear": "undecided",
    "no_reading": "no reading",
}
EVIDENCE_WORDS = {
    "condemnation_not_supported": "readings do not support pulling the switch",
    "switch_shown_faulty": "readings show the switch faulty",
    "unclear": "readings do not decide",
    "no_reading": "no reading before the repair",
}
VERDICT_WORDS = {"good": "good", "faulty": "faulty", "inconclusive": "inconclusive"}
TIER_WORDS = {
    "measured": "cause measured",
    "described": "cause described",
    "code_only": "code only",
    "none": "no cause",
}
LINK_WORDS = {
    "callback": "callback",
    "planned_return": "planned return",
    "maintenance": "maintenance",
    "other_function": "another function",
    "uncertain": "uncertain",
}


def in_words(code: object, table: dict[str, str]) -> str:
    """A code by a table of words; unknown codes as they are, nothing as 'not recorded'."""
    return "not recorded" if is_missing(code) else table.get(str(code), label(str(code)))


def _two_digits(value: float) -> str:
    if value == 0:
        return "0"
    digits = min(max(1 - math.floor(math.log10(abs(value))), 0), 6)
    return _minus(value, digits)


def _minus(value: float, digits: int) -> str:
    plain_text = f"{abs(value):,.{digits}f}"
    is_below = value < 0 and float(plain_text.replace(",", "")) != 0
    return ("−" if is_below else "") + written(plain_text)


def reading(value: float, unit: object) -> str:
    """A reading that is no pressure, with its unit; a temperature in the reader's, as delivered where nobody chose one."""
    chosen = chosen_temperature()
    if unit == "Cel" and chosen == "°F":
        value, unit = value * 9 / 5 + 32, "[degF]"
    elif unit == "[degF]" and chosen == "°C":
        value, unit = (value - 32) * 5 / 9, "Cel"
    return f"{number(value, 2)} {'(unit unknown)' if is_missing(unit) else UNIT_SIGNS.get(str(unit), str(unit))}"
