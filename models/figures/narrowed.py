"""Figures of a part of the fleet: worked out when asked for, or ahead for the parts most asked for.

Kept beside the generation, in the folder of the whole fleet's figures, and gone with it. A part is one named period,
one region or one kind of appliance: few, and each a large share of the records. A branch is not among them: there can
be hundreds, and each is small enough to be worked out when it is asked for.
"""

from __future__ import annotations

import hashlib
import logging
import os
import shutil
import tempfile
from collections.abc import Callable
from dataclasses import asdict, dataclass, field, replace
from functools import partial
from pathlib import Path
from typing import Any

import duckdb
import numpy as np
import pyarrow
from threadpoolctl import threadpool_limits

from models.figures import frozen, sidecar
from models.figures.all import Figures
from models.figures.callbacks import callbacks
from models.figures.control import control
from models.figures.coverage import coverage
from models.figures.good_switch import GROUPINGS, rate_of, rates_by
from models.figures.missing import Missing, missing
from models.figures.missing_counts import more_tests_by_stratum
from models.figures.periods import PERIODS, period_dates
from models.figures.pulls import Pulls, good_pulls
from models.figures.scope import Scope
from models.figures.seasons import seasons
from models.figures.sites import sites
from models.figures.strata import swaps_for_rate
from models.figures.technicians import technicians
from models.figures.waste import estimated_waste, waste
from models.methods.estimate import Estimate

FOLDER = "narrowed"
# Regions come as the company names them. Where they are many, as postcodes are, each is small, and all would fill the disk.
MOST_OF_EACH = 20

log = logging.getLogger("goodpull")


@dataclass
class Part:
    """One part of the fleet, and what several of its figures rest on, worked out once.

    reader: gives a connection to the generation, one for each use. whole: the whole store's figures. Randomness starts anew
    for every family, from settings.random_seed, so that a figure does not hang on which others came before it.
    wider: gives a family of a wider scope, where it is kept; for those that not every filter narrows.
    """

    reader: Callable[[], duckdb.DuckDBPyConnection]
    scope: Scope
    settings: Any
    whole: Figures
    wider: Callable[[str, Scope], Any] | None = None
    _swaps: Any = None
    _pulls: Pulls | None = None
    _made: dict[str, Any] = field(default_factory=dict)

    @property
    def con(self) -> duckdb.DuckDBPyConnection:
        return self.reader()

    @property
    def rng(self) -> np.random.Generator:
        return np.random.default_rng(int(self.settings.random_seed))

    @property
    def swaps(self) -> Any:
        if self._swaps is None:
            self._swaps = swaps_for_rate(self.con, self.scope, self.settings)
        return self._swaps

    @property
    def pulls(self) -> Pulls:
        if self._pulls is None:
            self._pulls = good_pulls(self.con, self.scope, self.whole.scores)
        return self._pulls

    @property
    def estimated_waste(self) -> Estimate:
        if "waste" in self._made:
            return self._made["waste"].estimated
        return estimated_waste(self.con, self.scope, self.settings, self.whole.scores, self.rng)

    def figures(self, name: str) -> Any:
        """A family of figures of this part, worked out once."""
        if name not in self._made:
            self._made[name] = self._found(name)
        return self._made[name]

    def _found(self, name: str) -> Any:
        scope = narrowing(name, self.scope)
        if scope.is_everything:
            return getattr(self.whole, name)
        if scope != self.scope and self.wider is not None:
            return self.wider(name, scope)
        return FAMILIES[name](self)


def _rates_by(part: Part, by: str) -> dict[str, Any]:
    return {by: rates_by(part.swaps, by)}


def _missing(part: Part) -> Missing:
    covered, good, came_back, year = map(part.figures, ("coverage", "good_switch", "callbacks", "seasons"))
    testing = more_tests_by_stratum(part.swaps)
    return missing(part.con, part.scope, part.settings, covered, testing, good, came_back, year, part.estimated_waste)


# In the order in which pages ask for them.
FAMILIES: dict[str, Callable[[Part], Any]] = {
    "coverage": lambda part: coverage(part.con, part.scope, part.whole.coverage),
    "control": lambda part: control(part.con, part.scope, part.settings),
    "good_switch": lambda part: rate_of(part.swaps),
    "callbacks": lambda part: callbacks(part.con, part.scope, part.settings, part.whole.callback_chains),
    "technicians": lambda part: technicians(
        part.con, part.scope, part.settings, part.whole.scores, part.rng, part.pulls
    ),
    "waste": lambda part: waste(part.con, part.scope, part.settings, part.whole.scores, part.rng, part.pulls),
    "sites": lambda part: sites(part.con, part.scope, part.settings, part.whole.safety_items),
    "seasons": lambda part: seasons(part.con, part.scope, part.settings, part.rng),
    "missing": _missing,
    **{f"good_switch_by_{by}": partial(_rates_by, by=by) for by in GROUPINGS},
}


def narrowing(name: str, scope: Scope) -> Scope:
    """The scope as far as it narrows a family of figures: seasons are counted by region, whatever branch or appliance."""
    return replace(scope, branch=None, appliance_kind=None) if name == "seasons" else scope


def frequent_scopes(con: duckdb.DuckDBPyConnection, settings: Any) -> list[Scope]:
    """The parts worked out ahead: each named period, the largest regions and kinds of appliance, by themselves."""
    first_on, last_on = con.execute("SELECT min(arrived_on), max(arrived_on) FROM visit").fetchone() or (None, None)
    if last_on is None:
        return []
    month = int(settings.season_starts_month)
    spans = [period_dates(period, first_on, last_on, month) for period in reversed(PERIODS)]
    regions, kinds = (
        [
            name
            for (name,) in con.execute(
                f"SELECT {column} FROM visit WHERE {column} <> '' GROUP BY {column} ORDER BY count(*) DESC, {column} "
                f"LIMIT {MOST_OF_EACH}"
            ).fetchall()
        ]
        for column in ("region", "appliance_kind")
    )
    return [
        *(Scope(start_on=start_on, end_on=end_on) for start_on, end_on in spans),
        *(Scope(region=name) for name in regions),
        *(Scope(appliance_kind=name) for name in kinds),
    ]


def saved(store: Any, settings: Any, scope: Scope, name: str) -> Any:
    """A family of figures of a part as it was kept, or None: not worked out yet, by other settings or another program."""
    path = store.current()
    folder = _folder(path, settings, scope, name) if path is not None else None
    if folder is None or not folder.is_dir():
        return None
    try:
        return frozen.read(folder, sidecar.KINDS)
    except (OSError, ValueError, KeyError, TypeError, pyarrow.ArrowException):
        return None


def is_saved(store: Any, settings: Any, scope: Scope, name: str) -> bool:
    """Whether `saved` has something to read."""
    path = store.current()
    return path is not None and _folder(path, settings, scope, name).is_dir()


# One thread in sums of products: the same digits on any number of cores.
@threadpool_limits.wrap(limits=1, user_api="blas")
def work_ahead(store: Any, settings: Any, con: duckdb.DuckDBPyConnection, path: Path) -> int:
    """Work out and keep what is missing of every frequent scope. Returns how many families of figures it made.

    con: a reader of the generation at `path`. Needs the whole fleet's figures beside it; without them there is nothing to
    do. A family found there is left as it is, so that it goes on where it was broken off. It ends when another generation
    comes into force.
    """
    if not sidecar.is_in_force(store, settings):
        return 0
    whole, n = sidecar.figures_for(store, settings), 0
    for scope in frequent_scopes(con, settings):
        part = Part(con.cursor, scope, settings, whole)
        for name in FAMILIES:
            folder = _folder(path, settings, scope, name)
            if store.current() != path:
                return n
            if narrowing(name, scope).is_everything or folder.is_dir():
                continue
            try:
                figures = part.figures(name)
            except (duckdb.Error, MemoryError) as error:
                # Too large for what it may take, most likely: that one is left to the pages, the others are not.
                log.warning("%s of %s is not worked out ahead: %s", name, scope, error)
                continue
            _save(folder, figures)
            n += 1
    return n


def _folder(path: Path, settings: Any, scope: Scope, name: str) -> Path:
    stamp = sorted(sidecar.stamp(settings).items())
    told = hashlib.sha256(repr((stamp, sorted(asdict(narrowing(name, scope)).items()))).encode("utf-8"))
    return path.with_suffix(".figures") / FOLDER / f"{name}-{told.hexdigest()[:24]}"


def _save(folder: Path, figures: Any) -> None:
    """Into a folder of its own first, so that a reader sees all of it or nothing. What cannot be kept is left."""
    made = None
    try:
        if folder.parent.parent.is_dir():
            folder.parent.mkdir(exist_ok=True)
        made = Path(tempfile.mkdtemp(prefix=".", dir=folder.parent))
        frozen.write(made, figures)
        made.chmod(0o755)
        os.replace(made, folder)
    except OSError:
        return
    finally:
        if made is not None:
            shutil.rmtree(made, ignore_errors=True)
