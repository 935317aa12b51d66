"""The command line `goodpull`.

Every command prints what it did in words and ends with: 0 done; 1 some input was refused or there is nothing to
show yet; 2 the command was written wrongly. Heavy libraries are imported inside the commands, so that help is quick.
"""

from __future__ import annotations

import json
import os
import sys
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Any

import typer

from dashboard import (
    bench_commands,
    held_back_commands,
    identity_commands,
    ledger_commands,
    mapping_commands,
    own_work_commands,
    printing,
    report_commands,
)
from dashboard.home_folder import DEMO_MARKER, HomeOption, default_home, no_records

app = typer.Typer(
    name="goodpull",
    help="How often was a pulled pressure switch in fact good, what came back, and where was a cause missed?",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode="rich",
    context_settings={"help_option_names": ["-h", "--help"]},
)
app.add_typer(own_work_commands.app, name="own-work")
app.add_typer(held_back_commands.app, name="held-back")
app.add_typer(identity_commands.app, name="identity")
report_commands.register(app)
mapping_commands.register(app)
bench_commands.register(app)
ledger_commands.register(app)

EXIT_REFUSED = 1


class FileKind(StrEnum):
    csv = "csv"
    parquet = "parquet"


class TemplateKind(StrEnum):
    csv = "csv"
    xlsx = "xlsx"


@app.command(
    epilog="Examples:  goodpull demo   |   goodpull demo --no-open   |   goodpull demo --seed 7 --visits 200000"
)
def demo(
    home: HomeOption = None,
    seed: Annotated[int, typer.Option(help="Seed of the invented fleet.", min=0)] = 1,
    visits: Annotated[int | None, typer.Option(help="About how many visits.", min=1_000, max=10_000_000)] = None,
    is_fresh: Annotated[bool, typer.Option("--fresh", help="Make the demo fleet anew.")] = False,
    is_opened: Annotated[bool, typer.Option("--open/--no-open", help="Open the pages when done.")] = True,
    port: Annotated[int | None, typer.Option(help="Port on this machine.", min=1, max=65535)] = None,
    is_browser_started: Annotated[bool, typer.Option("--browser/--no-browser", help="Start a browser.")] = True,
) -> None:
    """Invent a fleet, load its records, compute the figures and open the pages."""
    import shutil

    from pipelines.store import Store

    folder = home or default_home("demo")
    marker = folder / DEMO_MARKER
    wanted = {"seed": seed, "visits": visits}
    if folder.exists() and any(folder.iterdir()) and not marker.exists():
        printing.fail(
            f"{folder} already holds something that is not a demo. Choose another folder with --home; "
            "nothing was changed."
        )
    is_made = marker.exists() and json.loads(marker.read_text("utf-8")) == wanted
    if is_fresh or not is_made or Store(folder).current() is None:
        own_work_commands.copy_before_removal(folder)
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir(parents=True)
        marker.write_text(json.dumps(wanted), "utf-8")
        _generate(folder, seed, visits, FileKind.csv)
        _load(folder, [folder / "records"])
    _figures(folder)
    printing.say(f"The demo fleet is invented; its truth is in {folder / 'truth'}.")
    if is_opened:
        _serve(folder, port, is_browser_started)


@app.command(
    epilog="Examples:  goodpull load exports/   |   goodpull load jobs.xlsx --map jobs.toml   |   goodpull load --new exports/"
)
def load(
    sources: Annotated[
        list[Path] | None, typer.Argument(help="Files or folders: CSV, XLSX, Parquet, JSON lines.")
    ] = None,
    home: HomeOption = None,
    mapping: Annotated[
        Path | None, typer.Option("--map", help="Read the files, or a database, as this mapping says.")
    ] = None,
    is_only_new: Annotated[
        bool, typer.Option("--new", help="Only files not in the ledger yet; for a scheduled command.")
    ] = False,
) -> None:
    """Load visit records. Rows are accepted or held back with a reason; nothing is dropped silently."""
    folder = home or default_home()
    if (folder / DEMO_MARKER).exists():
        printing.fail(
            f"{folder} holds the invented demo fleet; own records would mix with it. Choose another folder with --home; "
            "nothing was changed."
        )
    report = mapping_commands.load_mapped(folder, sources or [], mapping, is_only_new)
    if report is not None and (any(file.error for file in report.files) or printing.without_any(report.files)):
        raise typer.Exit(EXIT_REFUSED)


@app.command(epilog="Example:  goodpull check exports/")
def check(
    sources: Annotated[list[Path], typer.Argument(help="Files or folders to look at.")],
    home: HomeOption = None,
) -> None:
    """Say what a load would do. Changes nothing."""
    folder = home or default_home()
    report = _load(folder, sources, is_dry_run=True)
    named = " ".join(str(source) for source in sources) + (f" --home {home}" if home else "")
    is_any_new = any(file.n_rows and not file.error and not file.is_already_loaded for file in report.files)
    printing.say("Nothing was changed." + (f" To load these records: goodpull load {named}" if is_any_new else ""))
    if any(file.error for file in report.files):
        raise typer.Exit(EXIT_REFUSED)


@app.command(epilog="Examples:  goodpull figures   |   goodpull figures --json > figures.json")
def figures(
    home: HomeOption = None,
    is_json: Annotated[bool, typer.Option("--json", help="Print every figure as JSON.")] = False,
) -> None:
    """Print the figures with their ranges and what they rest on."""
    folder = home or default_home()
    computed, store_name = _figures(folder, is_quiet=is_json)
    from models.figures.published import as_json

    published = as_json(computed, store_name)
    if is_json:
        sys.stdout.write(json.dumps(published, indent=2, ensure_ascii=False, allow_nan=False) + "\n")
    else:
        from pipelines.settings import Settings

        printing.print_figures(published, Settings.load(folder).currency)
        printing.say(f"Currency, rates and thresholds: {folder / 'settings.toml'}; the Method page lists them.")


@app.command(
    name="open",
    epilog="Examples:  goodpull open   |   goodpull open --port 8080 --no-browser   |   goodpull open --address 0.0.0.0",
)
def open_pages(
    home: HomeOption = None,
    port: Annotated[int | None, typer.Option(help="Port on this machine.", min=1, max=65535)] = None,
    is_browser_started: Annotated[bool, typer.Option("--browser/--no-browser", help="Start a browser.")] = True,
    address: Annotated[
        str, typer.Option(help="Where to listen; beyond this machine only with a sign-in set up (see the README).")
    ] = "127.0.0.1",
) -> None:
    """Serve the pages until Ctrl+C: on this machine only, unless a sign-in is set up and an address is named."""
    folder = home or default_home()
    _serve(folder, port, is_browser_started, address)


@app.command(epilog="Examples:  goodpull contract > contract.md   |   goodpull contract --templates blank/ --kind xlsx")
def contract(
    templates: Annotated[Path | None, typer.Option(help="Write blank templates into this folder.")] = None,
    kind: Annotated[TemplateKind, typer.Option(help="Kind of template.")] = TemplateKind.xlsx,
    package: Annotated[Path | None, typer.Option(help="Write the description as datapackage.json here.")] = None,
) -> None:
    """Print the data contract: every table, column, unit and code."""
    from pipelines.contract import datapackage, reference
    from pipelines.contract import templates as blank

    if templates is not None:
        for path in blank.write_templates(templates, kind.value):
            printing.say(f"wrote {path}")
    if package is not None:
        package.parent.mkdir(parents=True, exist_ok=True)
        package.write_text(json.dumps(datapackage.data_package(), indent=2) + "\n", "utf-8")
        printing.say(f"wrote {package}")
    if templates is None and package is None:
        sys.stdout.write(reference.reference_page())


@app.command(epilog="Examples:  goodpull generate fleet/   |   goodpull generate big/ --visits 5000000 --kind parquet")
def generate(
    folder: Annotated[Path, typer.Argument(help="Folder for the records and the truth; new or empty.")],
    seed: Annotated[int, typer.Option(help="Same seed, same bytes.", min=0)] = 1,
    visits: Annotated[int | None, typer.Option(help="About how many visits.", min=1_000, max=10_000_000)] = None,
    kind: Annotated[FileKind, typer.Option(help="Kind of file.")] = FileKind.csv,
) -> None:
    """Invent a fleet with known truth and write its records as files."""
    if folder.exists() and any(folder.iterdir()):
        printing.fail(f"{folder} is not empty. Name a new folder; nothing was changed.")
    folder.mkdir(parents=True, exist_ok=True)
    _generate(folder, seed, visits, kind)
    printing.say(f"Records in {folder / 'records'}, what really happened in {folder / 'truth'}.")


def _generate(folder: Path, seed: int, visits: int | None, kind: FileKind) -> None:
    from synthetic_data.generate import generate as write_fleet

    with printing.progress("Inventing a fleet") as step:
        write_fleet(folder, seed=seed, visits=visits, format=kind.value, progress=step)


def _load(folder: Path, sources: list[Path], is_dry_run: bool = False) -> Any:
    from pipelines.loading import load as load_records

    with printing.progress("Reading records") as step:
        report = load_records(folder, sources, progress=step, is_dry_run=is_dry_run)
    printing.print_load(report, is_dry_run)
    return report


def _figures(folder: Path, is_quiet: bool = False) -> tuple[Any, str]:
    from models.figures.sidecar import figures_for
    from pipelines.settings import Settings
    from pipelines.store import Store

    store = Store(folder)
    current = store.current()
    if current is None:
        printing.fail(no_records(folder))
    with printing.progress("Computing figures", is_quiet=is_quiet) as step:
        computed = figures_for(store, Settings.load(folder), progress=step)
    return computed, current.name


def _serve(folder: Path, port: int | None, is_browser_started: bool, address: str = "127.0.0.1") -> None:
    from dashboard.serving import serve

    os.environ["GOODPULL_HOME"] = str(folder)
    code = serve(port, is_browser_started, address, folder)
    if code:
        raise typer.Exit(code)


def main() -> None:
    """Run the command line; errors are told in words, without a traceback."""
    from pipelines.errors import GoodpullError

    try:
        app()
    except GoodpullError as error:
        printing.fail(str(error))
    except OSError as error:
        place = f"{error.filename}: " if error.filename else ""
        printing.fail(f"{place}{error.strerror or error}. Choose another path, or see who owns the folder.")
    except KeyboardInterrupt:
        printing.fail("Stopped. What was in force before is still in force.", code=130)


if __name__ == "__main__":
    main()
