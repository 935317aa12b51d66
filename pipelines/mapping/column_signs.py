"""What a whole column tells of itself: does it count the rows, does it repeat, is it prose; and what that makes likely."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from pipelines.contract.fields import Field, Table

# Fewer rows than these tell nothing of how a column repeats.
_LEAST_ROWS = 12
# Names of serial numbers, as `bare_name` leaves them; a number of the maker names an appliance, never a site.
_SERIAL = re.compile(r"\b(serial|serien|serie|s ?/ ?n|fabrik|fabrication|fabricacion|herstell)")
# Tables of things that happened: a site or technician stands in many of their rows.
_HAPPENED = ("visits", "part_lines", "readings", "checks")


@dataclass(frozen=True)
class ColumnSigns:
    """n: filled cells. n_distinct: different ones. n_blocks: runs of equal cells below one another. is_running: 1, 2, 3, ...
    share_prose: share of cells of three words or more.
    """

    n: int
    n_distinct: int
    n_blocks: int
    is_running: bool
    share_prose: float

    @property
    def is_telling(self) -> bool:
        return self.n >= _LEAST_ROWS

    @property
    def is_unique(self) -> bool:
        return self.n_distinct == self.n

    @property
    def recurs(self) -> bool:
        """Whether equal cells stand apart, as those of a site do in the order of time."""
        return self.n_blocks > 1.3 * self.n_distinct


def signs_of(cells: Sequence[str]) -> ColumnSigns:
    """The signs of a column's filled cells, in the order of the file."""
    n_blocks = sum(cell != before for cell, before in zip(cells, [None, *cells], strict=False))
    is_running = len(cells) > 2 and all(cell.strip() in (str(i), f"{i}.0") for i, cell in enumerate(cells, 1))
    n_prose = sum(len(cell.split()) >= 3 for cell in cells)
    return ColumnSigns(len(cells), len(set(cells)), n_blocks, is_running, n_prose / max(len(cells), 1))


def is_serial(bare_name: str) -> bool:
    """Whether a column is named as a serial number."""
    return bool(_SERIAL.search(bare_name))


def share_likely(table: Table, entry: Field, bare_name: str, signs: ColumnSigns) -> float | None:
    """How well an identifier, a count or prose fits what the column tells of itself, 0..1; None where it tells nothing."""
    if not signs.n:
        return None
    if entry.name == "notes":
        return min(1.0, 0.3 + signs.share_prose)
    if entry.kind == "id" and signs.share_prose > 0.5:
        return 0.0
    if is_serial(bare_name) and entry.kind == "id":
        return 0.0
    if not signs.is_telling:
        return None
    if signs.is_running and entry.name not in ("visit_id", "job_id"):
        # A column that counts the rows of the file counts nothing else; ids of a register may.
        return 0.0 if table.name in _HAPPENED or entry.kind != "id" else 0.5
    if entry.name in ("visit_id", "job_id"):
        return _as_visit(table, signs)
    if entry.name in ("site_id", "technician_id") and table.name in _HAPPENED:
        return 0.2 if signs.is_unique else 1.0 if signs.recurs else 0.7
    if entry.name == "appliance_id" and table.name in _HAPPENED:
        return 0.6 if signs.is_unique else 0.2 if signs.n_distinct < 0.01 * signs.n else 1.0
    return 0.8 if entry.kind == "id" else None


def _as_visit(table: Table, signs: ColumnSigns) -> float:
    """A visit's number stands once, or in rows below one another where its lines or readings do."""
    if signs.is_running:
        return 0.3
    if signs.n_distinct < 0.05 * signs.n:
        return 0.0
    if signs.recurs:
        return 0.3
    return 1.0 if signs.is_unique or table.name != "visits" else 0.9
