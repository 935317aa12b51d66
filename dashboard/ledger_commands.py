"""`goodpull loads`: what was loaded, and which mapping read it."""

from __future__ import annotations

from collections.abc import Sequence
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
    console = printing.console_for()
    console.print("Loads, newest first (times in UTC)", style="italic")
    for loaded, file, table_name, *counts, digest in loads[:limit]:
        read_by = told_version(kept, mapping_version(digest))
        for line in _lines(f"{loaded:%Y-%m-%d %H:%M}", file, table_name or "", counts, read_by):
            console.print(printing.as_written(line))
    if len(loads) > limit:
        printing.say(f"The newest {limit} of {len(loads):,}; more with --limit.")
    if any(mapping_version(load[-1]) for load in loads):
        printing.say(f"Every version that was loaded with is kept in {folder / FOLDER}.")


def _lines(loaded: str, file: str, table_name: str, counts: Sequence[int], read_by: str) -> list[str]:
    """One load in lines, not in columns, which a narrow window would cut: names of files are told whole.

    counts: rows, accepted, revised, held back, same.
    """
    n, accepted, revised, held_back, same = (f"{count:,}" for count in counts)
    first = f"{loaded}  {file}" + (f" → {table_name}" if table_name else "")
    told = f"{n} rows = {accepted} accepted + {held_back} held back + {same} same; {revised} revised"
    return [first, f"    {told}", *([f"    read by the mapping {read_by}"] if read_by else [])]
