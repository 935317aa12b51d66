"""The commands that put figures on paper and into files: `goodpull report` and `goodpull export`."""

from __future__ import annotations

import os
import shlex
import subprocess
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from dashboard import printing
from dashboard.home_folder import HomeOption, default_home, no_records

EXIT_REFUSED = 1
REPORT_EXAMPLES = (
    "Examples:  goodpull report week   |   goodpull report coaching --technician T012 --code-names   |   "
    "goodpull report warranty --claim C1000215   |   goodpull report season --branch North --paper a4   |   "
    "goodpull report week --region Coast --kind furnace --from 2025-01-01 --until 2025-03-31"
)


class Pack(StrEnum):
    week = "week"
    coaching = "coaching"
    warranty = "warranty"
    season = "season"
    closeout = "closeout"


class Paper(StrEnum):
    a4 = "a4"
    letter = "letter"
    both = "both"


def report(
    pack: Annotated[Pack, typer.Argument(help="Which pack to print.")],
    home: HomeOption = None,
    folder: Annotated[Path, typer.Option("--to", help="Folder the files are written into.", file_okay=False)] = Path(
        "."
    ),
    paper: Annotated[Paper, typer.Option(help="Size of the paper.")] = Paper.both,
    is_html: Annotated[bool, typer.Option("--html/--no-html", help="Write one self-contained web page too.")] = True,
    technician: Annotated[str | None, typer.Option(help="Whose coaching pack: the technician's id.")] = None,
    claim: Annotated[str | None, typer.Option(help="Which claim's warranty pack: the claim's id.")] = None,
    is_code: Annotated[bool, typer.Option("--code-names", help="Show technicians under a code name.")] = False,
    branch: Annotated[str | None, typer.Option(help="Only this branch.")] = None,
    region: Annotated[str | None, typer.Option(help="Only this region.")] = None,
    kind: Annotated[str | None, typer.Option(help="Only this kind of appliance.")] = None,
    start: Annotated[str | None, typer.Option("--from", help="Only from this day on, such as 2025-01-31.")] = None,
    end: Annotated[str | None, typer.Option("--until", help="Only up to this day, itself included.")] = None,
    sites: Annotated[Path | None, typer.Option(help="With season: write every site to check into this CSV.")] = None,
    after: Annotated[
        str | None, typer.Option(help="Command to run when done, such as your mailer; the files are added to it.")
    ] = None,
) -> None:
    """Print a pack as PDF and as one web page: the same figures as on the screen, for black and white paper."""
    from pipelines.store import Store

    at = _at_home(home)
    if Store(at).current() is None:
        printing.fail(no_records(at))
    filters = (branch, region, kind, start, end)
    _check_options(pack, technician, claim, sites, filters)
    folder.mkdir(parents=True, exist_ok=True)
    written = _write(pack, folder, paper, is_html, technician, claim, is_code, filters, sites)
    for path in written:
        printing.say(f"wrote {path}")
    if after is not None:
        _run_after(after, written)


def _check_options(
    pack: Pack, technician: str | None, claim: str | None, sites: Path | None, filters: tuple[str | None, ...]
) -> None:
    if pack is Pack.coaching and technician is None:
        raise typer.BadParameter("a coaching pack is of one technician: add --technician ID", param_hint="--technician")
    if pack is Pack.warranty and claim is None:
        raise typer.BadParameter("a warranty pack is of one claim: add --claim ID", param_hint="--claim")
    if pack is Pack.warranty and any(filters):
        raise typer.BadParameter(
            "a warranty pack is of one claim: nothing narrows it",
            param_hint="--branch, --region, --kind, --from, --until",
        )
    if sites is not None and pack is not Pack.season:
        raise typer.BadParameter("goes with season only", param_hint="--sites")


def _at_home(home: Path | None) -> Path:
    """The home asked for, put in force for what the pages read."""
    chosen = home or default_home()
    os.environ["GOODPULL_HOME"] = str(chosen)
    printing.silence_pages()
    return chosen


def _write(
    pack: Pack,
    folder: Path,
    paper: Paper,
    is_html: bool,
    technician: str | None,
    claim: str | None,
    is_code: bool,
    filters: tuple[str | None, str | None, str | None, str | None, str | None],
    sites: Path | None,
) -> list[Path]:
    from dashboard import code_names, roles, season_lookups
    from dashboard.exports import csv_bytes
    from dashboard.printed import pack_names, packs, typeset, web_page
    from dashboard.report_scope import scope_of

    with printing.progress("Setting the pack") as step, roles.whoever_has_the_files():
        scope = scope_of(*filters)
        step("Working out the figures", None)
        name_of = code_names.naming(is_code)
        document = packs.document(pack.value, scope, name_of, technician, claim)
        name = pack_names.of_file(document.name, scope)
        written = []
        for size in ("a4", "letter") if paper is Paper.both else (paper.value,):
            path = folder / f"{name}_{size}.pdf"
            path.write_bytes(typeset.pdf(document, size))
            written.append(path)
        if is_html:
            path = folder / f"{name}.html"
            path.write_bytes(web_page.web_page(packs.document(pack.value, scope, name_of, technician, claim, None)))
            written.append(path)
        if sites is not None:
            sites.write_bytes(csv_bytes(season_lookups.sites_to_check(scope)))
            written.append(sites)
    return written


def _run_after(command: str, files: list[Path]) -> None:
    """Run the company's own command with the files added; its words are shown as they are. Ends with 1 when it fails."""
    words = [word.strip('"') for word in shlex.split(command, posix=os.name != "nt")]
    if not words:
        printing.fail("--after names no command. The files were written.")
    try:
        done = subprocess.run([*words, *map(str, (path.resolve() for path in files))])
    except OSError as error:
        printing.fail(f"--after: {words[0]} could not be started ({error.strerror}). The files were written.")
    if done.returncode:
        printing.fail(f"--after: {words[0]} ended with {done.returncode}. The files were written.", EXIT_REFUSED)


def export(
    folder: Annotated[Path, typer.Argument(help="Folder for the files; new or empty.")],
    home: HomeOption = None,
) -> None:
    """Write the whole store as Parquet files with datapackage.json, readable by any other tool."""
    from pipelines.store import Store
    from pipelines.store_export import export_store

    at = home or default_home()
    if Store(at).current() is None:
        printing.fail(no_records(at))
    con = Store(at).open_reader()
    try:
        with printing.progress("Writing the store") as step:
            counts = export_store(con, folder, step)
    finally:
        con.close()
    rows = sum(counts.values())
    printing.say(
        f"wrote {len(counts)} tables, {rows:,} rows, into {folder}; described in {folder / 'datapackage.json'}"
    )


def register(app: typer.Typer) -> None:
    """Add these commands to the command line."""
    app.command(epilog=REPORT_EXAMPLES)(report)
    app.command(epilog="Example:  goodpull export store/")(export)
