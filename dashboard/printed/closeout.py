"""The close-out checklist: one page for technicians, what the records lack most first."""

from __future__ import annotations

from typing import Any

from dashboard import figures_access, missing_parts, notices, store_access, words
from dashboard.printed import paper
from dashboard.printed.week import FOOTER, about, last_day
from models.figures.scope import Scope

PAGES = 1
LEAD = "Before you leave: tick each line once it is written on the job. What our records lack most comes first."
LEAVING = (
    f"Combustion and carbon monoxide test after the work; carbon monoxide = {missing_parts.BLANK} ppm",
    "Job declared complete, or the part it waits for is named",
)
PRACTICE = "Common practice; the manufacturer's instructions and the local code decide."


def closeout_pack(scope: Scope) -> paper.Document:
    """The checklist over this scope; the order is that of the page What is missing."""
    found, facts = figures_access.missing(scope), figures_access.coverage(scope)
    days = words.days(store_access.settings().maximum_days_to_bench)
    blank = missing_parts.BLANK
    blocks: list[Any] = [
        paper.Lead(LEAD),
        paper.Text(f"Job {blank}{blank}   Date {blank}   Technician {blank}{blank}"),
        paper.Notice("Before any work on an appliance", notices.SAFETY_POINTS),
    ]
    for number, (_, row) in enumerate(found.fields.iterrows(), start=1):
        field = missing_parts.FIELDS[row["field"]]
        title = f"{number}. {field.title}"
        if row["n_missing"]:
            title += f" ({missing_parts.lacking(row)})"
        blocks.append(paper.Bullets(title, tuple(box.format(days=days) for box in field.boxes), is_ticked=True))
    blocks += [
        paper.Bullets("Before you leave", LEAVING, is_ticked=True),
        paper.Lines("Anything the next one should know", 2),
        paper.Text(PRACTICE, is_quiet=True),
    ]
    day = last_day(facts, {})
    return paper.Document(
        "Close-out checklist", about(scope, facts), tuple(blocks), FOOTER, day, f"closeout_{day.isoformat()}", PAGES
    )
