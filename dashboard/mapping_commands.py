"""The commands about foreign exports: `goodpull map`, and loading through a mapping or of new files only."""

from __future__ import annotations

import tempfile
from dataclasses import replace
from pathlib import Path
from typing import Annotated, Any

import typer

from dashboard import printing
from dashboard.home_folder import HomeOption, default_home

_SHOWN_COLUMNS = 8
_WIDEST = 24


def register(app: typer.Typer) -> None:
    """Put the command `map` among the others."""
    app.command(
        name="map",
        epilog="Examples:  goodpull map jobs.xlsx   |   goodpull map jobs.xlsx --map jobs.toml   |   "
        "goodpull map jobs.xlsx --map jobs.toml --confirm   |   "
        "goodpull map --database 'host=db dbname=service user=reader' --query 'visits: SELECT * FROM service.visits'",
    )(map_export)


def map_export(
    sources: Annotated[list[Path] | None, typer.Argument(help="Files of the export; none for a database.")] = None,
    home: HomeOption = None,
    mapping: Annotated[Path | None, typer.Option("--map", help="Try this mapping instead of proposing one.")] = None,
    out: Annotated[
        Path | None, typer.Option(help="Where the proposal is written.", show_default="beside the first file")
    ] = None,
    database: Annotated[
        str | None,
        typer.Option(
            help="Propose from PostgreSQL: its connection line, without the password (PGPASSWORD or libpq's own files)."
        ),
    ] = None,
    queries: Annotated[
        list[str] | None,
        typer.Option("--query", help="With --database, one a table: a name, a colon and one SELECT. Only ever read."),
    ] = None,
    is_confirmed: Annotated[
        bool, typer.Option("--confirm", help="I looked through the mapping; it may be loaded with.")
    ] = False,
) -> None:
    """Propose how the columns of an export become those of the contract, and show what a load would do.

    Changes nothing but the mapping file. A proposal says how sure each line is, and is loaded only once a person
    confirmed it.
    """
    from pipelines.mapping.mapping_file import read_mapping
    from pipelines.mapping.preview import preview
    from pipelines.settings import Settings

    folder = home or default_home()
    paths = list(sources or [])
    if mapping is None:
        if is_confirmed:
            printing.fail("--confirm needs the mapping that was looked through: --map FILE. Nothing was changed.")
        mapping = _proposed(paths, database, queries or [], out)
    elif database is not None or queries:
        printing.fail(
            "A mapping names its own database: --map goes without --database and --query. Nothing was changed."
        )
    declared = read_mapping(mapping)
    if not paths and declared.connection is None:
        printing.fail(f"{mapping}: reads files; name the export to try it on. Nothing was changed.")
    with printing.progress("Trying the mapping") as step:
        tried = preview(folder, paths, declared, Settings.load(folder), step)
    print_preview(tried)
    if is_confirmed and not tried.errors:
        _confirm(mapping)
        printing.say(f"{mapping} is confirmed. To load: goodpull load {_named(paths)}--map {mapping}")
    elif not declared.is_confirmed:
        printing.say(f"Look through {mapping}; then: goodpull map {_named(paths)}--map {mapping} --confirm")
    if tried.errors:
        raise typer.Exit(1)


def load_mapped(folder: Path, sources: list[Path], mapping: Path | None, is_only_new: bool) -> Any:
    """Load as `goodpull load` does; the report, or None where no file is new."""
    from pipelines.loading import load
    from pipelines.mapping.mapping_file import read_mapping

    declared = None if mapping is None else read_mapping(mapping)
    if not sources and (declared is None or declared.connection is None):
        printing.fail("Name the files or folders to load, such as: goodpull load exports/. Nothing was changed.")
    if is_only_new:
        sources = _new_files(folder, sources, declared)
        if not sources and (declared is None or declared.connection is None):
            printing.say("No new file; nothing was changed.")
            return None
    with printing.progress("Reading records") as step:
        report = load(folder, sources, progress=step, mapping=declared)
    printing.print_load(report, False)
    return report


def _new_files(folder: Path, sources: list[Path], declared: Any) -> list[Path]:
    """The files, also those in folders, that were not loaded yet as they would be now; what cannot be read stays."""
    from pipelines.intake.file_kinds import expand
    from pipelines.intake.known_files import not_in_ledger
    from pipelines.settings import Settings
    from pipelines.store import Store

    if declared is not None:
        for path, error in expand(sources):
            if error is None and path not in sources and not declared.sources_of(path.name):
                printing.say(f"{path.name}: passed over: {declared.reads_not(path.name)}")
    return not_in_ledger(Store(folder), sources, Settings.load(folder), declared)


def _proposed(paths: list[Path], database: str | None, queries: list[str], out: Path | None) -> Path:
    """Propose from the files, or from the database; the file the proposal was written to."""
    from pipelines.mapping.queries import asked_of

    if bool(paths) == (database is not None or bool(queries)):
        printing.fail(
            "Name the files of the export, such as: goodpull map jobs.xlsx; or a database, with --database and --query. "
            "Nothing was changed."
        )
    asked = None if paths else asked_of(database or "", "\n".join(queries))
    target = out or (Path("database.mapping.toml") if asked else paths[0].with_name(f"{paths[0].stem}.mapping.toml"))
    if target.exists():
        printing.fail(f"{target} is there already. Try it with --map {target}, or name another with --out.")
    _propose(_samples_of_database(asked) if asked else _samples_of_files(paths), asked, target)
    return target


def _samples_of_files(paths: list[Path]) -> list[Any]:
    from pipelines.intake.file_kinds import IntakeError, expand
    from pipelines.mapping.samples import samples_of

    samples = []
    for path, error in expand(paths):
        try:
            if error is not None:
                raise IntakeError(error)
            with tempfile.TemporaryDirectory(prefix="goodpull-map-") as scratch:
                samples += list(samples_of(path, Path(scratch)))
        except IntakeError as refused:
            printing.say(f"{path.name}: {refused}")
    return samples


def _samples_of_database(asked: Any) -> list[Any]:
    from pipelines.mapping.queries import database_samples

    with printing.progress("Asking the database") as step:
        samples, failed = database_samples(asked, step)
    for said in failed:
        printing.say(said)
    return samples


def _propose(samples: list[Any], asked: Any, target: Path) -> None:
    """Write a proposal for the samples. asked: the mapping that only asks, where they are those of queries."""
    from pipelines.mapping.proposing import propose
    from pipelines.mapping.queries import with_queries
    from pipelines.mapping.writing import toml_of, write_durably

    proposal = propose(samples, target.name.split(".")[0])
    for said in proposal.untold:
        printing.say(said)
    if not proposal.mapping.sources:
        printing.fail(
            "No mapping could be proposed: no table's required columns were found. Columns of the contract: goodpull contract"
        )
    mapping = with_queries(proposal.mapping, asked) if asked else proposal.mapping
    write_durably(target, toml_of(mapping, proposal.remarks))
    printing.say(f"wrote {target}; each line says how sure it is")


def _confirm(path: Path) -> None:
    """Set confirmed = true in the file, leaving everything else in it as it is."""
    from pipelines.mapping.mapping_file import mapping_of
    from pipelines.mapping.writing import confirmed_text, write_durably

    before = path.read_text("utf-8-sig")
    text = confirmed_text(before)
    if mapping_of(text, path.stem) != replace(mapping_of(before, path.stem), is_confirmed=True):
        printing.fail(f"{path}: write confirmed = true at its top yourself; it could not be done safely.")
    write_durably(path, text)


def _named(paths: list[Path]) -> str:
    return "".join(f"{path} " for path in paths)


def print_preview(tried: Any) -> None:
    """Rows in, rows out, share understood and reasons, for each table a mapping makes."""
    from rich.table import Table

    console = printing.console_for()
    seen: set[str] = set()
    for made in tried.tables:
        console.print(f"\n{made.shown} → {made.table_name}", markup=False, style="bold")
        rows_in = (f"first {len(made.rows_in)} rows in", made.columns_in, made.rows_in)
        rows_out = (f"first {len(made.rows_out)} rows out", made.columns_out, [row[1:] for row in made.rows_out])
        # The rows of a file are shown once, however many tables are made of them.
        for title, columns, rows in (rows_out,) if made.shown in seen else (rows_in, rows_out):
            table = Table(title=title, title_justify="left")
            for column in columns[:_SHOWN_COLUMNS]:
                table.add_column(printing.as_written(column), overflow="ellipsis", max_width=_WIDEST, no_wrap=True)
            for row in rows:
                table.add_row(*(printing.as_written(_cut(cell)) for cell in row[:_SHOWN_COLUMNS]))
            console.print(table)
            seen.add(made.shown)
            if len(columns) > _SHOWN_COLUMNS:
                console.print(
                    f"and {len(columns) - _SHOWN_COLUMNS} more columns: {', '.join(columns[_SHOWN_COLUMNS:])}"
                )
        shares = (f"{column} {_share(share)}" for column, share in made.share_understood.items())
        console.print(f"understood: {', '.join(shares)}", markup=False)
        if made.report is not None:
            n = made.report
            console.print(
                f"{n.n_rows:,} rows = {n.n_accepted:,} accepted + {n.n_held_back:,} held back + {n.n_duplicates:,} same"
            )
            for line in printing.file_lines(n):
                console.print(line, markup=False)
    for said in tried.unread:
        console.print(said, markup=False)
    for error in tried.errors:
        console.print(error, markup=False, style="bold")
    named = {made.shown for made in tried.tables}
    for report in tried.reports:
        if not report.error and report.file_name not in named:
            for message in report.messages:
                console.print(f"{report.file_name}: {message}", markup=False)


def _share(share: float | None) -> str:
    return "blank" if share is None else f"{share:.1%}" if share < 0.9995 else "100%"


def _cut(cell: Any) -> str:
    text = "" if cell is None else " ".join(str(cell).split())
    return text if len(text) <= _WIDEST else text[: _WIDEST - 1] + "…"
