"""What is missing, in words: the same on the page and on the close-out checklist."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pandas as pd

from dashboard import words
from models.figures.missing import Missing


@dataclass(frozen=True)
class Field:
    """title: the field. ask: what to ask of technicians. boxes: what they tick and fill in before they leave."""

    title: str
    ask: str
    boxes: tuple[str, ...]


BLANK = "_" * 14
CONTACTS = "contacts  ☐ open  ☐ closed"
FIELDS = {
    "reading": Field(
        "Draft before the repair, with contacts",
        "Tee the gauge into the hose and read the draft at the switch, running, before anything is changed; write whether "
        "the contacts were open or closed.",
        (
            "Gauge zeroed and teed into the hose at the switch. Gauge no. " + BLANK,
            f"Before anything was changed, at rest: {CONTACTS}",
            f"Running, draft at the switch = {BLANK}  ☐ in. w.c.  ☐ Pa;  {CONTACTS}",
            f"After the repair, running, draft at the switch = {BLANK}  ☐ in. w.c.  ☐ Pa;  {CONTACTS}",
        ),
    ),
    "make_point": Field(
        "Rated make point",
        "Copy the rated make point, and its tolerance, from the plate.",
        (f"Rated make point from the plate = {BLANK}  ±  {BLANK}  ☐ in. w.c.  ☐ Pa",),
    ),
    "cause": Field(
        "Cause found",
        "Write the cause you found and mark the check that shows it. “Not found” is an answer too.",
        (
            f"Where the water came from, or what blocked the way: {BLANK}{BLANK}",
            f"Cause found ( ☐ not found): {BLANK}{BLANK}",
            f"Check that shows it is marked as a fault on the job: {BLANK}{BLANK}",
        ),
    ),
    "removed_tag": Field(
        "Tag on the removed switch",
        "Write the tag number of the switch you took out, on the job and on the switch.",
        (
            f"Tag number of the removed switch, on the job and on the switch: {BLANK}{BLANK}",
            "The switch goes to the bench as it came out: not drained, not dropped, within {days}",
        ),
    ),
    "appliance": Field(
        "Appliance id",
        "Write which appliance it was, by the id on its label, on every visit.",
        (f"Appliance id from its label (none: which one of how many, and its serial no.): {BLANK}{BLANK}",),
    ),
}
READING_LACKS = {
    "not_read": "without any reading of the draft",
    "not_before": "with readings of the draft, none from before the repair",
    "no_contacts": "with the draft before the repair, but not whether the contacts were open or closed",
}
FIGURES = {
    "adjusted_rate": "Good-switch rate, adjusted for which ones were tested",
    "waste": "Estimated waste",
    "readings": "Share of swaps whose readings did not support pulling the switch",
    "measured_cause": "Root causes measured",
    "single_swaps": "Probability that one removed switch was good",
    "draft_margin": "Draft margin over time at a site",
    "callback_difference": "Callbacks without a root cause, less those with one",
    "season_condensate": "When in the year condensate faults peak",
    "season_blockage": "When in the year blockage faults peak",
    "callbacks": "Callbacks without a root cause, from certain to possible ones",
    "repeats": "Callbacks that came again and again",
}
# Why a range would become another, said where one does.
SHRINKS = "A range shrinks where more cases would count, or where cases that are open now would be settled."
GROWS = "A range grows where cases would go from one side of a comparison to the other, and leave fewer on the first."
# An amount that is not for the reader.
NOT_SHOWN = "not shown"
# Less than this is not worth asking for.
SMALLEST_GAIN = 0.01


def answer(found: Missing, currency: str | None = None) -> str:
    """Which single thing to ask for first, and what it would bring. currency: None where amounts are not for the reader."""
    if not found.fields["n_cases"].any():
        return "No draft fault is on record for these filters, so nothing can be missing from one."
    if not found.fields["n_missing"].any():
        return "None of these fields is missing on any record."
    first = found.fields[found.fields["n_missing"] > 0].iloc[0]
    lead = f"Ask first for the {_lowered(FIELDS[first['field']].title)}: {lacking(first)}"
    mine = found.figures[found.figures["field"] == first["field"]]
    if first["is_blocking"]:
        names = [f"“{FIGURES[name]}”" for name in mine.loc[mine["is_blocked"], "figure"]]
        return f"{lead}, and without it {words.joined(names)} cannot be given at all."
    if found.fields["gain"].isna().all():
        return (
            "How much a field would narrow a range cannot be worked out for these filters: none of the figures it would show in "
            "has a range to compare."
        )
    if not first["gain"] >= SMALLEST_GAIN:
        return (
            "Filling any one of these fields would narrow no range by more than 1%, as far as it can be worked out: the "
            "ranges are as wide as the number of cases makes them."
        )
    best = mine.assign(left=mine["width_filled"] / mine["width_now"]).sort_values("left", kind="stable").iloc[0]
    if best["unit"] == "money" and currency is None:
        return f"{lead}; with it the range of “{FIGURES[best['figure']]}” {_change(best.to_dict()).replace('shrinks', 'would shrink')}."
    now, filled = width(best, "width_now", currency), _filled(best.to_dict(), currency)
    return f"{lead}; with it the range of “{FIGURES[best['figure']]}” would be {filled} wide instead of {now}."


def lacking(row: pd.Series) -> str:
    """missing on 332 of 685 swaps (48%)."""
    if not row["n_cases"]:
        return f"no {row['cases']} on record"
    share = words.share(row["n_missing"] / row["n_cases"])
    one = row["cases"] if row["n_cases"] != 1 else row["cases"].removesuffix("s")
    return f"missing on {words.count(row['n_missing'])} of {words.count(row['n_cases'])} {one} ({share})"


def reading_lacks(found: Missing) -> str:
    """Which half of a deciding reading is missing, on how many swaps; blank where none is."""
    parts = [f"{words.count(n)} {READING_LACKS[name]}" for name, n in found.reading_lacks.items() if n]
    return f"Of these: {'; '.join(parts)}." if parts else ""


def width(line: Any, column: str, currency: str | None = None) -> str:
    """How wide a range is, with its unit: 9.9 points. currency: as answer takes it."""
    amount = line[column]
    if words.is_missing(amount):
        return words.NOT_KNOWN
    if line["unit"] == "days":
        return words.days(amount)
    if line["unit"] == "money":
        return words.money(amount, currency) if currency is not None else NOT_SHOWN
    return f"{words.number(100 * amount)} points"


def figure_lines(mine: pd.DataFrame, currency: str | None) -> list[tuple[str, str, str, str]]:
    """Per figure a field weakens: its name, its range now, if filled, and what becomes of it."""
    return [
        (FIGURES[line["figure"]], width(line, "width_now", currency), _filled(line, currency), _change(line))
        for line in mine.to_dict("records")
    ]


def why(mine: pd.DataFrame) -> str:
    """Why the ranges of these figures would shrink or grow if the field were filled; blank where none would."""
    changes = [_change(line) for line in mine.to_dict("records")]
    said = [
        sentence
        for start, sentence in (("shrinks", SHRINKS), ("grows", GROWS))
        if any(c.startswith(start) for c in changes)
    ]
    return " ".join(said)


def _filled(line: dict[str, Any], currency: str | None) -> str:
    told = width(line, "width_filled", currency)
    return f"at most {told}" if line["is_at_most"] and told not in (words.NOT_KNOWN, NOT_SHOWN) else told


def _change(line: dict[str, Any]) -> str:
    now, filled = line["width_now"], line["width_filled"]
    if line["is_blocked"]:
        return "cannot be given without it"
    if words.is_missing(now) or words.is_missing(filled):
        return words.NOT_KNOWN
    if not now or abs(filled - now) < 0.001 * now:
        return "stays as it is"
    if filled > now:
        return f"grows by {words.share(filled / now - 1)}"
    return f"shrinks by {'at least ' if line['is_at_most'] else ''}{words.share(1 - filled / now)}"


def _lowered(title: str) -> str:
    return title[:1].lower() + title[1:]
