"""The long form: many whole fleets and many thousand trials with known truth, judged against what is promised.

    python tests/recovery/long_form.py --fleets 500 --workers 2

Each fleet is one line of JSON, appended to --out as it is done; run again, the command goes on where it stopped. Lines
made by other code or of another size do not count: they stay in the file and are passed over. Beside the usual fleets,
a fifth as many in which nobody is weak, and as many in which testing depended on the result. At the end the table is
written to models/evidence/recovery.json, which the Method page shows; with under 100 fleets only if --table names a
place.
"""

from __future__ import annotations

import argparse
import hashlib
import importlib
import json
import multiprocessing
import os
import sys
import tempfile
import time
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor, as_completed
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

# Before numpy comes in: workers share the cores among themselves.
for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(name, "1")

ROOT = Path(__file__).resolve().parents[2]
TABLE = ROOT / "models" / "evidence" / "recovery.json"
# What a fleet's line depends on.
CODE = ("pipelines", "models", "synthetic_data", "tests/recovery/fleets.py", "tests/recovery/long_run.py")
FIRST_SEED = {"usual": 1001, "no_weak": 100_001, "by_result": 200_001}
FEWEST_FOR_TABLE = 100
# Trials by the name of their module; each has `rows(rng, n_trials)` giving rows of the table. One that is not there is
# named in the table as not run.
TRIALS = {"trials": 2_000, "technician_trials": 8_000}


def main(arguments: list[str] | None = None) -> int:
    given = _parsed(arguments)
    started = time.perf_counter()
    wanted = list(jobs(given.fleets))
    stamp = stamp_of(given.visits)
    done = read(given.out, stamp)
    missing = [job for job in wanted if job not in done]
    print(f"{len(wanted)} fleets wanted, {len(wanted) - len(missing)} already in {given.out}", flush=True)
    _run(missing, given, stamp)
    fleets = [found for job, found in read(given.out, stamp).items() if job in set(wanted)]
    rows = judged(fleets, given.trials)
    table = {
        "made_on": datetime.now(UTC).date().isoformat(),
        "n_fleets": sum(found["kind"] == "usual" for found in fleets),
        "visits_per_fleet": given.visits,
        "command": f"python tests/recovery/long_form.py --fleets {given.fleets}",
        "rows": rows,
    }
    for one in rows:
        print(f"{'held' if one['is_held'] else 'NOT '} {one['value']:9.4f} +- {one['error']:.4f}  n={one['n']:<7} {one['what']} ({one['bar']})")  # fmt: skip
    place = given.table or (TABLE if given.fleets >= FEWEST_FOR_TABLE else None)
    if place is not None:
        place.write_text(json.dumps(table, indent=1) + "\n", "utf-8")
        print(f"wrote {place}")
    print(f"{time.perf_counter() - started:.0f} s")
    return 0


def _parsed(arguments: list[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--fleets", type=int, default=500, help="usual fleets")
    parser.add_argument("--workers", type=int, default=2, help="processes")
    parser.add_argument("--visits", type=int, default=20_000, help="visits of a fleet")
    parser.add_argument("--out", type=Path, default=Path(tempfile.gettempdir()) / "goodpull-recovery.jsonl")
    parser.add_argument("--table", type=Path, help="where the table is written")
    parser.add_argument("--trials", type=float, default=1.0, help="share of the trials on arrays, 0 = none")
    return parser.parse_args(arguments)


def jobs(n_fleets: int) -> Iterator[tuple[str, int]]:
    """Kind and seed of every fleet."""
    for kind, first in FIRST_SEED.items():
        for number in range(n_fleets if kind == "usual" else n_fleets // 5):
            yield kind, first + number


def stamp_of(visits: int) -> str:
    """What tells results of this code and this size of fleet from others."""
    told = hashlib.sha256(str(visits).encode())
    for place in CODE:
        path = ROOT / place
        for file in [path] if path.is_file() else sorted([*path.rglob("*.py"), *path.rglob("*.sql")]):
            told.update(file.read_bytes())
    return told.hexdigest()[:16]


def read(out: Path, stamp: str) -> dict[tuple[str, int], dict[str, Any]]:
    """The fleets done so far by this code; a line cut short by a stop is passed over."""
    found = {}
    for line in out.read_text("utf-8").splitlines() if out.exists() else []:
        try:
            fleet = json.loads(line)
        except ValueError:
            continue
        if fleet.get("stamp") == stamp:
            found[fleet["kind"], fleet["seed"]] = fleet
    return found


def _run(missing: list[tuple[str, int]], given: argparse.Namespace, stamp: str) -> None:
    if not missing:
        return
    started = time.perf_counter()
    spawn = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(given.workers, mp_context=spawn) as pool, given.out.open("a", encoding="utf-8") as file:
        # A line cut short by a stop must not run into the next one.
        if file.tell():
            file.write("\n")
        waiting = [pool.submit(one_fleet, kind, seed, given.visits) for kind, seed in missing]
        for number, future in enumerate(as_completed(waiting), start=1):
            file.write(json.dumps({"stamp": stamp, **future.result()}) + "\n")
            file.flush()
            if number % 20 == 0 or number == len(missing):
                left = (time.perf_counter() - started) / number * (len(missing) - number)
                print(f"{number} of {len(missing)} fleets, about {left / 60:.0f} minutes left", flush=True)


def one_fleet(kind: str, seed: int, visits: int) -> dict[str, Any]:
    """A fleet through files, loading and figures, and what its figures would be in the long run."""
    from fleets import KINDS, fleet
    from long_run import long_run

    found = fleet(seed, visits, kind)
    found["long_run"] = long_run(seed, KINDS[kind]().scaled(visits))
    return found


def judged(fleets: list[dict[str, Any]], share: float) -> list[dict[str, Any]]:
    """All rows: of the fleets, then of the trials."""
    import numpy as np
    from bars import all_rows

    rows = all_rows(fleets)
    for place, (name, n_trials) in enumerate(TRIALS.items()):
        if not (Path(__file__).parent / f"{name}.py").exists():
            print(f"{name}: not there, so none of its rows", flush=True)
            continue
        n = round(share * n_trials)
        if n:
            rows += importlib.import_module(name).rows(np.random.default_rng([2026, place]), n)
    return rows


if __name__ == "__main__":
    sys.exit(main())
