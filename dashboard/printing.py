"""What the command line prints: lines, tables, progress and refusals."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any, NoReturn

import typer

Step = Callable[[str, float | None], None]


def _console(is_error: bool = False) -> Any:
    from rich.console import Console

    return Console(stderr=is_error, highlight=False, soft_wrap=True)


def say(text: str) -> None:
    """Print one line as it is, without reading markup into it."""
    _console(is_error=True).print(text, markup=False)


def fail(text: str, code: int = 1) -> NoReturn:
    """Print why it cannot go on, and end with `code`."""
    _console(is_error=True).print(text, markup=False, style="bold")
    raise typer.Exit(code) if _is_inside_command() else SystemExit(code)


def _is_inside_command() -> bool:
    import click

    return click.get_current_context(silent=True) is not None


def _no_step(text: str, share: float | None = None) -> None:
    """Progress where nobody watches."""


@contextmanager
def progress(title: str, is_quiet: bool = False) -> Iterator[Step]:
    """A progress bar on standard error.

    Yields step(text, share): what is being done, and the share done in 0..1 (None = not known).
    """
    if is_quiet or not sys.stderr.isatty():
        yield _no_step
        return
    from rich.progress import BarColumn, Progress, SpinnerColumn, TextColumn, TimeElapsedColumn

    columns = (SpinnerColumn(), TextColumn("{task.description}", markup=False), BarColumn(), TimeElapsedColumn())
    with Progress(*columns, console=_console(is_error=True), transient=True) as bar:
        task = bar.add_task(title, total=None)

        def step(text: str, share: float | None = None) -> None:
            bar.update(task, description=text, total=None if share is None else 1.0, completed=share or 0.0)

        yield step


def print_load(report: Any, is_dry_run: bool) -> None:
    """One line a file, then the reasons for held-back rows, then the messages."""
    from rich.table import Table

    table = Table(title="What a load would do" if is_dry_run else "Loaded", title_justify="left")
    table.add_column("file", overflow="fold")
    table.add_column("table")
    for name in ("rows read", "accepted", "of these revised", "held back", "exact duplicates"):
        table.add_column(name, justify="right")
    for file in report.files:
        counts = (file.n_rows, file.n_accepted, file.n_revised, file.n_held_back, file.n_duplicates)
        shown = ["-"] * 5 if file.error or file.is_already_loaded else [f"{count:,}" for count in counts]
        table.add_row(_plain(file.file_name), file.table_name or "?", *shown)
    console = _console()
    console.print(table)
    for file in report.files:
        for line in _file_lines(file):
            console.print(line, markup=False)
    if not is_dry_run:
        state = f"in force: {report.generation}" if report.is_changed else "nothing new; nothing was changed"
        console.print(f"{state} ({report.seconds:.1f} s)", markup=False)


def _plain(text: str) -> Any:
    from rich.text import Text

    return Text(text)


def _file_lines(file: Any) -> list[str]:
    if file.error:
        return [f"{file.file_name}: not loaded. {file.error}"]
    lines = [f"{file.file_name}: already loaded before; left as it is."] if file.is_already_loaded else []
    lines += [f"{file.file_name}: {message}" for message in file.messages]
    lines += [f"{file.file_name}: {count:,} held back: {reason}" for reason, count in sorted(file.reasons.items())]
    return lines


def _range(estimate: dict, is_rate: bool) -> str:
    if estimate["value"] is None:
        return "not known"
    scale, unit, digits = (100, "%", 1) if is_rate else (1, "", 1)
    value = f"{estimate['value'] * scale:,.{digits}f}{unit}"
    if estimate["low"] is None or estimate["high"] is None:
        return value
    return f"{value}  ({estimate['low'] * scale:,.{digits}f} to {estimate['high'] * scale:,.{digits}f}{unit})"


def print_figures(published: dict) -> None:
    """The headline figures of the published form, each with its range, number of cases and coverage."""
    from rich.table import Table

    table = Table(title=f"Figures as of {published['as_of']}", title_justify="left")
    for name in ("figure", "value (95% range)", "cases", "rests on"):
        table.add_column(name, justify="left" if name in ("figure", "value (95% range)") else "right")
    for name, estimate, is_rate in _headlines(published):
        coverage = "-" if estimate["coverage"] is None else f"{estimate['coverage']:.0%}"
        table.add_row(name, _range(estimate, is_rate), f"{estimate['n']:,}", coverage)
    console = _console()
    console.print(table)
    flagged = sum(row["is_flagged"] for row in published["technicians"])
    listed = sum(row["is_flagged"] for row in published["sites"])
    console.print(f"Look here first: {flagged} technicians, {listed} sites. All figures: goodpull figures --json")
    console.print("For coaching; these figures must not decide pay or discipline.")


def _headlines(published: dict) -> Iterator[tuple[str, dict, bool]]:
    good = published["good_switch_rate"]
    yield "good switches among those tested", good["tested"], True
    yield "good switches, adjusted for who got tested", good["adjusted"], True
    month = published["callbacks"]["windows"].get("30", {})
    for key, name in (("with_cause", "with a root cause"), ("without_cause", "without a root cause")):
        if key in month:
            yield f"callback within 30 days, {name}", month[key], True
    for family in ("condensate", "blockage"):
        season = published["seasons"][family]
        peak = {"value": season["peak_day"], "low": season["peak_low"], "high": season["peak_high"]}
        cases = sum(month["n_faults"] for month in season["by_month"])
        yield f"{family}: day of the year of the peak", {**peak, "n": cases, "coverage": None}, False
    for key in ("known", "estimated"):
        yield f"parts waste, {key}", published["waste"][key], False
