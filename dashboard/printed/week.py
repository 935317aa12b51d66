"""The weekly pack: the page This week on two sheets of paper."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable

import pandas as pd

from dashboard import figures_access, lookups, notices, scope_bar, store_access, visit_list, week_parts, words
from dashboard.charts.callbacks import callback_curve
from dashboard.charts.control import control_chart
from dashboard.charts.picture import Picture
from dashboard.home_folder import DEMO_MARKER
from dashboard.printed import drawing, pack_names, paper
from models.figures.control import ControlChart
from models.figures.coverage import is_mostly_unproven
from models.figures.scope import Scope

PAGES = 2
# Paper cannot be asked for more: as many as fit. Safety items come first.
VISITS_SHOWN = 8
SAFETY_SHOWN = 20
# With longer cells the lists would not keep to their page.
LONGEST_CELL = 32
WEEKS_SHOWN = 52
# Widths of pictures in pixels: of a page, and of half a page, which is that of a phone too.
WHOLE, HALF = 680, 345
FOOTER = (
    "Goodpull. For coaching and planning; not for pay or discipline. It never says that an appliance is safe: licensed "
    "people, the manufacturer's instructions and the local code decide."
)
METHOD = (
    "Figures carry their 95% range. The rate of good switches weights the tested ones back to all that were pulled; "
    "callbacks are one minus Kaplan-Meier, with ranges from leaving out one site at a time; weekly limits are exact "
    "binomial where cases are few, else Laney's p-prime. Each figure and every visit behind it: goodpull open."
)


def week_pack(scope: Scope, name_of: Callable[[object], str], font: str | None = drawing.FONT) -> paper.Document:
    """The week as the page shows it, over this scope. name_of: technicians as the reader may see them."""
    facts = figures_access.coverage(scope)
    week = lookups.latest_week(scope)
    control = figures_access.control(scope)
    blocks: list[object] = [paper.Lead(week_parts.answer(facts, control["no_root_cause"], week))]
    if facts["n_swaps"]:
        cards = [
            paper.card(one.label, one.estimate, one.unit, one.rests_on, one.note)
            for one in week_parts.cards(scope, facts)
        ]
        blocks.append(paper.Cards(tuple(cards)))
    elif facts["n_visits"]:
        blocks.append(paper.Text(f"No figure about swaps: {notices.why_no_swap(facts)}"))
    blocks += [paper.Heading("Week by week"), *_pictures(scope, facts, font)]
    blocks += [
        paper.Heading("What to do next"),
        paper.Bullets("", tuple(week_parts.steps(scope, facts)), is_ticked=True),
        paper.PageBreak(),
        paper.Heading("Needs someone today"),
        paper.Notice("Before any work on an appliance", notices.SAFETY_POINTS),
    ]
    blocks += [_visits(one, name_of) for one in week_parts.lists(scope)]
    blocks += [
        paper.Notice("How to use figures about people", notices.FAIRNESS_POINTS, is_calm=True),
        paper.Text(METHOD, is_quiet=True),
    ]
    day = last_day(facts, week)
    title = f"This week: {words.date(week['week_on'])}" if week else "This week"
    return paper.Document(
        title, about(scope, facts), tuple(blocks), FOOTER, day, pack_names.of_document("week", day), PAGES
    )


def about(scope: Scope, facts: dict, is_own: bool = False) -> str:
    """What the pack rests on, in a line: invented or not, the filters, the visits, their days.

    is_own: facts are about one technician's own visits.
    """
    filters = scope_bar.in_words(scope)
    parts = ["own visits", *([filters] if filters else [])] if is_own else [filters or "the whole company"]
    if (store_access.home() / DEMO_MARKER).exists():
        parts.insert(0, "Invented demo fleet")
    if facts["n_visits"]:
        first, last = (words.date(pd.Timestamp(facts[name])) for name in ("first_on", "last_on"))
        parts.append(f"{words.plural(facts['n_visits'], 'visit')}, {first} to {last}")
    if facts.get("n_corrections") is not None:
        parts.append(included(facts["n_corrections"]))
    if facts["n_held_back"]:
        parts.append(f"{words.plural(facts['n_held_back'], 'row')} held back (see Records)")
    told = " · ".join(parts)
    return told[:1].upper() + told[1:]


def included(n_corrections: int) -> str:
    """How many corrections figures include."""
    return f"{words.plural(n_corrections, 'correction')} included" if n_corrections else "no corrections"


def last_day(facts: dict, week: dict) -> dt.date:
    """The last day with a visit in the scope: the pack's date, so that the same records give the same file."""
    return pd.Timestamp(facts["last_on"] or week.get("week_on") or pack_names.NO_DAY).date()


def chart(picture: Picture | None, otherwise: str, caption: str, font: str | None, width: int, height: int) -> object:
    """A drawn chart, or the honest sentence in its place."""
    if picture is None:
        return paper.Text(otherwise)
    # Paper, which has a font of its own, is never narrow; the web page may be read on a phone.
    is_redrawn = font is None and width > HALF
    narrow = drawing.svg(picture, HALF, height, font, is_phone=True) if is_redrawn else ""
    return paper.Chart(drawing.svg(picture, width, height, font), picture.text, caption, narrow)


def _pictures(scope: Scope, facts: dict, font: str | None) -> list[object]:
    if not facts["n_swaps"]:
        return [paper.Text(f"No picture: {notices.why_no_swap(facts)}")]
    control = figures_access.control(scope)
    first = _weekly(control["no_root_cause"], font, WHOLE, 200)
    good = _weekly(control["good_switch"], font, HALF, 190)
    if is_mostly_unproven(facts):
        return [first, paper.Pair((good,), (paper.Text(f"No picture: {week_parts.unproven(facts)}"),))]
    returns = figures_access.callbacks(scope)
    curve = callback_curve(returns.curve, drawing.PRINT, tuple(returns.windows))
    other = chart(curve, "No swap has been followed up yet.", returns.sentence, font, HALF, 190)
    return [first, paper.Pair((good,), (other,))]


def _weekly(one: ControlChart, font: str | None, width: int, height: int) -> object:
    title = week_parts.CHART_TITLES[one.name]
    picture = control_chart(one.weeks, title, drawing.PRINT, WEEKS_SHOWN)
    otherwise = f"{title}: no picture; {one.sentence or 'no week has a case yet.'}"
    return chart(picture, otherwise, week_parts.caption(one, WEEKS_SHOWN), font, width, height)


def _visits(one: week_parts.VisitList, name_of: Callable[[object], str]) -> object:
    n_shown = SAFETY_SHOWN if one.key == "safety" else VISITS_SHOWN
    columns, lines = visit_list.lines(one.frame.head(n_shown), name_of)
    cut = one.cut_to(n_shown)
    note = f"{cut}, and {words.count(one.n - n_shown)} more: see the page This week" if cut else ""
    caption = f"{one.title} ({words.count(one.n)})" if one.n else one.title
    caption += f": {one.rule}" if one.rule and one.n else ""
    return paper.table(columns, lines, one.otherwise, caption, note, longest=LONGEST_CELL)
