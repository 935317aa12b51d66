"""What the case mix leads one to expect of a draft fault, cross-fitted so that nobody sets their own benchmark."""

from __future__ import annotations

import duckdb
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import special

from models.figures.scope import Scope
from models.methods.case_mix_slopes import cross_fitted_slopes
from models.misdiagnosis.design import encoding_of, select_list
from models.misdiagnosis.features import CASE_MIX

N_FOLDS = 5
N_STEPS = 30


def draft_faults(con: duckdb.DuckDBPyConnection, scope: Scope, more_columns: str = "") -> pd.DataFrame:
    """One row per draft fault of the scope with its case-mix features and a number `cell` shared by like cases.

    more_columns: further columns of draft_fault d, "d.a, d.b". Ordered by draft_fault_id.
    """
    condition, values = scope.where("arrived_on")
    names = [feature.name for feature in CASE_MIX]
    listed = ", ".join(f'f."{name}"' for name in names)
    extra = f", {more_columns}" if more_columns else ""
    return con.execute(
        f"""
        SELECT d.draft_fault_id, d.technician_id, d.site_id, d.arrived_on{extra}, f.* EXCLUDE (draft_fault_id),
            dense_rank() OVER (ORDER BY {listed}) - 1 AS cell
        FROM draft_fault d JOIN (SELECT draft_fault_id, {select_list(CASE_MIX)} FROM draft_fault WHERE {condition}) f
            USING (draft_fault_id)
        ORDER BY d.draft_fault_id""",
        values,
    ).df()


def expected_rate(
    frame: pd.DataFrame, hits: NDArray, unit: NDArray | None, weight: NDArray | None = None
) -> NDArray[np.float64]:
    """Expected share of hits per row, from its case mix.

    frame: as `draft_faults` gives. hits: in [0, 1] (may be fractional), shape (n_rows,). unit: integer codes of
    technicians: what the case mix does is then learned without the row's fold (5 folds of whole units), and the level
    from all units but the row's own. None: one fit. weight: how far each row could be a hit at all, hits <= weight <= 1;
    1 where not given.
    Returns shape (n_rows,), in (0, 1): hits per weight. Where hits are of one kind only, their smoothed mean.
    """
    if frame.empty:
        return np.empty(0)
    y = np.asarray(hits, dtype=float)
    w = np.ones(y.size) if weight is None else np.maximum(np.asarray(weight, dtype=float), y)
    if y.sum() <= 0 or y.sum() >= w.sum():
        return np.full(y.size, (y.sum() + 0.5) / (w.sum() + 1))
    cell = frame["cell"].to_numpy(int)
    first = np.full(int(cell.max()) + 1, -1)
    first[cell[::-1]] = np.arange(len(frame))[::-1]
    encoding = encoding_of(frame, CASE_MIX)
    x = encoding.matrix(frame.iloc[first])
    block = np.ravel(np.unique([name.split(" = ", 1)[0] for name in encoding.names], return_inverse=True)[1])
    code = np.zeros(y.size, dtype=int) if unit is None else np.asarray(unit)
    fold = code % N_FOLDS
    slopes = cross_fitted_slopes(x, cell, y, w, code, fold, block)
    return _levelled((slopes @ x.T)[fold, cell], y, w, code)


def _levelled(logit: NDArray, y: NDArray, weight: NDArray, unit: NDArray) -> NDArray[np.float64]:
    """Shares with the level at which those of all other units add up to their hits (of all, where there is one unit)."""
    level = special.logit((y.sum() + 0.5) / (weight.sum() + 1))
    for _ in range(N_STEPS):
        p = special.expit(level + logit)
        step = (y - weight * p).sum() / (weight * p * (1 - p)).sum()
        level += np.clip(step, -2, 2)
        if abs(step) < 1e-10:
            break
    p = special.expit(level + logit)
    error, spread = (
        np.bincount(unit, weights=weight * value) for value in (y / np.maximum(weight, 1e-12) - p, p * (1 - p))
    )
    others = spread.sum() - spread
    is_alone = others <= 1e-9 * spread.sum()
    moved = np.clip((error.sum() - error) / np.where(is_alone, 1.0, others), -2, 2)
    return special.expit(level + np.where(is_alone, 0.0, moved)[unit] + logit)
