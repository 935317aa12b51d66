"""Merging strata that are too thin to stand alone."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

EVERYTHING = "all"


def merge_thin_strata(
    levels: Sequence[ArrayLike],
    n_tested: ArrayLike,
    n_total: ArrayLike | None = None,
    minimum_tested: int = 5,
    minimum_rate: float = 0.02,
) -> NDArray[np.object_]:
    """One stratum label per row, such that every stratum has enough tested switches wherever that is possible.

    levels: arrays from coarse to fine, each shape (n_rows,); a row is a switch, or a cell of many.
    n_tested: tested switches in each row (0/1 when a row is a switch). n_total: switches in each row (default 1).
    A stratum is thin if it has fewer than `minimum_tested` tested, or a smaller share tested than `minimum_rate`.
    The rule, which depends on the counts only and never on the results:
    1. Start from the finest cells. Cells that are not thin stand.
    2. Thin cells with the same coarser keys are pooled. If the pool is not thin, it stands.
    3. A pool still thin joins the standing stratum under the same coarser keys with the fewest tested (then the first
       by label); if there is none, the pool is tried again one level coarser, up to everything together.
    Returns labels, shape (n_rows,), text: keys joined by " / ", "other" for a pool, " + other" for a joined one.
    Raises ValueError if lengths differ or no level is given.
    """
    if not levels:
        raise ValueError("levels: got none; give at least one array of stratum keys, coarse to fine.")
    keys = [np.asarray(level).astype(str) for level in levels]
    tested = np.asarray(n_tested, dtype=float)
    total = np.ones_like(tested) if n_total is None else np.asarray(n_total, dtype=float)
    if any(k.shape != tested.shape for k in [*keys, total]):
        got = [k.size for k in keys], tested.size, total.size
        raise ValueError(f"levels, n_tested, n_total: got lengths {got}; must be equal.")
    if tested.size == 0:
        return np.empty(0, dtype=object)
    cells, row_cell = np.unique(np.stack(keys, axis=1), axis=0, return_inverse=True)
    row_cell = np.ravel(row_cell)
    cell_tested = np.bincount(row_cell, weights=tested, minlength=len(cells))
    cell_total = np.bincount(row_cell, weights=total, minlength=len(cells))
    strata = _merge(
        [tuple(cell) for cell in cells],
        cell_tested,
        cell_total,
        lambda t, s: t < minimum_tested or t < minimum_rate * s,
    )
    labels = np.empty(len(cells), dtype=object)
    for label, members in strata.items():
        labels[members] = label
    return labels[row_cell]


def _merge(
    cells: list[tuple[str, ...]], tested: NDArray, total: NDArray, is_thin: Callable[[float, float], bool]
) -> dict[str, list[int]]:
    """Standing strata, label -> cell numbers."""
    standing: dict[str, list[int]] = {}
    home: dict[str, tuple[str, ...]] = {}
    open_groups: dict[tuple[str, ...], list[int]] = {cell: [i] for i, cell in enumerate(cells)}
    for _ in range(len(cells[0])):
        pools: dict[tuple, list[int]] = defaultdict(list)
        for key in sorted(open_groups):
            members = open_groups[key]
            if is_thin(tested[members].sum(), total[members].sum()):
                pools[key[:-1]].extend(members)
            else:
                label = _free(standing, " / ".join(key))
                standing[label], home[label] = members, key
        open_groups = {}
        for parent in sorted(pools):
            members = pools[parent]
            near = [name for name in standing if home[name][: len(parent)] == parent]
            if not is_thin(tested[members].sum(), total[members].sum()):
                label = _free(standing, " / ".join([*parent, "other"]) if near else " / ".join(parent) or EVERYTHING)
                standing[label], home[label] = members, parent
            elif near:
                name = min(near, key=lambda label: (tested[standing[label]].sum(), label))
                joined, place = standing.pop(name) + members, home.pop(name)
                label = _free(standing, name if name.endswith("other") else f"{name} + other")
                standing[label], home[label] = joined, place
            else:
                open_groups[parent] = members
    if open_groups:
        standing[EVERYTHING] = open_groups[()]
    return standing


def _free(standing: dict[str, list[int]], label: str) -> str:
    """The label, numbered if a key of the data already bears that name."""
    name, number = label, 2
    while name in standing:
        name, number = f"{label} ({number})", number + 1
    return name
