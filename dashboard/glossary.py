"""What each term means, once: on the Method page, beside the figures, on hover, and in the README's reference."""

from __future__ import annotations

import html
import re

from dashboard import words
from models.methods.numeral import canonical, numeral

GLOSSARY: dict[str, str] = {
    "Draft": "The suction the draft fan makes. The pressure switch proves it before the burner may light.",
    "Make point": (
        "The draft at which the switch closes its contacts. Its rated value and tolerance are on the plate or "
        "in the parts list."
    ),
    "Break point": "The draft at which the switch opens again; a little below the make point.",
    "Water column": f"A unit of small pressures: 1 in. w.c. is {numeral(249.09, '.2f')} pascal.",
    "Draft fault": (
        "One job on one appliance where the draft was not proven, was lost while running, or the switch was "
        "found closed at rest; also one where a draft switch was swapped, or an unplanned visit recorded a cause of such a fault, "
        "whatever the symptom. Planned returns of the same job belong to it."
    ),
    "Swap": (
        "A draft switch fitted, one per appliance, visit and removed tag. Not: quoted, credited back, or a "
        "switch that came inside a new draft-fan assembly. A pressure switch on a gas, water or refrigerant "
        "circuit is another part."
    ),
    "Good pull": "A swap where the switch taken out was in fact good.",
    "Bench result": (
        "Good: 95% sure or more that the make point lies inside its tolerance, the gauge's own uncertainty "
        "counted in, and nothing physical wrong. Faulty: 5% or less, or torn, water inside, more than 5 ohms "
        "closed, or not holding pressure. Inconclusive: anything else. A switch drained, dropped, or tested "
        "more than 14 days after removal can be found faulty but never good."
    ),
    "Disputed result": (
        "The bench result of a switch with two or more tests whose verdicts differ, or whose verdict a person corrected "
        "against its readings. The last test counts; a correction counts before any test."
    ),
    "Field evidence": (
        "What the readings before the repair say about the switch. It is kept apart from the bench result and "
        "never counts as one."
    ),
    "Draft margin": (
        "Draft at the switch less the rated make point, running. A margin that shrinks over the visits says "
        "that something else is getting worse."
    ),
    "Root cause recorded": (
        "Measured: before and after readings agree with the cause. Described: a cause code with a check "
        "marked fault or a note that describes the finding; the reason given with a correction of the cause is read as a note. "
        "A code alone does not count in the headline; it is shown beside it."
    ),
    "Callback": (
        "An unplanned visit to the same appliance for the same lost function after the job was declared "
        "complete. Not: a planned return for a part, maintenance, or another function. Unclear ones are "
        "counted apart, as 'possible'."
    ),
    "Owner of a job": "Who last declared it complete.",
    "Range": ("Where the true figure lies with 95% confidence, given chance alone. It does not cover wrong records."),
    "Coverage": (
        "The share of the cases that could have told us something and did: of the switches pulled, those with a "
        "clear bench result. A test can also end inconclusive; it is counted as tested, not as clear."
    ),
    "Adjusted rate": (
        "The good-switch rate with the tested switches weighted back to all that were pulled, because which "
        "ones get tested is not a matter of chance."
    ),
    "Look here first": ("The figures say a talk or a visit is likely to be worth it. It is never a finding of fault."),
    "Case mix": (
        "What a technician cannot choose: appliance, its age, season, hour, region, symptom. It sets the "
        "expected figure a person is compared with."
    ),
    "Per draft fault attended": (
        "Good switches pulled, divided by the draft faults a person went to. The share among swaps would hide "
        "the habit of swapping every time, since that pulls the bad ones too."
    ),
    "Excess seen from": (
        "The smallest excess over the expected figure that so many cases would show. One below it could not be told from chance."
    ),
    "Separable": (
        "Whether person and site can be told apart. They cannot where nearly all of somebody's draft faults were at one site, "
        "and nearly all of that site's were theirs."
    ),
    "Likely good, no clear test": (
        "Over the swaps without a clear bench result: the probabilities that the switch was good, added up."
    ),
    "Came again": "A draft fault within 180 days of an earlier one without a root cause.",
    "Condensate": (
        "Draft faults whose cause is in traps, drains, water in the hose or the switch, the collector box or a sagging vent."
    ),
    "Blockage": "Draft faults whose cause is a blocked intake or port, or ice, snow, nests and debris at the outlet.",
    "New starter": ("Under a year with the company. Shown apart: their cases are few and they are still being taught."),
    "Known waste": "What swaps cost whose removed switch the bench found good.",
    "Estimated waste": (
        "Over the swaps without a clear bench result (not tested, or inconclusive): the probability that the switch "
        "was good times what the swap cost."
    ),
    "Heating day": f"A day with a mean temperature below 65 °F ({numeral(18.3, '.1f')} °C).",
    "Heating season": "July to June, named after the year it starts in.",
    "Mapping": (
        "Which column of an export fills which column of the contract, and what its codes and spellings mean. A proposal is "
        "made; it is loaded with only after a person has confirmed it."
    ),
    "Held back": "A row that is not counted because something in it cannot be right; kept with the reason, to be put right.",
    "Exact duplicate": "A row equal to another in every column; it counts once.",
    "Understood": "The share of a column's filled cells that can be read as the contract wants them; the other rows are held back.",
    "Near-certain": (
        "Two entries alike in all but spelling, with nothing on record against their being one. It is still only a proposal."
    ),
    "Drawn at random": (
        "Picked by chance with a known probability, so that the tests speak for all switches pulled. A switch somebody "
        "chose speaks for itself only."
    ),
    "Removed tag": "The tag on a switch taken out; it ties the bench test to the visit that pulled the switch.",
    "If filled": (
        "How wide a figure's range would be if the field stood on every record and those without it were like the others."
    ),
}

# How the terms stand in our texts, where that is not the term itself. The first that fits counts, so the longer one of two stands first.
FORMS: dict[str, str] = {
    "per draft fault(?: attended)?": "Per draft fault attended",
    "draft faults?": "Draft fault",
    "draft margin": "Draft margin",
    # Where the switch or the fan is spoken of, not what it makes, the word is left alone.
    "drafts?(?! (?:switch|fan))": "Draft",
    "make points?": "Make point",
    "break (?:points?|readings?)": "Break point",
    "in\\. w\\.c\\.|(?:inch(?:es)? of )?water column": "Water column",
    "swaps?": "Swap",
    "likely good, no clear test": "Likely good, no clear test",
    "excess seen from": "Excess seen from",
    "(?:not )?separable": "Separable",
    "came again": "Came again",
    "condensate(?! (?:trap|drain))": "Condensate",
    "blockages?": "Blockage",
    "bench good|good (?:pulls?|switches pulled)|switches pulled that were good": "Good pull",
    "disputed(?: bench)? results?": "Disputed result",
    "(?:clear )?bench results?|clear (?:results?|tests?)": "Bench result",
    "field evidence|readings say": "Field evidence",
    "(?:no |without a )?root cause(?: recorded| on record)?": "Root cause recorded",
    "callbacks?|came back|back within \\d+ days": "Callback",
    "range(?: from| to)?": "Range",
    "coverage": "Coverage",
    "adjusted(?: rate| for which ones were tested)|weighted to stand for all pulled": "Adjusted rate",
    "owners? of (?:a|the|each) job|owns the job": "Owner of a job",
    "look here first": "Look here first",
    "case mix|(?:expected from their )?mix of calls|expected from their calls": "Case mix",
    "new starters?": "New starter",
    "known(?= waste|: the bench)": "Known waste",
    "estimated(?= waste|: over)": "Estimated waste",
    "heating days?": "Heating day",
    "heating seasons?": "Heating season",
    "mappings?": "Mapping",
    "held back": "Held back",
    "exact duplicates?": "Exact duplicate",
    "understood": "Understood",
    "near-certain": "Near-certain",
    "draw(?:n)? at random": "Drawn at random",
    "removed tags?": "Removed tag",
    "if filled": "If filled",
}
_ANY = re.compile(
    r"(?<![\w&])(?:" + "|".join(f"(?P<t{place}>{form})" for place, form in enumerate(FORMS)) + r")(?!\w)", re.IGNORECASE
)
_TERMS = list(FORMS.values())


def with_terms(text: str) -> str:
    """HTML text (escaped, without tags) with every term of the glossary marked, its definition on hover and on focus."""

    def marked(found: re.Match[str]) -> str:
        tip = html.escape(definition(_TERMS[int(str(found.lastgroup)[1:])]))
        return f'<span class="gp-term" tabindex="0" data-tip="{tip}" aria-description="{tip}">{found[0]}</span>'

    return _ANY.sub(marked, text)


def definition(term: str) -> str:
    return words.told(GLOSSARY[term])


def help_for(title: str) -> str | None:
    """The definition behind the title of a column, or None."""
    found = _ANY.search(title)
    return definition(_TERMS[int(str(found.lastgroup)[1:])]) if found else None


def reference() -> str:
    """The glossary as the Markdown table of the README."""
    lines = [f"| {term} | {canonical(meaning)} |" for term, meaning in sorted(GLOSSARY.items())]
    return "\n".join(["| Term | What it means here |", "|---|---|", *lines]) + "\n"


if __name__ == "__main__":
    print(reference(), end="")
