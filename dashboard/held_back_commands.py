"""`goodpull held-back`: rows that were not accepted: why, and putting them right."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from dashboard import printing
from dashboard.home_folder import HomeOption, default_home
from dashboard.own_work_commands import TAKE_IN, ByOption, ReasonOption, name_of, reader

if TYPE_CHECKING:
    from pipelines.own_entries import HeldRow

app = typer.Typer(
    no_args_is_help=True,
    rich_markup_mode="rich",
    help="Rows that were held back: why, with counts and examples; mend them in place or dismiss them. "
    "Nothing ever disappears.",
    epilog="Examples:  goodpull held-back reasons   |   goodpull held-back mend 4c1f arrived_at=2025-11-03T14:20 --reason typo",
)

KEY_HELP = "Key of the row, or its first letters; see: goodpull held-back rows"


@app.command(epilog="Example:  goodpull held-back reasons")
def reasons(home: HomeOption = None) -> None:
    """Group the rows held back by table, column and reason."""
    from pipelines.intake.told_reasons import OPEN_BY_REASON

    con = reader(home or default_home())
    try:
        found = con.execute(OPEN_BY_REASON).fetchall()
    finally:
        con.close()
    for table, column, code, _, n, example in found:
        typer.echo(f"{n:>9,}  {table}.{column or 'the row'}  {code}" + (f"  such as {example}" if example else ""))
    printing.say("Nothing is held back." if not found else "See the rows with: goodpull held-back rows TABLE COLUMN")


@app.command(epilog="Example:  goodpull held-back rows visits arrived_at")
def rows(
    table: Annotated[str | None, typer.Argument(help="Only rows of this table.")] = None,
    column: Annotated[str | None, typer.Argument(help="Only rows refused for this column.")] = None,
    limit: Annotated[int, typer.Option(help="Most rows listed.", min=1)] = 50,
    home: HomeOption = None,
) -> None:
    """List rows held back, each with its key, its reasons and its cells as delivered."""
    from pipelines.own_entries import held_rows

    named = {"table_name": table, "column_name": column}
    wanted = {name: value for name, value in named.items() if value is not None}
    condition = " AND ".join(f"{name} = ?" for name in wanted) or "true"
    con = reader(home or default_home())
    try:
        found = held_rows(con, condition, list(wanted.values()), limit)
    finally:
        con.close()
    for row in found:
        typer.echo(f"{row.row_key[:12]}  {' '.join(row.reasons.values())}")
        typer.echo("    " + ", ".join(f"{name}={cell}" for name, cell in row.cells.items() if cell))
    if not found:
        printing.say("No such row is held back.")


@app.command(epilog="Example:  goodpull held-back mend 4c1f arrived_at=2025-11-03T14:20 --reason 'typing error'")
def mend(
    key: Annotated[str, typer.Argument(help=KEY_HELP)],
    cells: Annotated[list[str], typer.Argument(help="COLUMN=VALUE, one or more.")],
    reason: ReasonOption,
    by: ByOption = None,
    home: HomeOption = None,
) -> None:
    """Change cells of a row held back, so that it is accepted. The row as delivered is kept."""
    from pipelines.own_entries import mend_rows
    from pipelines.own_work import OwnWork
    from pipelines.settings import Settings

    wrong = [cell for cell in cells if "=" not in cell]
    if wrong:
        printing.fail(f"{wrong[0]!r}: must be COLUMN=VALUE. Nothing was changed.", code=2)
    folder = home or default_home()
    found = _by_key(folder, key)
    changes = dict(cell.split("=", 1) for cell in cells)
    con = reader(folder)
    try:
        mend_rows(con, OwnWork(folder), Settings.load(folder), found, changes, reason, name_of(by))
    finally:
        con.close()
    printing.say(f"Kept; the row would be accepted. {TAKE_IN}")


@app.command(epilog="Example:  goodpull held-back dismiss 4c1f --reason 'a test row of the office'")
def dismiss(
    key: Annotated[str, typer.Argument(help=KEY_HELP)],
    reason: ReasonOption,
    by: ByOption = None,
    home: HomeOption = None,
) -> None:
    """Say that a row held back is not wanted, and why. It is kept; undo takes it up again."""
    from pipelines.own_entries import dismiss_rows
    from pipelines.own_work import OwnWork

    folder = home or default_home()
    found = _by_key(folder, key)
    n = dismiss_rows(OwnWork(folder), found, reason, name_of(by))
    printing.say(f"Kept. {TAKE_IN}" if n else "It was dismissed already; nothing was changed.")


def _by_key(folder: Path, key: str) -> list[HeldRow]:
    """The row whose key begins so, in a list; empty where there is none. Ends the command where there are several."""
    from pipelines.own_entries import held_rows

    con = reader(folder)
    try:
        found = held_rows(con, "starts_with(row_key, ?)", [key], 2)
    finally:
        con.close()
    if len(found) > 1:
        printing.fail(f"{key!r} is the beginning of several keys. Write more of it; nothing was changed.")
    return found
