"""Figures saved beside the generation they were computed from."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import tempfile
from dataclasses import asdict
from functools import cache
from pathlib import Path
from typing import Any

import pyarrow

from models.figures import frozen
from models.figures.all import Figures, Progress, compute
from models.figures.callbacks import Callbacks
from models.figures.coaching_effect import CoachingEffect, MeasureEffect
from models.figures.control import ControlChart
from models.figures.good_switch import GoodSwitch
from models.figures.missing import Missing
from models.figures.seasons import Season
from models.figures.technicians import TechnicianFigures
from models.figures.waste import Waste
from models.methods.estimate import Estimate
from models.misdiagnosis.scores import Scores
from pipelines.store import StoreError

KINDS = (
    Figures, Estimate, GoodSwitch, Callbacks, Season, Scores, TechnicianFigures, ControlChart, Waste, CoachingEffect,
    MeasureEffect, Missing,
)  # fmt: skip
FRAME_NAMES = {
    "scores.swap_score": "swap_score",
    "scores.logit_draws": "swap_score_draws",
    "technicians.table": "technician",
    "sites": "site",
}
STAMP = "made_with.json"


def figures_for(store: Any, settings: Any, progress: Progress | None = None) -> Figures:
    """The figures of the generation in force: read from its sidecar folder, or computed and saved there.

    store: pipelines.store.Store. Raises StoreError when there is no generation. A sidecar made with other settings or
    by other figures code is made anew. Two processes may do so at once: each works in a folder of its own and puts it
    in place by renaming. Where the home cannot be written, the figures are computed and not kept.
    """
    path = store.current()
    if path is None:
        raise StoreError(f"No records in {store.home} yet. Load some with: goodpull load FOLDER")
    folder = path.with_suffix(".figures")
    made_with = stamp(settings)
    saved = _saved(folder, made_with)
    if saved is not None:
        return saved
    con = store.open_reader()
    try:
        figures = compute(con, settings, progress=progress)
    finally:
        con.close()
    _save(folder, made_with, figures)
    # Read back, so that a page shows the same whether or not it was the first to ask.
    return _saved(folder, made_with) or figures


def is_in_force(store: Any, settings: Any) -> bool:
    """Whether figures made with these settings and this code stand beside the generation in force."""
    path = store.current()
    return path is not None and _made_with(path.with_suffix(".figures")) == stamp(settings)


def stamp(settings: Any) -> dict[str, str]:
    """What the figures depend on beside the records: the settings and the code that computes them."""
    told = json.dumps(asdict(settings), sort_keys=True, default=str)
    return {"settings": hashlib.sha256(told.encode("utf-8")).hexdigest(), "code": _code()}


# The program does not change while it runs; reading its files for every figure would cost more than the figure.
@cache
def _code() -> str:
    code = hashlib.sha256()
    for package in ("figures", "methods", "misdiagnosis"):
        for file in sorted((Path(__file__).parents[1] / package).glob("*.py")):
            code.update(file.read_bytes())
    return code.hexdigest()


def _made_with(folder: Path) -> Any:
    try:
        return json.loads((folder / STAMP).read_text("utf-8"))
    except (OSError, ValueError):
        return None


def _saved(folder: Path, made_with: dict[str, str]) -> Figures | None:
    try:
        if _made_with(folder) != made_with:
            return None
        return frozen.read(folder, KINDS)
    except (OSError, ValueError, KeyError, TypeError, pyarrow.ArrowException):
        # Missing or damaged: it is made anew.
        return None


def _save(folder: Path, made_with: dict[str, str], figures: Figures) -> None:
    try:
        made = Path(tempfile.mkdtemp(prefix=f"{folder.name}.", dir=folder.parent))
    except OSError:
        return
    try:
        frozen.write(made, figures, frame_names=FRAME_NAMES)
        (made / STAMP).write_text(json.dumps(made_with), "utf-8")
        made.chmod(0o755)
        for _ in range(3):
            shutil.rmtree(folder, ignore_errors=True)
            try:
                os.replace(made, folder)
                return
            except OSError:
                # Another process put its own in place between the two steps.
                continue
    except OSError:
        return
    finally:
        shutil.rmtree(made, ignore_errors=True)
