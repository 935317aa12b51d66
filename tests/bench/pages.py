"""What a reader waits for, page by page, in a real browser over a home that is there; and many readers at once.

    python tests/bench/pages.py --home FOLDER
    python tests/bench/pages.py --home FOLDER --sessions 20
    python tests/bench/pages.py --home FOLDER --walk

The page server is started as `goodpull open` starts it, on loopback. Each page's filters are measured on a server of
its own, so that no choice was worked out for another page before. The technician's own sheet is opened by the
technician with the most draft faults, signed in with a provider on loopback; the home is not changed by it.
With --walk nothing is measured: every page is opened, and every section, tab and window of it, and any error told.

Each table has the bar and whether it was met. Exit code: 0 all bars met, 3 a bar missed, a reader with an error or a
walk that met one; a page that cannot be measured ends the command with 1.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import statistics
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

import page_timing
import page_walk
import psutil
import served_pages
import session_walk
import signing_in
import waiting_bars as bars

from dashboard import working_ahead

MISSED = 3


@dataclass
class Memory:
    """Peak memory of the server and all its children, in GB."""

    peak_gb: float = 0.0


@dataclass
class Measured:
    """Everything one run of the command found."""

    waits: list[page_timing.Wait] = field(default_factory=list)
    cold: list[page_timing.Wait] = field(default_factory=list)
    peak_gb: float = 0.0
    sessions: dict[str, Any] = field(default_factory=dict)
    bars: list[bars.Bar] = field(default_factory=list)


@contextmanager
def watched_server(home: Path, port: int | None = None) -> Iterator[tuple[str, Memory]]:
    """The pages served over the home, and the peak of the server's memory, looked at ten times a second."""
    memory, is_over = Memory(), threading.Event()
    before = {child.pid for child in psutil.Process().children()}
    # As `goodpull open` serves them: with figures of the parts most asked for worked out ahead.
    with served_pages.served(home, port, {working_ahead.SWITCH: "on"}) as address:
        listening = address.rsplit(":", 1)[1]
        server = next(
            child
            for child in psutil.Process().children()
            if child.pid not in before and f"--server.port={listening}" in child.cmdline()
        )
        watcher = threading.Thread(target=_watch, args=(server, memory, is_over), daemon=True)
        watcher.start()
        try:
            yield address, memory
        finally:
            is_over.set()
            watcher.join()


def _watch(server: psutil.Process, memory: Memory, is_over: threading.Event) -> None:
    while not is_over.wait(0.1):
        memory.peak_gb = max(memory.peak_gb, _used_gb(server))


def _used_gb(server: psutil.Process) -> float:
    total = 0
    try:
        for process in (server, *server.children(recursive=True)):
            try:
                total += process.memory_info().rss
            except psutil.Error:
                continue
    except psutil.Error:
        return 0.0
    return total / 1e9


@contextmanager
def readers(home: Path, page: str) -> Iterator[tuple[Any, str, Any, Memory]]:
    """A server of its own for this page, with a browser, its address, and what a context needs to be its reader."""
    if page not in served_pages.OWN_PAGES:
        with watched_server(home) as (address, memory), served_pages.browser() as browser:
            yield browser, address, None, memory
        return
    with (
        signing_in.for_technician(home) as (other, port, provider),
        watched_server(other, port) as (address, memory),
        served_pages.browser() as browser,
    ):
        yield browser, address, signing_in.state_of(browser, address, provider), memory


def measure_pages(home: Path, pages: list[str], repeats: int, found: Measured) -> None:
    """First paint of every page, warm; the very first visit of a server apart."""
    together = [page for page in pages if page not in served_pages.OWN_PAGES]
    for group in (together, *([page] for page in pages if page not in together)):
        if not group:
            continue
        with readers(home, group[0]) as (browser, address, state, memory):
            found.cold.append(page_timing.visit(browser, address, group[0], bars.AFTER_START, state))
            for page in group:
                page_timing.visit(browser, address, page, state=state)
            for page in group:
                found.waits += [page_timing.visit(browser, address, page, state=state) for _ in range(repeats)]
        found.peak_gb = max(found.peak_gb, memory.peak_gb)


def measure_filters(home: Path, pages: list[str], choices: int, found: Measured) -> None:
    """Filter changes of every page that has filters, each page on a server of its own."""
    for page in pages:
        with readers(home, page) as (browser, address, state, memory):
            page_timing.visit(browser, address, page, state=state)
            found.waits += page_timing.filter_changes(browser, address, page, choices, state)
        found.peak_gb = max(found.peak_gb, memory.peak_gb)


def walk(home: Path, pages: list[str]) -> list[str]:
    """Open everything there is to open on these pages. Returns what was met with, a line each."""
    met = []
    for page in pages:
        with readers(home, page) as (browser, address, state, _):
            walked = page_walk.walk(browser, address, page, state)
        print(f"{page}: {walked.told()}", flush=True)
        met += walked.errors
    return met


def measure_sessions(home: Path, sessions: int, seconds: float, found: Measured) -> None:
    """Many readers at once for a bounded time."""
    with watched_server(home) as (address, memory):
        started = time.monotonic()
        told = asyncio.run(session_walk.walk(address, sessions, seconds))
        told |= {"sessions": sessions, "seconds": round(time.monotonic() - started, 1)}
    found.sessions = told | {"peak_gb": round(memory.peak_gb, 2)}


def summary(waits: list[page_timing.Wait]) -> list[dict[str, Any]]:
    """One row per page and what was waited for: how often, median and worst, in seconds."""
    groups: dict[tuple[str, str], list[page_timing.Wait]] = {}
    for wait in waits:
        groups.setdefault((wait.page, wait.what), []).append(wait)
    return [
        {
            "page": page,
            "what": what,
            "n": len(group),
            "answer_median": statistics.median(wait.answered for wait in group),
            "answer_worst": max(wait.answered for wait in group),
            "whole_median": statistics.median(wait.whole for wait in group),
            "whole_worst": max(wait.whole for wait in group),
        }
        for (page, what), group in groups.items()
    ]


def print_table(rows: list[dict[str, Any]]) -> None:
    """The rows of `summary` as a table, each with its bar."""
    print("\n| page | waited for | n | answer, median s | worst | whole page, median s | worst | bar | met |")
    print("|---|---|---|---|---|---|---|---|---|")
    for row in rows:
        numbers = (row[name] for name in ("answer_median", "answer_worst", "whole_median", "whole_worst"))
        most = bars.of_wait(row["what"])
        judged = "- | -" if most is None else f"{most:g} | {'yes' if row['answer_median'] <= most else 'NO'}"
        print(
            f"| {row['page']} | {row['what']} | {row['n']} | {' | '.join(f'{one:.2f}' for one in numbers)} | {judged} |"
        )


def overall(waits: list[page_timing.Wait]) -> list[dict[str, Any]]:
    """The medians over all pages: first paint, any single filter new to the server, and the others by name."""
    single = {title.lower() for title in page_timing.FILTERS}
    return summary(
        [
            page_timing.Wait("all pages", "one filter" if one.what in single else one.what, one.answered, one.whole)
            for one in waits
        ]
    )


def measure_all(options: argparse.Namespace, pages: list[str], found: Measured) -> None:
    """First paints and changes of filters, their tables, and the bars they are held against."""
    print(bars.MEANING)
    measure_pages(options.home, pages, options.repeats, found)
    print_table(summary(found.cold + found.waits))
    measure_filters(options.home, [page for page in pages if page in page_timing.SCOPED], options.choices, found)
    print_table(summary([wait for wait in found.waits if wait.what != bars.FIRST_PAINT]))
    print_table(overall(found.waits))
    print(f"\npeak memory of the server and its children: {found.peak_gb:.2f} GB, bar {bars.MEMORY_GB:g} GB")
    found.bars = bars.of_pages(summary(found.waits), found.peak_gb)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--home", type=Path, required=True, help="a home with records; figures are made if missing")
    parser.add_argument("--page", action="append", choices=list(served_pages.TITLES), help="only this; may be repeated")
    parser.add_argument("--repeats", type=int, default=5, help="visits of each page")
    parser.add_argument("--choices", type=int, default=2, help="choices of each filter")
    parser.add_argument("--sessions", type=int, default=0, help="so many readers at once, instead of one by one")
    parser.add_argument("--seconds", type=float, default=60.0, help="how long they walk")
    parser.add_argument("--walk", action="store_true", help="open everything on every page, instead of measuring")
    parser.add_argument("--json", type=Path, help="also write everything measured here")
    options = parser.parse_args()
    found, pages = Measured(), options.page or list(served_pages.TITLES)
    if options.walk:
        met = walk(options.home, pages)
        print("\n".join(met) or "No error on any page.")
        return MISSED if met else 0
    if options.sessions:
        measure_sessions(options.home, options.sessions, options.seconds, found)
        print("\n".join(f"{name}: {value}" for name, value in found.sessions.items()))
        found.bars = bars.of_sessions(found.sessions)
    else:
        measure_all(options, pages, found)
    print(bars.verdict(found.bars))
    if options.json:
        options.json.write_text(json.dumps(asdict(found), indent=1), "utf-8")
    return 0 if all(bar.is_met for bar in found.bars) else MISSED


if __name__ == "__main__":
    sys.exit(main())
