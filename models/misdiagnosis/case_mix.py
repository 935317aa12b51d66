"""What the case mix leads one to expect of a draft fault, cross-fitted so that nobody sets their own benchmark."""

from __future__ import annotations

import duckdb
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import special

from models.figures.scope import Scope
from models.misdiagnosis.classifier import fit_logistic
from models.misdiagnosis.design import encoding_of, select_list
from models.misdiagnosis.features import CASE_MIX

N_FOLDS = 5


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


def expected_rate(frame: pd.DataFrame, hits: NDArray, unit: NDArray | None) -> NDArray[np.float64]:
    """Expected share of hits per row, from its case mix.

    frame: as `draft_faults` gives. hits: in [0, 1] (may be fractional), shape (n_rows,). unit: integer codes of
    technicians;
    the expectation of a row then comes from a fit without its unit's fold (5 folds of whole units). None: one fit.
    Returns shape (n_rows,), in (0, 1). Where a fit sees hits of one kind only, its smoothed mean.
    """
    if frame.empty:
        return np.empty(0)
    fold = np.zeros(len(frame), dtype=int) if unit is None else np.asarray(unit) % N_FOLDS
    n_folds = 1 if unit is None else N_FOLDS
    cell = frame["cell"].to_numpy(int)
    n_cells = int(cell.max()) + 1
    first = np.full(n_cells, -1)
    first[cell[::-1]] = np.arange(len(frame))[::-1]
    x = encoding_of(frame, CASE_MIX).matrix(frame.iloc[first])
    total = np.bincount(fold * n_cells + cell, minlength=n_folds * n_cells).reshape(n_folds, n_cells).astype(float)
    hit = np.bincount(fold * n_cells + cell, weights=hits, minlength=n_folds * n_cells).reshape(n_folds, n_cells)
    out = np.empty((n_folds, n_cells))
    for k in range(n_folds):
        others = np.arange(n_folds) != k if unit is not None else np.ones(1, dtype=bool)
        if not total[others].sum():
            others = np.ones(n_folds, dtype=bool)
        out[k] = _fit(x, hit[others].sum(axis=0), total[others].sum(axis=0))
    return out[fold, cell]


def _fit(x: NDArray, hit: NDArray, total: NDArray) -> NDArray[np.float64]:
    mean = (hit.sum() + 0.5) / (total.sum() + 1)
    if hit.sum() <= 0 or hit.sum() >= total.sum():
        return np.full(len(x), mean)
    # A fold without a like case leaves its cell out of the fit.
    is_there = total > 0
    beta = fit_logistic(x[is_there], hit[is_there] / total[is_there], total[is_there])
    return special.expit(beta[0] + x @ beta[1:])
