"""What the command line prints: lines, tables, progress and refusals."""

from __future__ import annotations

import logging
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any, NoReturn

from models.methods.numeral import canonical

Step = Callable[[str, float | None], None]


def console_for(is_error: bool = False) -> Any:
    """Where lines are printed: standard output, or standard error."""
    from rich.console import Console

    return Console(stderr=is_error, highlight=False, soft_wrap=True)


def say(text: str) -> None:
    """Print one line as it is, without reading markup into it."""
    console_for(is_error=True).print(canonical(text), markup=False)


def fail(text: str, code: int = 1) -> NoReturn:
    """Print why it cannot go on, and end with `code`."""
    console_for(is_error=True).print(canonical(text), markup=False, style="bold")
    raise SystemExit(code)


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
    with Progress(*columns, console=console_for(is_error=True), transient=True) as bar:
        task = bar.add_task(title, total=None)

        def step(text: str, share: float | None = None) -> None:
            bar.update(task, description=text, total=None if share is None else 1.0, completed=share or 0.0)

        yield step


def print_load(report: Any, is_dry_run: bool) -> None:
    """One line a file, then the reasons for held-back rows, then the messages."""
    from rich.table import Table

    table = Table(title="What a load would do" if is_dry_run else "Loaded", title_justify="left")
    table.add_column("file", no_wrap=True)
    for name in ("rows", "accepted", "revised", "held back", "same"):
        table.add_column(name, justify="right")
    shown_files = [file for file in report.files if file.n_rows or file.error or file.is_already_loaded]
    for file in shown_files:
        counts = (file.n_rows, file.n_accepted, file.n_revised, file.n_held_back, file.n_duplicates)
        shown = ["-"] * 5 if file.error or file.is_already_loaded else [f"{count:,}" for count in counts]
        table.add_row(as_written(file.file_name[-40:]), *shown)
    console = console_for()
    # A file that the mapping does not read may hold rows.
    told = [file for file in report.files if file not in shown_files and "passed over: " in " ".join(file.messages)]
    if not shown_files:
        console.print("No row was read." if told else "No file holds a row.")
    else:
        console.print(table)
        console.print(
            "rows = accepted + held back + same (exact duplicates); revised: accepted in place of an older one"
        )
    for file in told:
        for line in file_lines(file):
            console.print(line, markup=False)
    empty = [file.file_name for file in report.files if file not in shown_files and file not in told]
    if empty:
        console.print(f"without rows: {', '.join(empty)}", markup=False)
    for said in report.notices:
        console.print(said, markup=False, style="bold")
    if report.passed_over:
        console.print(f"passed over, no kind of file records come in: {', '.join(report.passed_over)}", markup=False)
    for file in shown_files:
        for line in file_lines(file):
            console.print(line, markup=False)
    for line in without_any(report.files):
        console.print(line, markup=False, style="bold")
    if not is_dry_run and any(file.n_held_back for file in report.files):
        console.print("To see, mend or dismiss rows held back: goodpull held-back reasons", markup=False)
    if not is_dry_run:
        state = f"in force: {report.generation}" if report.is_changed else "nothing new; nothing was changed"
        console.print(f"{state} ({report.seconds:.1f} s)", markup=False)


# What a table whose rows were all held back takes away.
LOST_WITH = {
    "visits": "no figure can be given",
    "part_lines": "no swap can be counted",
    "readings": "what the gauge showed is not known",
    "bench_tests": "no removed switch is known to be good or faulty",
}


def without_any(files: Any) -> list[str]:
    """One sentence for each file of which no row could be accepted, with what that takes away."""
    return [
        f"{file.file_name}: not one of its rows was accepted"
        f"{', so from this file ' + LOST_WITH[file.table_name] if file.table_name in LOST_WITH else ''}. "
        "Mend what is told above and load it again."
        for file in files
        if file.n_rows and file.n_held_back == file.n_rows
    ]


def as_written(text: str) -> Any:
    """Text of a cell, without reading markup into it."""
    from rich.text import Text

    return Text(text)


def file_lines(file: Any) -> list[str]:
    """What is to be said of one file of a load: refused, known, messages, reasons."""
    if file.error:
        return [f"{file.file_name}: not loaded. {file.error}"]
    lines = [f"{file.file_name}: already loaded before; left as it is."] if file.is_already_loaded else []
    lines += [f"{file.file_name}: {message}" for message in file.messages]
    lines += [_reason_line(file, reason, count) for reason, count in sorted(file.reasons.items())]
    return lines


def _reason_line(file: Any, reason: str, count: int) -> str:
    """How many cells were refused for a reason: where the first stands, what it holds, what is allowed."""
    from pipelines.contract.reasons import REASONS, WHAT_NEXT, sentence_template
    from pipelines.contract.tables import TABLE_BY_NAME

    cells = "cell" if count == 1 else "cells"
    example = file.examples.get(reason, "").removeprefix(file.file_name).removesuffix(WHAT_NEXT).strip()
    if example:
        words = file.unknown_words.get(reason)
        return f"{file.file_name}: {count:,} {cells} held back, such as {example}" + (
            f" In all: {words}." if words else ""
        )
    column, _, code = reason.rpartition(": ")
    table = TABLE_BY_NAME.get(file.table_name or "")
    if table is not None and column in table.by_name:
        said = sentence_template(table, table.by_name[column], code).removeprefix(f"{column} ")
    else:
        said = REASONS.get(code, code).replace("{column}", column).replace("{allowed}", "fewer or more")
    said = said.replace("is {got}; ", "").replace("{got}", "what it holds")
    return f"{file.file_name}: {count:,} {cells} held back: {column or 'row'} {said}"


def _range(estimate: dict, kind: str, currency: str) -> str:
    """A value with its range. kind: rate, day (of the year) or money."""
    if estimate["value"] is None:
        return "not known"
    value, low, high = (_shown(estimate[key], kind) for key in ("value", "low", "high"))
    unit = f" {currency}" if kind == "money" and currency else ""
    is_exact = low is None or high is None or (low == value == high)
    return f"{value}{unit}" if is_exact else f"{value}{unit}  ({low} to {high})"


def _shown(number: float | None, kind: str) -> str | None:
    from dashboard import words

    if number is None:
        return None
    if kind == "day":
        return words.day_of_year(number)
    return f"{number:.1%}" if kind == "rate" else f"{number:,.0f}"


def print_figures(published: dict, currency: str = "") -> None:
    """The headline figures of the published form, each with its range, number of cases and coverage."""
    from rich.table import Table

    table = Table(title=f"Figures as of {published['as_of']}", title_justify="left")
    for name in ("figure", "value (95% range)", "cases", "share known"):
        table.add_column(name, justify="left" if name in ("figure", "value (95% range)") else "right")
    for name, estimate, kind in _headlines(published):
        coverage = "-" if estimate["coverage"] is None else f"{estimate['coverage']:.0%}"
        table.add_row(name, _range(estimate, kind, currency), f"{estimate['n']:,}", coverage)
    console = console_for()
    console.print(table)
    for why, names in _unknown(published).items():
        console.print(f"not known, {'; '.join(names)}: {why}", markup=False)
    n_corrections = published["coverage"]["n_corrections"]
    console.print(f"Corrections included: {n_corrections:,}.")
    console.print("cases: what the figure rests on; share known: how many of all that could have told did")
    flagged = sum(row["is_flagged"] for row in published["technicians"])
    listed = sum(row["is_flagged"] and not row["is_safety"] for row in published["sites"])
    safety = sum(row["is_safety"] for row in published["sites"])
    open_sites = sum(row["n_safety_open"] > 0 for row in published["sites"])
    console.print(f"Look here first: {flagged} technicians, {listed} sites. All figures: goodpull figures --json")
    console.print(f"Sites with a safety reason on record: {safety}, at {open_sites} of them still open.")
    console.print("For coaching; these figures must not decide pay or discipline.")


def _unknown(published: dict) -> dict[str, list[str]]:
    """Why figures are not known, each reason once with the figures it holds back."""
    out: dict[str, list[str]] = {}
    for name, estimate, _ in _headlines(published):
        if estimate["value"] is None and estimate.get("sentence"):
            out.setdefault(estimate["sentence"], []).append(name)
    return out


def _headlines(published: dict) -> Iterator[tuple[str, dict, str]]:
    good = published["good_switch_rate"]
    yield "good switches among clear bench results", good["tested"], "rate"
    yield "good switches, adjusted for who got tested", good["adjusted"], "rate"
    month = published["callbacks"]["windows"].get("30", {})
    for key, name in (("with_cause", "with a root cause"), ("without_cause", "without a root cause")):
        if key in month:
            yield f"callback within 30 days, {name}", month[key], "rate"
    for family in ("condensate", "blockage"):
        season = published["seasons"][family]
        peak = {"value": season["peak_day"], "low": season["peak_low"], "high": season["peak_high"]}
        cases = sum(month["n_faults"] for month in season["by_month"])
        yield f"{family} faults peak on", {**peak, "n": cases, "coverage": None, "sentence": season["sentence"]}, "day"
    for key in ("known", "estimated"):
        yield f"parts waste, {key}", published["waste"][key], "money"


def silence_pages() -> None:
    """Drop what the page library says where there is no page, for a command that reads as the pages do."""
    import streamlit.logger

    streamlit.logger.set_log_level(logging.CRITICAL)
