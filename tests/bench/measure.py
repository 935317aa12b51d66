"""Load, build and figures on a big fleet, against a plain DuckDB read of the same files in the same run.

    python tests/bench/measure.py --visits 1000000 --visits 5000000

Every step runs in a process of its own, so that its wall time and peak memory are its own. The floor is
`CREATE TABLE AS SELECT * FROM read_csv(...)` of every file into a new DuckDB file. Nothing here passes or fails:
it prints a table.
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

FLOOR = """
import sys, duckdb
from pathlib import Path
records, target = Path(sys.argv[1]), sys.argv[2]
con = duckdb.connect(target, config={"memory_limit": "3GB"})
con.execute("SET preserve_insertion_order = false")
for table in sorted({path.stem.rsplit("-", 1)[0] for path in records.glob("*.csv")}):
    files = sorted(str(path) for path in records.glob(table + "*.csv")
                   if path.stem == table or path.stem.rsplit("-", 1)[0] == table)
    con.execute(f'CREATE TABLE "{table}" AS SELECT * FROM read_csv(?, union_by_name=true)', [files])
con.close()
"""

GENERATE = """
import sys
from pathlib import Path
from synthetic_data.generate import generate
generate(Path(sys.argv[1]), seed=1, visits=int(sys.argv[2]))
"""

LOAD = """
import sys
from pathlib import Path
from pipelines.loading import load
report = load(Path(sys.argv[1]), [Path(sys.argv[2])])
assert report.is_changed, report
refused = [file for file in report.files if file.error]
assert not refused, refused
for file in report.files:
    assert file.n_rows == file.n_accepted + file.n_held_back + file.n_duplicates, file
"""

FIGURES = """
import sys
from pathlib import Path
from models.figures.sidecar import figures_for
from pipelines.settings import Settings
from pipelines.store import Store
home = Path(sys.argv[1])
figures_for(Store(home), Settings.load(home))
"""

PAGES = """
import sys, time
from pathlib import Path
from streamlit import config
from streamlit.testing.v1 import AppTest
config.set_option("server.address", "127.0.0.1")
app = Path(sys.argv[2])
for page in sys.argv[3:]:
    tester = AppTest.from_file(str(app), default_timeout=60)
    tester.run()
    started = time.perf_counter()
    tester.switch_page(page).run()
    assert not tester.exception, tester.exception
    print(f"{page}\\t{time.perf_counter() - started:.3f}", flush=True)
"""


# The visits of the last seven days and all their rows into one folder, a file a table as a weekly export would be; the
# rest into another.
SPLIT = """
import os, sys, duckdb
from pathlib import Path
records, base, week = map(Path, sys.argv[1:4])
con = duckdb.connect(config={"memory_limit": "3GB"})
base.mkdir()
week.mkdir()
con.execute('''CREATE TABLE late AS WITH v AS (
    SELECT visit_id, try_cast(left(arrived_at, 10) AS DATE) AS day
    FROM read_csv(?, all_varchar = true, union_by_name = true, ignore_errors = true))
    SELECT DISTINCT visit_id FROM v WHERE day < DATE '2027-01-01'
    AND day > (SELECT max(day) FROM v WHERE day < DATE '2027-01-01') - 7''',
    [[str(path) for path in records.glob("visits*.csv")]])
late = {}
for path in sorted(records.glob("*.csv")):
    columns = [row[0] for row in con.execute("DESCRIBE FROM read_csv(?, all_varchar = true)", [str(path)]).fetchall()]
    if "visit_id" not in columns or path.stem.startswith("bench_tests"):
        os.link(path, base / path.name)
        continue
    late.setdefault(path.stem.rsplit("-", 1)[0], []).append(str(path))
    con.execute(f"COPY (SELECT * FROM read_csv(?, all_varchar = true) WHERE visit_id NOT IN (FROM late)) "
                f"TO '{base / path.name}' (HEADER)", [str(path)])
for table, paths in late.items():
    con.execute(f"COPY (SELECT * FROM read_csv(?, all_varchar = true, union_by_name = true) "
                f"WHERE visit_id IN (FROM late)) TO '{week / table}.csv' (HEADER)", [paths])
"""


@dataclass(frozen=True)
class Run:
    """One step: wall seconds, peak memory in GB, what it printed."""

    seconds: float
    peak_gb: float
    printed: str


def run(code: str, *args: object, environment: dict[str, str] | None = None) -> Run:
    """Run Python code in a process of its own. Raises RuntimeError with its output when it fails."""
    started = time.perf_counter()
    with tempfile.TemporaryFile() as output:
        child = subprocess.Popen(
            [sys.executable, "-c", code, *map(str, args)],
            stdout=output,
            stderr=subprocess.STDOUT,
            env=os.environ | (environment or {}),
        )
        _, status, usage = os.wait4(child.pid, 0)
        seconds = time.perf_counter() - started
        output.seek(0)
        printed = output.read().decode("utf-8", "replace")
    if status:
        raise RuntimeError(f"exit status {status}:\n{printed[-4000:]}")
    return Run(seconds, usage.ru_maxrss / 1e6, printed)


def measure(visits: int, folder: Path) -> None:
    """Generate once, then measure every step and print one table."""
    fleet = folder / f"fleet-{visits}"
    if not (fleet / "records").exists():
        made = run(GENERATE, fleet, visits)
        print(f"generated {visits:,} visits in {made.seconds:.0f} s, peak {made.peak_gb:.2f} GB", flush=True)
    work = Path(tempfile.mkdtemp(dir=folder))
    try:
        run(SPLIT, fleet / "records", work / "base", work / "week")
        size = sum(path.stat().st_size for path in (work / "base").iterdir()) / 1e9
        print(f"\n{visits:,} visits, {size:.2f} GB of CSV\n", flush=True)
        print("| step | seconds | x floor | peak GB |\n|---|---|---|---|", flush=True)
        floor = run(FLOOR, work / "base", work / "floor.duckdb")
        row("floor: plain DuckDB read", floor, floor)
        home = work / "home"
        whole = run(LOAD, home, work / "base")
        row("load + build", whole, floor)
        row("floor again", run(FLOOR, work / "base", work / "floor2.duckdb"), floor)
        row("figures", run(FIGURES, home), floor)
        added = run(LOAD, home, work / "week")
        row(f"one week more ({added.seconds / whole.seconds:.1%} of load + build)", added, floor)
        row("figures again", run(FIGURES, home), floor)
        pages(home)
    finally:
        shutil.rmtree(work, ignore_errors=True)


def row(name: str, step: Run, floor: Run) -> None:
    """Print one line of the table."""
    print(f"| {name} | {step.seconds:.1f} | {step.seconds / floor.seconds:.2f} | {step.peak_gb:.2f} |", flush=True)


def pages(home: Path) -> None:
    """Server time of every page on that store, figures already computed, in a fresh process and session each."""
    import dashboard

    app = Path(dashboard.__path__[0]) / "app.py"
    # The page of a technician's own sheet is not there for the manager, as whom a page without sign-in is read.
    views = sorted(path.name for path in (app.parent / "views").glob("[a-z]*.py"))
    names = [f"views/{name}" for name in views if name != "own_sheet.py"]
    timed = run(PAGES, home, app, *names, environment={"GOODPULL_HOME": str(home)})
    print("\n| page | server seconds |\n|---|---|")
    for line in timed.printed.splitlines():
        name, _, seconds = line.partition("\t")
        if seconds:
            print(f"| {name} | {seconds} |")
    print(f"\npeak memory of the page process: {timed.peak_gb:.2f} GB")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--visits", type=int, action="append", help="about how many visits; may be given twice")
    parser.add_argument("--folder", type=Path, help="where to keep the generated fleets; default: a temporary folder")
    options = parser.parse_args()
    folder = options.folder or Path(tempfile.mkdtemp(prefix="goodpull-bench-"))
    folder.mkdir(parents=True, exist_ok=True)
    print(f"files in {folder}", flush=True)
    for visits in options.visits or [1_000_000]:
        measure(visits, folder)


if __name__ == "__main__":
    main()
