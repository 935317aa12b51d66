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
    cells, row_cell = _cells(keys)
    cell_tested = np.bincount(row_cell, weights=tested, minlength=len(cells))
    cell_total = np.bincount(row_cell, weights=total, minlength=len(cells))
    strata = _merge(
        cells,
        cell_tested,
        cell_total,
        lambda t, s: t < minimum_tested or t < minimum_rate * s,
    )
    labels = np.empty(len(cells), dtype=object)
    for label, members in strata.items():
        labels[members] = label
    return labels[row_cell]


def _cells(keys: list[NDArray]) -> tuple[list[tuple[str, ...]], NDArray]:
    """The distinct combinations of keys in order, and the number of its own for every row."""
    row_cell = np.zeros(keys[0].size, dtype=np.int64)
    for key in keys:
        # Numbered anew at every level, so that the product of many levels cannot overflow.
        names, code = np.unique(key, return_inverse=True)
        _, row_cell = np.unique(row_cell * names.size + code, return_inverse=True)
    _, first = np.unique(row_cell, return_index=True)
    return list(zip(*(key[first].tolist() for key in keys), strict=True)), row_cell


class _Standing:
    """Strata that stand: label -> cell numbers; found again by the first keys of where they came from."""

    def __init__(self) -> None:
        self.members: dict[str, list[int]] = {}
        self.home: dict[str, tuple[str, ...]] = {}
        self.n_tested: dict[str, float] = {}
        self._under: dict[tuple[str, ...], set[str]] = defaultdict(set)

    def add(self, label: str, members: list[int], home: tuple[str, ...], n_tested: float) -> None:
        name = _free(self.members, label)
        self.members[name], self.home[name], self.n_tested[name] = members, home, n_tested
        for depth in range(len(home) + 1):
            self._under[home[:depth]].add(name)

    def remove(self, label: str) -> tuple[list[int], tuple[str, ...], float]:
        home = self.home.pop(label)
        for depth in range(len(home) + 1):
            self._under[home[:depth]].remove(label)
        return self.members.pop(label), home, self.n_tested.pop(label)

    def has_under(self, parent: tuple[str, ...]) -> bool:
        return bool(self._under.get(parent))

    def thinnest_under(self, parent: tuple[str, ...]) -> str:
        return min(self._under[parent], key=lambda label: (self.n_tested[label], label))


def _merge(
    cells: list[tuple[str, ...]], tested: NDArray, total: NDArray, is_thin: Callable[[float, float], bool]
) -> dict[str, list[int]]:
    """Standing strata, label -> cell numbers."""
    standing = _Standing()
    open_groups: dict[tuple[str, ...], list[int]] = {cell: [i] for i, cell in enumerate(cells)}
    for _ in range(len(cells[0])):
        pools: dict[tuple, list[int]] = defaultdict(list)
        for key in sorted(open_groups):
            members = open_groups[key]
            n_tested = tested[members].sum()
            if is_thin(n_tested, total[members].sum()):
                pools[key[:-1]].extend(members)
            else:
                standing.add(" / ".join(key), members, key, n_tested)
        open_groups = {}
        for parent in sorted(pools):
            members, has_near = pools[parent], standing.has_under(parent)
            n_tested = tested[members].sum()
            if not is_thin(n_tested, total[members].sum()):
                label = " / ".join([*parent, "other"]) if has_near else " / ".join(parent) or EVERYTHING
                standing.add(label, members, parent, n_tested)
            elif has_near:
                name = standing.thinnest_under(parent)
                near_members, home, near_tested = standing.remove(name)
                label = name if name.endswith("other") else f"{name} + other"
                standing.add(label, near_members + members, home, near_tested + n_tested)
            else:
                open_groups[parent] = members
    if open_groups:
        standing.members[EVERYTHING] = open_groups[()]
    return standing.members


def _free(standing: dict[str, list[int]], label: str) -> str:
    """The label, numbered if a key of the data already bears that name."""
    name, number = label, 2
    while name in standing:
        name, number = f"{label} ({number})", number + 1
    return name
