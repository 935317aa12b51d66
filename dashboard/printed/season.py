"""The season pack: when such faults come, the sites to check before the first frost, the parts to carry."""

from __future__ import annotations

from typing import Any

from dashboard import figures_access, lookups, notices, season_lists, season_lookups, store_access, words
from dashboard.charts.seasons import outlook, year
from dashboard.printed import drawing, pack_names, paper
from dashboard.printed.week import FOOTER, HALF, about, chart, last_day
from dashboard.views.seasons import FAMILIES, answer, next_steps, not_narrowed, skill_sentence
from models.figures.scope import Scope
from models.figures.seasons import Season

PAGES = 2
SITES_SHOWN = 32
PARTS_SHOWN = 15
ALL_SITES = "the page Seasons lists and exports them all; goodpull report season --sites FILE writes them too"
SITES_FIRST = "Sites that had such a fault last season come first; they are listed on the next page."


def season_pack(scope: Scope, font: str | None = drawing.FONT) -> paper.Document:
    """The pack for the season to come, over this scope."""
    families, facts = figures_access.seasons(scope), figures_access.coverage(scope)
    starts = store_access.settings().season_starts_month
    pictures, ahead, checks = [], [], []
    for name, (title, about_it, to_check) in FAMILIES.items():
        season = families[name]
        drawn = year(season.by_month, season.curve, drawing.PRINT, starts)
        pictures.append(
            (paper.Text(f"{title}: {about_it}"), chart(drawn, season.sentence, season.sentence, font, HALF, 200))
        )
        ahead.append((paper.Text(title), _outlook(season, font)))
        checks.append((paper.Bullets(title, tuple(to_check), is_ticked=True),))
    blocks: list[Any] = [
        paper.Lead(answer(families)),
        *(paper.Text(said) for said in (not_narrowed(scope),) if said),
        paper.Cards(tuple(card for name in FAMILIES for card in _cards(families[name], FAMILIES[name][0]))),
        paper.Heading("The year"),
        paper.Pair(pictures[0], pictures[1]),
        paper.Heading("The next four weeks after the records"),
        paper.Pair(ahead[0], ahead[1]),
        paper.Heading("What to check before the season"),
        paper.Pair(checks[0], checks[1]),
        paper.Bullets("By when", (*next_steps(families)[:-1], SITES_FIRST), is_ticked=True),
        paper.Text("Common practice; the manufacturer's instructions and the local code decide.", is_quiet=True),
        paper.PageBreak(),
        paper.Heading(season_lists.FROSTS),
        _frosts(scope, starts),
        paper.Heading(season_lists.PARTS),
        _parts(scope),
        paper.Notice("Before any work on an appliance", notices.SAFETY_POINTS),
        paper.Heading(season_lists.SITES),
        _sites(scope),
    ]
    day = last_day(facts, lookups.latest_week(scope))
    return paper.Document(
        "Before the season",
        about(scope, facts),
        tuple(blocks),
        FOOTER,
        day,
        pack_names.of_document("season", day),
        PAGES,
    )


def _cards(season: Season, title: str) -> tuple[paper.Card, paper.Card]:
    n = words.plural(sum(int(month["n_faults"] or 0) for month in season.by_month), "fault")
    return (
        paper.card(f"{title}: peak of the year", season.peak_day, "day_of_year", n),
        paper.card(f"{title}: highest against lowest week", season.peak_to_trough, "ratio", n),
    )


def _outlook(season: Season, font: str | None) -> object:
    picture = outlook(season.outlook, drawing.PRINT)
    return chart(picture, "Too few records to look ahead.", skill_sentence(season), font, HALF, 120)


def _frosts(scope: Scope, starts: int) -> object:
    columns, lines = season_lists.frost_lines(season_lookups.first_frosts(starts, scope.region))
    return paper.table(
        columns, [*lines], "No weather with freezing nights is on record, so no first frost can be told."
    )


def _parts(scope: Scope) -> object:
    used = season_lookups.parts_used(scope)
    columns, lines = season_lists.part_lines(used)
    return paper.table(
        columns,
        lines[:PARTS_SHOWN],
        "No part is on record for such a fault in the last 365 days of the records.",
        season_lists.parts_rest_on(used),
        season_lists.NOT_A_STOCK,
        shares=(1, 1, 0, 0, 0),
    )


def _sites(scope: Scope) -> object:
    sites = season_lookups.sites_to_check(scope)
    lines = [
        (
            "☐",
            row.site_id,
            row.region,
            words.count(row.n_condensate),
            words.count(row.n_blockage),
            words.count(row.n_draft_faults),
            words.date(row.last_on),
        )
        for row in sites.head(SITES_SHOWN).itertuples()
    ]
    columns = (
        ("", "text"), ("Site", "text"), ("Region", "text"), ("Condensate", "number"), ("Blockage", "number"),
        ("Draft faults in all", "number"), ("Last one", "text"),
    )  # fmt: skip
    more = len(sites) - SITES_SHOWN
    note = f"and {words.count(more)} more: {ALL_SITES}" if more > 0 else ""
    return paper.table(
        columns,
        lines,
        "No site had a condensate or blockage fault in the last 365 days on record.",
        f"{words.plural(len(sites), 'site')} with such a fault in the last 365 days on record; most such faults first",
        note,
    )
