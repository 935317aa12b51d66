"""`goodpull own-work`: corrections and what else people enter: listed, taken in, taken back, copied and brought back."""

from __future__ import annotations

import getpass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from dashboard import printing
from dashboard.home_folder import HomeOption, default_home, no_records

if TYPE_CHECKING:
    import duckdb

    from pipelines.own_work import OwnWork

app = typer.Typer(
    no_args_is_help=True,
    rich_markup_mode="rich",
    help="The company's own work: corrections, bench tests and coaching sessions typed in, rows mended or dismissed, remarks. It is kept apart from the "
    "records, and survives loading them anew.",
    epilog="Examples:  goodpull own-work list   |   goodpull own-work take-in   |   goodpull own-work export copy.jsonl",
)

ByOption = Annotated[
    str | None, typer.Option("--by", help="Who enters it.", show_default="the name of your account on this machine")
]
ReasonOption = Annotated[str, typer.Option(help="Why, in a few words.")]
TAKE_IN = "To bring it into the figures: goodpull own-work take-in"


def name_of(by: str | None) -> str:
    """Who enters something: as told, else the account's name."""
    return by if by is not None else getpass.getuser()


def reader(folder: Path) -> duckdb.DuckDBPyConnection:
    """The generation in force."""
    from pipelines.store import Store

    if Store(folder).current() is None:
        printing.fail(no_records(folder))
    return Store(folder).open_reader()


@app.command(epilog="Example:  goodpull own-work correct V1001 cause_code trap_fouled --reason 'said so on the phone'")
def correct(
    visit_id: Annotated[str, typer.Argument(help="The visit.")],
    field: Annotated[str, typer.Argument(help="cause_code, link, callback_class, owner, part_class or bench_result.")],
    value: Annotated[
        str, typer.Argument(help="What holds instead; part_class may name a line, 2:hose, bench_result a tag.")
    ],
    reason: ReasonOption,
    by: ByOption = None,
    home: HomeOption = None,
) -> None:
    """Correct what a visit's record says. The record as delivered is kept."""
    from pipelines.own_entries import enter_correction
    from pipelines.own_work import OwnWork
    from pipelines.settings import Settings

    folder = home or default_home()
    con = reader(folder)
    try:
        entry = enter_correction(
            con, OwnWork(folder), Settings.load(folder), visit_id, field, value, reason, name_of(by)
        )
    finally:
        con.close()
    printing.say(f"Kept as {entry.entry_id}. {TAKE_IN}")


@app.command(epilog="Example:  goodpull own-work coached T014 2026-11-03 gauge_use --remark 'with the gauge in hand'")
def coached(
    technician_id: Annotated[str, typer.Argument(help="Who was coached.")],
    held_on: Annotated[str, typer.Argument(help="Day it was held, such as 2026-11-03.")],
    topic: Annotated[str, typer.Argument(help="The step it was about: a topic of goodpull contract.")],
    remark: Annotated[str, typer.Option(help="What there is to say about it.")] = "",
    coach: Annotated[str, typer.Option(help="Who coached.", show_default="whoever enters it")] = "",
    by: ByOption = None,
    home: HomeOption = None,
) -> None:
    """Write a coaching session down."""
    from pipelines.own_entries import enter_coaching_session
    from pipelines.own_work import OwnWork
    from pipelines.settings import Settings

    folder = home or default_home()
    cells = {"technician_id": technician_id, "held_on": held_on, "topic": topic, "coach_id": coach, "remark": remark}
    con = reader(folder)
    try:
        entry = enter_coaching_session(con, OwnWork(folder), Settings.load(folder), cells, name_of(by))
    finally:
        con.close()
    printing.say(f"Kept as {entry.entry_id}. {TAKE_IN}")


@app.command(name="list", epilog="Example:  goodpull own-work list")
def list_entries(home: HomeOption = None) -> None:
    """List everything entered, newest last, with what was taken back and what the figures do not include yet."""
    from pipelines.own_records import n_waiting
    from pipelines.own_work import OwnWork
    from pipelines.store import Store

    folder = home or default_home()
    own = OwnWork(folder)
    has_store = Store(folder).current() is not None
    without_swap = _tests_without_swap(folder, own) if has_store else {}
    for kept in own.entries():
        if kept.entry.kind != "undo":
            why = without_swap.get(kept.entry.entry_id)
            typer.echo(_line(kept) + (f"  [{why}]" if why else ""))
    if not has_store:
        return
    con = reader(folder)
    try:
        n = n_waiting(con, own)
    finally:
        con.close()
    printing.say(f"{n} not in the figures yet. {TAKE_IN}" if n else "The figures include everything entered.")


@app.command(epilog="Example:  goodpull own-work undo 3f2a --reason 'the office was right'")
def undo(
    entry_id: Annotated[str, typer.Argument(help="Id of the entry, or its first letters; see: goodpull own-work list")],
    reason: ReasonOption,
    by: ByOption = None,
    home: HomeOption = None,
) -> None:
    """Take an entry back. Both stay on record."""
    from pipelines.own_work import OwnWork

    is_new = OwnWork(home or default_home()).undo(entry_id, reason, name_of(by))
    printing.say(f"Taken back. {TAKE_IN}" if is_new else "It was taken back already; nothing was changed.")


@app.command(name="take-in", epilog="Example:  goodpull own-work take-in")
def take_in(home: HomeOption = None) -> None:
    """Bring what was entered into the records and figures. Every load does so too."""
    from pipelines.loading import load
    from pipelines.own_work import OwnWork
    from pipelines.store import Store

    folder = home or default_home()
    with printing.progress("Taking in what was entered") as step:
        report = load(folder, [], progress=step)
    if report.files:
        printing.print_load(report, is_dry_run=False)
    elif report.is_changed:
        printing.say(f"in force: {report.generation} ({report.seconds:.1f} s)")
    else:
        printing.say("Nothing waits to be brought in; nothing was changed.")
    own = OwnWork(folder)
    without_swap = _tests_without_swap(folder, own) if Store(folder).current() is not None else {}
    for kept in own.entries("bench_test"):
        if kept.entry.entry_id in without_swap:
            printing.say(f"Bench test of {kept.entry.about}: {without_swap[kept.entry.entry_id]}.")


def _tests_without_swap(folder: Path, own: OwnWork) -> dict[str, str]:
    """The bench tests entered and in force that no swap on record fits: id of the entry -> why."""
    from pipelines.entry_checks import why_without_swap

    stored = [kept.entry.content["stored"] for kept in own.entries("bench_test") if kept.is_in_force]
    con = reader(folder)
    try:
        return why_without_swap(con, stored)
    finally:
        con.close()


@app.command(epilog="Example:  goodpull own-work export own-work-2026-11.jsonl")
def export(
    copy: Annotated[Path, typer.Argument(help="File to write.", dir_okay=False)], home: HomeOption = None
) -> None:
    """Copy everything entered, and the mappings loads were made with, into one text file."""
    from dashboard import words
    from pipelines.own_work import OwnWork
    from pipelines.own_work_copies import export_copy

    copied = export_copy(OwnWork(home or default_home()), copy)
    held = f"{words.plural(len(copied.entries), 'entry', 'entries')}, {words.plural(len(copied.mappings), 'mapping')}"
    printing.say(f"wrote {copy}: {held}.")


@app.command(epilog="Example:  goodpull own-work restore own-work-2026-11.jsonl")
def restore(
    copy: Annotated[Path, typer.Argument(help="File made by export.", dir_okay=False)], home: HomeOption = None
) -> None:
    """Bring back what a copy holds and is not there yet. Nothing that is there is changed."""
    from dashboard import words
    from pipelines.own_work import OwnWork
    from pipelines.own_work_copies import restore_copy

    done = restore_copy(OwnWork(home or default_home()), copy)
    printing.say(
        f"{done.n_new:,} of {words.plural(done.n_entries, 'entry', 'entries')} and {done.n_new_mappings:,} of "
        f"{words.plural(done.n_mappings, 'mapping')} restored; the others were there."
        + (f" {TAKE_IN}" if done.n_new else "")
    )


def copy_before_removal(home: Path) -> None:
    """Copy what was entered in a home about to be removed to a file beside it, and say so; nothing where nothing was.

    Raises OwnWorkError, before anything is removed, when the own work cannot be read or the copy cannot be written.
    """
    from dashboard import words
    from pipelines.own_work import OwnWork
    from pipelines.own_work_copies import export_copy

    own = OwnWork(home)
    if own.last_no() == 0:
        return
    copy = home.with_name(f"{home.name}-own-work-{datetime.now():%Y%m%d-%H%M%S}.jsonl")
    held = words.plural(len(export_copy(own, copy).entries), "entry", "entries")
    printing.say(f"What was entered here is kept in {copy} ({held}); the demo fleet is made anew without it.")


def _line(kept: object) -> str:
    from dashboard import entry_words
    from pipelines.own_work import Kept

    assert isinstance(kept, Kept)
    entry = kept.entry
    what = entry_words.what(entry)
    if entry.kind == "correction":
        stored = entry.content["stored"]
        what = f"{stored['corrected_field']} = {stored['new_value']}"
    state = "" if kept.undone_by is None else f"  [taken back by {kept.undone_by.entered_by}: {kept.undone_by.reason}]"
    parts = (entry.entry_id, entry.entered_at[:16], entry.kind, entry.about, what, entry.entered_by, entry.reason)
    return "  ".join(part for part in parts if part) + state
