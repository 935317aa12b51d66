"""The close-out checklist: one page for technicians, in the order in which it would make figures surer."""

from __future__ import annotations

import datetime as dt
from typing import Any

from dashboard import figures_access, missing_parts, notices, scope_bar, store_access, words
from dashboard.home_folder import DEMO_MARKER
from dashboard.printed import pack_names, paper
from dashboard.printed.week import FOOTER, last_day
from models.figures.scope import Scope

PAGES = 1
LEAD = "Before you leave: tick each line once it is written on the job. What would make our figures surer by most comes first."
LEAVING = (
    f"Combustion and carbon monoxide test after the work; carbon monoxide = {missing_parts.BLANK} ppm",
    "Job declared complete, or the part it waits for is named",
)
# Room to write on, in points.
LINE_SPACING = 15
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
            # Shares only: how much work the company has is not for everybody who holds the sheet.
            title += f" (missing on {words.share(row['n_missing'] / row['n_cases'])} of {row['cases']})"
        blocks.append(_boxes(title, tuple(box.format(days=days) for box in field.boxes)))
    blocks += [
        _boxes("Before you leave", LEAVING),
        paper.Lines("Anything the next one should know", 4),
        paper.Text(PRACTICE, is_quiet=True),
    ]
    day = last_day(facts, {})
    return paper.Document(
        "Close-out checklist",
        _about(scope, day),
        tuple(blocks),
        FOOTER,
        day,
        pack_names.of_document("closeout", day),
        PAGES,
    )


def _boxes(title: str, items: tuple[str, ...]) -> paper.Bullets:
    return paper.Bullets(title, items, is_ticked=True, spacing=LINE_SPACING)


def _about(scope: Scope, day: dt.date) -> str:
    parts = ["Invented demo fleet"] if (store_access.home() / DEMO_MARKER).exists() else []
    return " · ".join([*parts, scope_bar.in_words(scope) or "the whole company", f"records up to {words.date(day)}"])
