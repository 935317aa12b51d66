"""`goodpull identity`: two entries that may be one technician or one appliance: list them, and say what holds."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from dashboard import printing
from dashboard.home_folder import HomeOption, default_home
from dashboard.own_work_commands import TAKE_IN, ByOption, ReasonOption, name_of, reader

app = typer.Typer(
    no_args_is_help=True,
    rich_markup_mode="rich",
    help="Technicians and appliances that may stand under two entries. Nothing is merged until a person says so.",
    epilog="Examples:  goodpull identity list   |   goodpull identity same technician T014 t14 --reason 'one person'",
)


class Subject(StrEnum):
    technician = "technician"
    appliance = "appliance"


SubjectArgument = Annotated[Subject, typer.Argument(help="technician or appliance.")]
SiteOption = Annotated[
    str | None,
    typer.Option("--site", help="The site, of appliances: their numbers may repeat from one site to another."),
]
BUILT_BEFORE = "These records were built by an older version. Build them anew with: goodpull own-work take-in"


@app.command(name="list", epilog="Examples:  goodpull identity list   |   goodpull identity list appliance --limit 20")
def list_pairs(
    subject: Annotated[Subject | None, typer.Argument(help="Only technicians, or only appliances.")] = None,
    limit: Annotated[int, typer.Option(help="Most pairs listed of each.", min=1)] = 50,
    home: HomeOption = None,
) -> None:
    """List the pairs that wait for a person, the strongest first, and what was decided."""
    from pipelines.build import is_of_another_version
    from pipelines.identity_decisions import standing
    from pipelines.identity_pairs import find_pairs, undecided
    from pipelines.own_work import OwnWork

    folder = home or default_home()
    now = standing(OwnWork(folder).entries())
    con = reader(folder)
    try:
        if is_of_another_version(con):
            printing.fail(BUILT_BEFORE)
        for one in [subject] if subject else list(Subject):
            pairs = undecided(find_pairs(con, one.value), now)
            for pair in pairs[:limit]:
                typer.echo(_line(pair))
            more = f", {len(pairs) - limit:,} more with --limit" if len(pairs) > limit else ""
            waiting = "1 pair waits" if len(pairs) == 1 else f"{len(pairs):,} pairs wait"
            printing.say(f"{one.value}s: {waiting} for a person{more}.")
    finally:
        con.close()
    for said in now.decisions:
        sign = "=" if said.is_same else "is not"
        entry = said.kept.entry
        place = f"site {said.site_id}  " if said.site_id else ""
        held = "  (contradicts another decision; merges nothing)" if said in now.against else ""
        typer.echo(
            f"decided  {said.subject}  {place}{said.keep} {sign} {said.other}  {entry.entered_by}  {entry.entered_at[:10]}  "
            f"{entry.reason}  [{entry.entry_id}]{held}"
        )
    if now.decisions:
        printing.say("To take one back: goodpull own-work undo ID --reason WHY")


@app.command(
    epilog="Examples:  goodpull identity same technician T014 t14 --reason 'asked the branch'   |   "
    "goodpull identity same appliance A1 a-01 --site S7 --reason 'one rating plate'"
)
def same(
    subject: SubjectArgument,
    keep: Annotated[str, typer.Argument(help="The id that stands for both.")],
    other: Annotated[str, typer.Argument(help="The other id.")],
    reason: ReasonOption,
    site: SiteOption = None,
    by: ByOption = None,
    home: HomeOption = None,
) -> None:
    """Say that two entries are one and the same. The records as delivered are kept."""
    _decide(subject, keep, other, True, reason, site, by, home)


@app.command(epilog="Example:  goodpull identity different appliance A1 A-1 --reason 'two furnaces, seen both'")
def different(
    subject: SubjectArgument,
    one: Annotated[str, typer.Argument(help="One id.")],
    other: Annotated[str, typer.Argument(help="The other id.")],
    reason: ReasonOption,
    site: SiteOption = None,
    by: ByOption = None,
    home: HomeOption = None,
) -> None:
    """Say that two entries are not the same; the pair is not asked about again."""
    _decide(subject, one, other, False, reason, site, by, home)


def _decide(
    subject: Subject,
    keep: str,
    other: str,
    is_same: bool,
    reason: str,
    site: str | None,
    by: str | None,
    home: Path | None,
) -> None:
    from pipelines.build import is_of_another_version
    from pipelines.identity_decisions import enter_decision
    from pipelines.own_work import OwnWork

    if site is not None and subject is Subject.technician:
        printing.fail("--site is for appliances; a technician belongs to no site. Nothing was entered.")
    folder = home or default_home()
    own = OwnWork(folder)
    con = reader(folder)
    try:
        if is_of_another_version(con):
            printing.fail(BUILT_BEFORE)
        entry = enter_decision(con, own, subject.value, keep, other, is_same, reason, name_of(by), site_id=site)
    finally:
        con.close()
    printing.say(f"Kept as {entry.entry_id}." + (f" {TAKE_IN}" if is_same else ""))


def _line(pair: object) -> str:
    from dashboard import identity_words
    from pipelines.identity_pairs import Pair

    assert isinstance(pair, Pair)
    against = identity_words.against(pair)
    place = f"site {pair.site_id}  " if pair.site_id else ""
    return (
        f"{identity_words.STRENGTH[pair.strength]}  {pair.subject}  {place}{pair.one.record_id} ? {pair.other.record_id}  "
        f"({identity_words.visits(pair.one)}; {identity_words.visits(pair.other)})  {identity_words.why(pair)}"
        + (f"  AGAINST: {against}" if against else "")
    )
