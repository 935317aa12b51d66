"""`goodpull bench-list`: which removed switches to test next, drawn with their chances."""

from __future__ import annotations

import sys
from datetime import date, datetime
from pathlib import Path
from typing import Annotated, Any

import typer

from dashboard import printing
from dashboard.home_folder import HomeOption, default_home, no_records

EXIT_REFUSED = 1


def bench_list(
    home: HomeOption = None,
    number: Annotated[int, typer.Option(help="How many to draw at random.", min=0)] = 20,
    seed: Annotated[int, typer.Option(help="Same records, same lists kept, same seed: same list.", min=0)] = 1,
    as_of: Annotated[
        datetime | None,
        typer.Option(help="Day of the draw.", formats=["%Y-%m-%d"], show_default="last day with a visit"),
    ] = None,
    since: Annotated[
        datetime | None,
        typer.Option(
            help="Day of the draw before: what could be drawn then is left out.",
            formats=["%Y-%m-%d"],
            show_default="day of the last list kept on the page Bench",
        ),
    ] = None,
    pick: Annotated[list[str] | None, typer.Option(help="Tag of a switch to test besides; repeat for more.")] = None,
    csv: Annotated[Path | None, typer.Option(help="Write the list into this file instead of printing it.")] = None,
) -> None:
    """Draw the removed switches to test next, each with its chance on record, as CSV.

    What stands in a list kept on the page Bench is not drawn again.
    """
    from dashboard.exports import csv_bytes

    folder = home or default_home()
    found = _drawn(folder, number, seed, as_of.date() if as_of else None, pick or [], since.date() if since else None)
    printing.say(found.sentence)
    if found.pool:
        printing.say(found.pool)
    for tag, reason in found.refused.items():
        printing.say(f"{tag}: not on the list; {reason}.")
    if csv is not None and found.list.empty:
        printing.say(f"{csv} was not written: the list is empty.")
    elif csv is not None:
        csv.write_bytes(csv_bytes(found.list))
        printing.say(f"wrote {csv}")
    elif not found.list.empty:
        sys.stdout.write(csv_bytes(found.list).decode("utf-8-sig").replace("\r\n", "\n"))
    if found.refused:
        raise typer.Exit(EXIT_REFUSED)


def _drawn(folder: Path, number: int, seed: int, as_of: date | None, picks: list[str], since: date | None) -> Any:
    """The list, drawn as the page Bench draws it: without what stands in a list that is kept, or was tested here."""
    from models.figures.bench_list import bench_list as draw
    from pipelines import own_draws
    from pipelines.own_work import OwnWork
    from pipelines.settings import Settings
    from pipelines.store import Store

    if Store(folder).current() is None:
        printing.fail(no_records(folder))
    own = OwnWork(folder)
    draws = own_draws.draws_in_force(own)
    con = Store(folder).open_reader()
    try:
        return draw(
            con,
            Settings.load(folder),
            number,
            seed,
            as_of,
            picks,
            since or own_draws.last_day(draws),
            own_draws.drawn_rows(draws).keys(),
            own_draws.tags_entered(own),
        )
    finally:
        con.close()


def register(app: typer.Typer) -> None:
    """Put the command into the command line."""
    app.command(
        name="bench-list",
        epilog="Examples:  goodpull bench-list --since 2026-01-12 > list.csv   |   "
        "goodpull bench-list --pick TAG123 --csv list.csv",
    )(bench_list)
