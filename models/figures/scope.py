"""Which part of the fleet and of time a figure is about."""

from __future__ import annotations

from dataclasses import dataclass, fields
from datetime import date
from typing import Any

SCOPE_COLUMNS = ("branch", "region", "appliance_kind")


@dataclass(frozen=True)
class Scope:
    """Narrows every figure. None = not narrowed. Dates are local, both ends included."""

    start_on: date | None = None
    end_on: date | None = None
    branch: str | None = None
    region: str | None = None
    appliance_kind: str | None = None

    def where(
        self, date_column: str | None, columns: tuple[str, ...] = SCOPE_COLUMNS, prefix: str = ""
    ) -> tuple[str, list[Any]]:
        """SQL condition and its bound values, for a relation that has `date_column` and `columns`.

        prefix: alias with its dot, such as "s.". A part of the scope the relation has no column for does not narrow.
        """
        parts: list[str] = []
        values: list[Any] = []
        if date_column and self.start_on is not None:
            parts.append(f"{prefix}{date_column} >= ?")
            values.append(self.start_on)
        if date_column and self.end_on is not None:
            parts.append(f"{prefix}{date_column} <= ?")
            values.append(self.end_on)
        for column in columns:
            wanted = getattr(self, column)
            if wanted is not None:
                parts.append(f"{prefix}{column} = ?")
                values.append(wanted)
        return (" AND ".join(parts) or "true"), values

    @property
    def is_everything(self) -> bool:
        return all(getattr(self, entry.name) is None for entry in fields(self))
