"""`goodpull loads`: what was loaded, and which mapping read it."""

from __future__ import annotations

from typing import Annotated

import typer

from dashboard import printing
from dashboard.home_folder import HomeOption, default_home, no_records


def register(app: typer.Typer) -> None:
    """Put the command `loads` among the others."""
    app.command(name="loads", epilog="Examples:  goodpull loads   |   goodpull loads --limit 5")(list_loads)


def list_loads(
    limit: Annotated[int, typer.Option(help="Most loads listed.", min=1)] = 20,
    home: HomeOption = None,
) -> None:
    """List what was loaded, newest first: rows, what became of them, and the mapping and version that read the file."""
    from rich.table import Table

    from pipelines.intake.ledger import NEWEST_LOADS, mapping_version
    from pipelines.mapping.kept_versions import kept_versions, told_version
    from pipelines.mapping.writing import FOLDER
    from pipelines.store import Store

    folder = home or default_home()
    if Store(folder).current() is None:
        printing.fail(no_records(folder))
    con = Store(folder).open_reader()
    try:
        loads = con.execute(NEWEST_LOADS).fetchall()
    finally:
        con.close()
    kept = kept_versions(folder)
    table = Table(title="Loads, newest first", title_justify="left")
    for name in ("loaded (UTC)", "file", "table"):
        table.add_column(name)
    for name in ("rows", "accepted", "revised", "held back", "same"):
        table.add_column(name, justify="right")
    table.add_column("read by the mapping")
    for loaded, file, table_name, *counts, digest in loads[:limit]:
        told = (f"{loaded:%Y-%m-%d %H:%M}", file, table_name or "", *(f"{n:,}" for n in counts))
        table.add_row(*map(printing.as_written, (*told, told_version(kept, mapping_version(digest)))))
    printing.console_for().print(table)
    if len(loads) > limit:
        printing.say(f"The newest {limit} of {len(loads):,}; more with --limit.")
    if any(mapping_version(load[-1]) for load in loads):
        printing.say(f"Every version that was loaded with is kept in {folder / FOLDER}.")
