"""Workbooks into rows of text."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Any

from pipelines.intake.file_kinds import IntakeError


def sheets_of(path: Path) -> Iterator[tuple[str, list[list[str | None]]]]:
    """Name and rows of every sheet that holds anything, each cell as text. Raises IntakeError in words."""
    from python_calamine import CalamineError, CalamineWorkbook, PasswordError

    try:
        workbook = CalamineWorkbook.from_path(str(path))
    except PasswordError as error:
        raise IntakeError("is encrypted. Open it, save it without a password, and load it again.") from error
    except (CalamineError, OSError) as error:
        raise IntakeError(f"is no workbook that can be read ({error}). Save it again as .xlsx, or as CSV.") from error
    for name in workbook.sheet_names:
        rows = [[_text(cell) for cell in row] for row in workbook.get_sheet_by_name(name).to_python()]
        if any(cell for row in rows for cell in row):
            yield name, rows


def _text(cell: Any) -> str | None:
    if cell is None or cell == "":
        return None
    if isinstance(cell, bool):
        return "true" if cell else "false"
    if isinstance(cell, float):
        return str(int(cell)) if cell.is_integer() and abs(cell) < 1e15 else repr(cell)
    if isinstance(cell, datetime | date | time):
        return cell.isoformat()
    if isinstance(cell, timedelta):
        return str(cell)
    return str(cell)
